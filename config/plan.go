package config

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
)

// WritePlan writes for a person what the daemon will do with the configuration.
func (c *Config) WritePlan(w io.Writer) error {
	p := planner{config: c}
	p.site()
	for i := range c.Modbus {
		p.bus(&c.Modbus[i])
	}
	for i := range c.MQTT {
		p.broker(&c.MQTT[i])
	}
	for i := range c.Site.Groups {
		p.group(&c.Site.Groups[i])
	}
	_, err := io.WriteString(w, p.String())
	return err
}

type planner struct {
	strings.Builder
	config *Config
}

func (p *planner) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

func (p *planner) site() {
	c := p.config
	air := fmt.Sprintf("air pressure %.1f hPa", float64(c.Site.Atmosphere)/100)
	if !math.IsNaN(float64(c.Altitude)) {
		air += " at " + c.Units.Length(c.Altitude)
	}
	p.line("Site %s: %s; people are shown %s units.", c.Site.Name, air, strings.ToUpper(c.Units.String()))
	d := c.Daemon
	record := "no recording"
	if d.Record {
		record = "recording up to " + showSize(d.RecordLimit)
	}
	p.line("Daemon: page and metrics on %s, a row each %s, journal in %s, %s.", d.Listen, shortDuration(d.Sample), d.Data, record)
	for i := range c.Notify {
		p.target(&c.Notify[i])
	}
	for i := range c.RemoteWrite {
		r := &c.RemoteWrite[i]
		p.line("Metrics go to %s at %s by remote write, a sample each %s.", r.Name, r.Address(), shortDuration(r.Every))
	}
}

// target says who is told of what.
func (p *planner) target(n *Notify) {
	var when []string
	for _, wait := range []struct {
		text string
		d    time.Duration
	}{{"when open for %s", n.Delay}, {"when nobody has acknowledged for %s", n.Unheeded}, {"again each %s", n.Repeat}, {"a sign of life each %s", n.Beat}} {
		if wait.d > 0 && (n.Kind != Alertmanager || wait.d == n.Beat) {
			when = append(when, fmt.Sprintf(wait.text, shortDuration(wait.d)))
		}
	}
	of := "all events"
	if len(n.Kinds) > 0 {
		of = strings.Join(n.Kinds, ", ")
	}
	if len(n.Groups) > 0 {
		of += " of " + strings.Join(n.Groups, ", ")
	}
	p.line("Target %s is told by %s at %s: %s from %s; %s.", n.Name, n.Kind, n.Address(), of, severityWords[n.Least-1].Name, strings.Join(append(when, "try it with dewgap notify test"), "; "))
}

func (p *planner) bus(s *modbus.Settings) {
	kind := map[modbus.Transport]string{modbus.TCP: "Modbus TCP", modbus.RTU: "Modbus RTU", modbus.RTUOverTCP: "Modbus RTU over TCP"}[s.Transport]
	at := s.Address
	if s.Transport == modbus.RTU {
		at += fmt.Sprintf(", %d baud, %s parity, %d stop bit(s)", s.Serial.Baud, s.Serial.Parity, s.Serial.StopBits)
	}
	p.line("\nSource %s: %s at %s, answers within %s. It only reads.", s.Name, kind, at, shortDuration(s.Timeout))
	if s.Transport == modbus.RTU {
		p.line("  The line is in use for about %.0f %% of the time.", s.Load()*100)
	}
	for _, x := range s.Points {
		number := fmt.Sprintf("%s %d", tableName(x.Table), x.Address)
		if x.Mapping.Type.Words() == 2 {
			number += fmt.Sprintf("–%d", x.Address+1)
		}
		if x.Bit >= 0 {
			number += fmt.Sprintf(" bit %d", x.Bit)
		}
		as := x.Mapping.Type.String()
		if x.Mapping.Type == 0 {
			as = "type not given"
		}
		if x.Mapping.Unit.Known() {
			as += " in " + x.Mapping.Unit.Name
		}
		p.line("  unit %d, %-16s each %-6s %s (%s)", x.Unit, number, shortDuration(x.Period), x.Path, as)
	}
	if len(s.Points) > 0 {
		p.line("  Joined into these reads:")
	}
	for _, read := range s.Grouping() {
		p.line("    %s", read)
	}
}

func (p *planner) broker(s *mqtt.Settings) {
	p.line("\nSource %s: MQTT broker at %s as client %s. It only subscribes.", s.Name, s.URL, s.ClientID)
	for _, x := range s.Points {
		where := x.Topic
		if x.Pointer != "" {
			where += " at " + x.Pointer
		}
		p.line("  %-34s %s", where, x.Path)
	}
}

