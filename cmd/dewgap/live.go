package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/cmd/dewgap/internal/firstlook"
	"dewgap/collector"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
	"dewgap/config"
)

// errDoubtful makes check end with status 1 when something is doubtful.
var errDoubtful = errors.New("something is doubtful or failing; see above")

// liveCheck reads a site for a while and prints what the analysis makes of it.
type liveCheck struct {
	con     console
	config  *config.Config
	clock   collector.Clock
	wait    time.Duration // for messages of a broker, at the first look
	length  time.Duration // of the analysis
	watch   bool
	json    bool
	compare map[string]string // gauge by path
	by      string

	look *firstlook.Look
}

// run reads each point once, then all of them through the analysis.
func (l *liveCheck) run(ctx context.Context) error {
	if err := l.checkCompared(); err != nil {
		return err
	}
	var err error
	if l.look, err = firstlook.New(l.config); err != nil {
		return err
	}
	if err := l.probe(ctx); err != nil {
		return err
	}
	if unready := l.config.Runnable(); unready != nil {
		// A point without type or order cannot be analysed; its words were read.
		if err := l.print(); err != nil {
			return err
		}
		return errDoubtful
	}
	return l.analyse(ctx)
}

// checkCompared refuses a --compare that cannot be meant.
func (l *liveCheck) checkCompared() error {
	for path, gauge := range l.compare {
		point := l.pointOf(path)
		if point < 0 {
			return usageError{fmt.Errorf("--compare %s: the site has no such input; check prints their paths", path)}
		}
		kind := l.config.Site.Points[point].Role.Kind()
		if !config.IsComparable(kind) {
			return usageError{fmt.Errorf("--compare %s: it is a %s, which no gauge shows", path, kind)}
		}
		if _, err := config.SIOf(kind, gauge, l.air(point)); err != nil {
			return usageError{fmt.Errorf("--compare %s: %w", path, err)}
		}
	}
	return nil
}

func (l *liveCheck) pointOf(path string) int {
	for i := range l.config.Site.Points {
		if l.config.Site.Points[i].Path == path {
			return i
		}
	}
	return -1
}

// probe asks all sources for each point once, one after the other so that a bus
// never carries two questions. A source that cannot be asked does not keep the
// next from being.
func (l *liveCheck) probe(ctx context.Context) error {
	for i := range l.config.Modbus {
		s := l.config.Modbus[i]
		fmt.Fprintf(l.con.Err, "reading %d points from %s once …\n", len(s.Points), s.Name)
		probes, _, err := modbus.ReadOnce(ctx, s)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		for i := range probes {
			l.look.SetProbe(probes[i].Index, l.ofRegister(&probes[i]))
		}
		if err != nil {
			for _, p := range s.Points {
				l.look.SetProbe(p.Index, firstlook.Probe{Value: math.NaN(), Reason: err.Error()})
			}
		}
	}
	for i := range l.config.MQTT {
		s := l.config.MQTT[i]
		fmt.Fprintf(l.con.Err, "waiting up to %s for messages from %s …\n", l.wait, s.Name)
		seen, err := mqtt.ReadOnce(ctx, s, l.clock, l.wait)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		for i, m := range seen {
			l.look.SetProbe(s.Points[i].Index, ofMessage(m))
		}
		if err != nil {
			for _, p := range s.Points {
				l.look.SetProbe(p.Index, firstlook.Probe{Value: math.NaN(), Reason: "cannot be asked: " + err.Error()})
			}
		}
	}
	return nil
}

func ofMessage(m mqtt.Seen) firstlook.Probe {
	p := firstlook.Probe{Where: "topic " + m.Topic, Value: m.Value, Quality: m.Quality, Reason: m.Reason}
	if m.Answered {
		p.Raw = fmt.Sprintf("payload %q", m.Payload)
	}
	if m.Retained {
		p.Raw += ", retained by the broker"
	}
	if m.Age != 0 {
		p.Raw += fmt.Sprintf(", stamped %s ago", m.Age.Round(100*time.Millisecond))
	}
	return p
}

// analyse runs the sources and the analysis for the length of the check, or until
// ctx ends where the check is to be repeated.
func (l *liveCheck) analyse(ctx context.Context) error {
	sources, err := openSources(l.config, l.clock, slog.New(slog.DiscardHandler), "check")
	if err != nil {
		return err
	}
	hub := collector.NewHub(l.config.Site.Points)
	// The single reads stand in the first row: a point with a slow period would
	// else show nothing for as long.
	l.look.DeliverProbes(hub.Put)
	sourcing, stop := context.WithCancel(ctx)
	group, sourcing := errgroup.WithContext(sourcing)
	for _, s := range sources {
		group.Go(func() error { return s.Run(sourcing, hub) })
	}
	var result error
	group.Go(func() error {
		defer stop()
		result = l.follow(ctx, hub)
		return nil
	})
	if err := group.Wait(); err != nil {
		return err
	}
	for _, s := range sources {
		if status := s.Status(); !status.Delivered {
			fmt.Fprintf(l.con.Err, "source %s delivers nothing: %s\n", status.Name, status.Reason)
		}
	}
	return result
}

// follow takes a row at each tick and prints the report when the time is over;
// with watch, again and again until ctx ends.
func (l *liveCheck) follow(ctx context.Context, hub *collector.Hub) error {
	fmt.Fprintf(l.con.Err, "analysing for %s …\n", l.length)
	ticker := collector.NewTicker(l.clock, l.config.Daemon.Sample)
	next := l.clock.Now().Add(l.length)
	for {
		tick, err := ticker.Next(ctx)
		switch {
		case errors.Is(err, collector.ErrSetBack):
			return fmt.Errorf("%w: check again", err)
		case err != nil && l.watch:
			return l.verdict()
		case err != nil:
			return ctx.Err()
		}
		row := hub.Take(tick.Time)
		l.look.Observe(&row)
		if tick.Time.Before(next) {
			continue
		}
		if err := l.print(); err != nil {
			return err
		}
		if !l.watch {
			return l.verdict()
		}
		next = tick.Time.Add(l.length)
	}
}

func (l *liveCheck) verdict() error {
	if report := l.look.Report(); !report.AllGood() {
		return errDoubtful
	}
	return nil
}

func (l *liveCheck) print() error {
	report := l.look.Report()
	comparisons, err := l.comparisons(&report)
	if err != nil {
		return err
	}
	if l.json {
		return json.NewEncoder(l.con.Out).Encode(struct {
			firstlook.Report
			Comparisons []comparison `json:"comparisons,omitempty"`
		}{report, comparisons})
	}
	if err := report.WriteText(l.con.Out); err != nil {
		return err
	}
	for i := range comparisons {
		comparisons[i].write(l.con.Out)
	}
	return nil
}

// comparison of one input with a gauge.
type comparison struct {
	Input   string   `json:"input"`
	Gauge   string   `json:"gauge"`
	Read    string   `json:"read"`
	Key     string   `json:"key"`
	Line    int      `json:"line"`
	Paste   string   `json:"paste"`
	Remarks []string `json:"remarks,omitempty"`
	file    string
}

func (c *comparison) write(w io.Writer) {
	fmt.Fprintf(w, "\n%s: gauge %s, read %s. The input gets this key:\n    %s\n  or line %d of %s becomes:\n    %s\n",
		c.Input, c.Gauge, c.Read, c.Key, c.Line, c.file, strings.TrimSpace(c.Paste))
	for _, remark := range c.Remarks {
		fmt.Fprintln(w, "  "+remark)
	}
}
