package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/collector"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
	"dewgap/collector/register"
	"dewgap/config"
)

// liveCheck reads each point of a site once and prints the result.
type liveCheck struct {
	con          console
	config       *config.Config
	wait         time.Duration // for messages of a broker
	withoutValue int           // points without a good value
}

// run asks all sources, one after the other so that a bus never carries two
// questions. A source that cannot be asked does not keep the next from being.
func (l *liveCheck) run(ctx context.Context) error {
	for i := range l.config.Modbus {
		if err := l.checkBus(ctx, l.config.Modbus[i]); err != nil {
			return err
		}
	}
	for i := range l.config.MQTT {
		if err := l.checkBroker(ctx, l.config.MQTT[i]); err != nil {
			return err
		}
	}
	if l.withoutValue > 0 {
		return fmt.Errorf("%d points gave no good value", l.withoutValue)
	}
	return nil
}

func (l *liveCheck) printf(format string, args ...any) { fmt.Fprintf(l.con.Out, format+"\n", args...) }

func (l *liveCheck) checkBus(ctx context.Context, s modbus.Settings) error {
	l.printf("\nLive from %s:", s.Name)
	probes, grouping, err := modbus.ReadOnce(ctx, s)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		l.printf("  %v", err)
		l.withoutValue += len(s.Points)
		return nil
	}
	for i := range probes {
		l.printProbe(&probes[i])
	}
	if len(grouping) > 0 {
		l.printf("  Suggested grouping:")
	}
	for _, g := range grouping {
		l.printf("    %s", g)
	}
	return nil
}

func (l *liveCheck) printProbe(p *modbus.Probe) {
	l.printf("  %s", p.Path)
	where := fmt.Sprintf("unit %d, %s %d (%d in manuals)", p.Unit, p.Table, p.Address, p.Reference())
	raw := "no answer"
	if p.Raw != "" {
		raw = "raw " + p.Raw
	}
	l.printf("    %s: %s, took %s", where, raw, p.Took.Round(10*time.Microsecond))
	l.printValue(p.Index, p.Value, p.Quality, p.Reason)
	if p.Quality == reading.Good && p.Mapping.MayBeSentinel(p.Words) {
		l.printf("    doubtful: many devices send %s where they have no value; if the manual agrees, add sentinel = [%s]", p.Raw, strings.ReplaceAll(p.Raw, " ", ""))
	}
	var others []string
	for _, g := range p.Guesses {
		if g.Type == p.Mapping.Type && g.Order == p.Mapping.Order && g.Scale == configuredScale(p.Mapping) {
			continue
		}
		others = append(others, l.guess(p.Index, g))
	}
	if len(others) > 0 {
		l.printf("    the same words could be: %s", strings.Join(others, "; "))
	}
}

func configuredScale(m register.Mapping) float64 {
	if m.Scale == 0 {
		return 1
	}
	return m.Scale
}

func (l *liveCheck) guess(index int, g register.Guess) string {
	text := g.Type.String()
	if g.Order != register.NoOrder {
		text += " " + g.Order.String()
	}
	if g.Scale != 1 {
		text += fmt.Sprintf(" scale %g", g.Scale)
	}
	return text + " = " + l.value(index, g.Value)
}

func (l *liveCheck) checkBroker(ctx context.Context, s mqtt.Settings) error {
	l.printf("\nLive from %s, waiting up to %s for messages:", s.Name, l.wait)
	seen, err := mqtt.ReadOnce(ctx, s, collector.NewRealClock(), l.wait)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		l.printf("  cannot be asked: %v", err)
		l.withoutValue += len(s.Points)
		return nil
	}
	for i, m := range seen {
		l.printf("  %s", m.Path)
		received := "no message"
		if m.Answered {
			received = fmt.Sprintf("payload %q", m.Payload)
		}
		if m.Retained {
			received += ", retained by the broker"
		}
		if m.Age != 0 {
			received += fmt.Sprintf(", stamped %s ago", m.Age.Round(100*time.Millisecond))
		}
		l.printf("    topic %s: %s", m.Topic, received)
		l.printValue(s.Points[i].Index, m.Value, m.Quality, m.Reason)
	}
	return nil
}

// printValue writes a value with its quality, or why there is none.
func (l *liveCheck) printValue(index int, value float64, q reading.Quality, reason string) {
	if q != reading.Good {
		l.withoutValue++
	}
	if !q.HasValue() {
		l.printf("    %s: %s", q, reason)
		return
	}
	text := l.value(index, value) + ", " + q.String()
	if reason != "" {
		text += ": " + reason
	}
	l.printf("    %s", text)
}

// value writes a value in SI as the site's people read it.
func (l *liveCheck) value(index int, v float64) string {
	u := l.config.Units
	switch l.config.Site.Points[index].Role.Kind() {
	case reading.Pressure:
		return u.GaugePressure(units.Pascal(v), l.config.Site.Atmosphere)
	case reading.Temperature:
		return u.Temperature(units.Celsius(v))
	case reading.Share:
		return fmt.Sprintf("%.1f %%", v)
	}
	if v != 0 {
		return "on"
	}
	return "off"
}