func (p *planner) group(g *analyze.Group) {
	u := p.config.Units
	d := g.Detect
	p.line("\nGroup %s: %s, superheat over dew.", g.Name, g.Refrigerant.Name)
	if g.Refrigerant.Kind == refrigerant.UserTable {
		p.line("  from a maker's table: its grid and rounding leave the dew temperature ±%s; the accuracy of the maker's model is not known.", u.Difference(g.Refrigerant.Uncertainty()))
	}
	p.line("  floor %s steady, %s in pulldown; an event opens after %s steady, %s in pulldown, and closes %s above the floor for %s.",
		u.Difference(d.Floor.Steady), u.Difference(d.Floor.Pulldown), shortDuration(d.Hold.Steady), shortDuration(d.Hold.Pulldown), u.Difference(d.ClearMargin), shortDuration(d.ClearHold))
	limits := g.Phase.WithDefaults()
	stale := "three to four times the rate seen"
	if g.Superheat.StaleAfter > 0 {
		stale = shortDuration(g.Superheat.StaleAfter)
	}
	p.line("  start %s, pulldown at most %s, drip %s; a value is stale after %s.", shortDuration(limits.StartLength), shortDuration(limits.PulldownLimit), shortDuration(limits.Drip), stale)
	p.absent(g.Name, "", map[reading.Role]string{
		reading.DischargePressure: "discharge temperatures cannot be judged: how wet the gas is stays open",
	})
	for _, c := range g.Compressors {
		p.compressor(g, c)
	}
	for _, c := range g.Circuits {
		p.line("  Circuit %s: %s", c.Name, defrostWords(c.Defrost))
		p.absent(g.Name, c.Name, map[reading.Role]string{
			reading.Defrost:               "defrosts are inferred from what suction shows, later and less surely",
			reading.CoilOutletTemperature: "this circuit cannot be distinguished from its neighbours by its own superheat",
		})
	}
}

func (p *planner) compressor(g *analyze.Group, c analyze.Compressor) {
	p.line("  Compressor %s: %s", c.Name, compressorWords(c.Kind))
	p.absent(g.Name, c.Name, map[reading.Role]string{
		reading.Running:              "running is inferred, later and less surely",
		reading.DischargeTemperature: "how wet the gas is cannot be judged",
		reading.SumpTemperature:      "liquid in the oil cannot be seen",
	})
	var sensorLag superheat.LagSource
	for _, dew := range typicalDew {
		if b, pressure, ok := p.config.budget(g, c.Name, dew); ok {
			u := p.config.Units
			p.line("    at dew %s (%s): superheat is known to ±%s (k = 2)", u.Temperature(dew), u.GaugePressure(pressure, p.config.Site.Atmosphere), u.Difference(b.Expanded))
			for _, part := range b.Parts {
				if part.Standard == 0 {
					continue
				}
				assumed := ""
				if part.Assumed {
					assumed = ", assumed"
				}
				p.line("      %-12s ±%s, %2.0f %% of it%s", part.Name, part.Limit(u), part.Share*100, assumed)
			}
			sensorLag = b.Lag
		}
	}
	if sensorLag.Lag > 0 {
		p.line("    lag of the pipe's sensor %s; its uncertainty adds ±%s while dew moves by %s a minute", evidence.Renderer{System: p.config.Units}.Text(sensorLag.Evidence()), p.config.Units.Difference(sensorLag.During(quickDew)), p.config.Units.Difference(quickDew))
	}
}

// quickDew is how fast dew moves after a defrost, K a minute. Common practice,
// no source.
const quickDew units.Kelvin = 10

// typicalDew are dew temperatures of low- and medium-temperature suction.
// Common practice, no source.
var typicalDew = []units.Celsius{-30, -10}

// budget is the uncertainty of a compressor's superheat in steady running.
func (c *Config) budget(g *analyze.Group, compressor string, dew units.Celsius) (superheat.Budget, units.Pascal, bool) {
	line, ok := any(g.Refrigerant).(superheat.DewLine)
	if !ok {
		return superheat.Budget{}, 0, false
	}
	inverse, ok := any(g.Refrigerant).(interface {
		DewPressure(units.Celsius) (units.Pascal, error)
	})
	if !ok {
		return superheat.Budget{}, 0, false
	}
	p, err := inverse.DewPressure(dew)
	if err != nil {
		return superheat.Budget{}, 0, false
	}
	pressure := c.sensor(pathOf(g.Name, "", reading.SuctionPressure))
	if own := pathOf(g.Name, compressor, reading.SuctionPressure); c.Has(own) {
		pressure = c.sensor(own)
	}
	temperature := c.sensor(pathOf(g.Name, compressor, reading.SuctionTemperature))
	_, b, err := superheat.Once(line, p, dew, pressure.Over(g.Superheat.Pressure), temperature.Over(g.Superheat.Temperature))
	return b, p, err == nil
}

// Has reports whether an input is configured.
func (c *Config) Has(path string) bool {
	for _, p := range c.Site.Points {
		if p.Path == path {
			return true
		}
	}
	return false
}

func (c *Config) sensor(path string) superheat.Sensor {
	for i, p := range c.Site.Points {
		if p.Path == path {
			return c.Site.Sensors[i]
		}
	}
	return superheat.Sensor{}
}

// absent writes what the lack of an input costs, in the order of the roles.
func (p *planner) absent(group, member string, costs map[reading.Role]string) {
	for role := reading.SuctionPressure; role <= reading.AmbientTemperature; role++ {
		if cost := costs[role]; cost != "" && !p.config.Has(pathOf(group, member, role)) {
			p.line("    no %s: %s", strings.ReplaceAll(role.String(), "_", " "), cost)
		}
	}
}

func compressorWords(kind frame.CompressorKind) string {
	for _, k := range compressorKinds {
		if k.Value == kind {
			return strings.ReplaceAll(k.Name, "_", " ")
		}
	}
	return "kind not stated, judged as a scroll"
}

func defrostWords(kind frame.DefrostKind) string {
	for _, k := range defrostKinds {
		if k.Value == kind {
			return strings.ReplaceAll(k.Name, "_", " ") + " defrost"
		}
	}
	return "kind of defrost not stated"
}
