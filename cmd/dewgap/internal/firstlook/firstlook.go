// Package firstlook judges what a site shows in its first seconds or minutes,
// for the person who sets it up: each compressor's superheat with the readings
// that it is made of, each input that cannot be right, and the line of the site
// file that puts it right.
//
// It may import analyze and config. The analysis is the daemon's own; it must
// never judge a reading by itself, open a source or read a clock.
package firstlook

import (
	"math"
	"strings"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/sensorcheck"
	"dewgap/analyze/units"
	"dewgap/config"
)

// Look follows a site from its first row on.
type Look struct {
	config *config.Config
	engine *analyze.Engine
	result analyze.Result
	rows   int
	probes map[int]Probe
	seen   []extremes // of each point
	// mistakes are those that the analysis has named.
	mistakes []sensorcheck.Misconfiguration
}

// extremes are the smallest and the largest good value of a point.
type extremes struct{ low, high float64 }

// Probe is what a single read of one point showed before the rows began.
type Probe struct {
	Where   string // on the wire, for a technician
	Raw     string // words, or the payload; empty where nothing came
	Value   float64
	Quality reading.Quality
	Reason  string
	Notes   []string // other ways to read the same words
	// Sentinel is what came, in hexadecimal, where many devices send it in place of
	// a value; empty otherwise.
	Sentinel string
}

// New returns a look at a site, or an error that names the part of the site that
// does not fit together.
func New(c *config.Config) (*Look, error) {
	engine, err := analyze.New(c.Site)
	if err != nil {
		return nil, err
	}
	l := &Look{config: c, engine: engine, probes: map[int]Probe{}, seen: make([]extremes, len(c.Site.Points))}
	for i := range l.seen {
		l.seen[i] = extremes{math.NaN(), math.NaN()}
	}
	return l, nil
}

// SetProbe keeps what a single read of a point showed.
func (l *Look) SetProbe(point int, p Probe) { l.probes[point] = p }

// DeliverProbes gives every single read to put, as a source would.
func (l *Look) DeliverProbes(put func(reading.Reading)) {
	for i := range l.config.Site.Points {
		p, ok := l.probes[i]
		switch {
		case !ok:
		case p.Quality.HasValue():
			put(reading.Reading{Point: i, Value: p.Value, Quality: p.Quality})
		default:
			put(reading.Fail(i, p.Reason))
		}
	}
}

// Observe takes the next row.
func (l *Look) Observe(row *reading.Row) {
	l.result = l.engine.Observe(row)
	l.mistakes = l.engine.Misconfigurations()
	l.rows++
	for i := range l.result.Inputs {
		if in := &l.result.Inputs[i]; in.Quality.HasValue() {
			e := &l.seen[i]
			if !(in.Value >= e.low) {
				e.low = in.Value
			}
			if !(in.Value <= e.high) {
				e.high = in.Value
			}
		}
	}
}

// renderer puts evidence into the words of the site.
func (l *Look) renderer() evidence.Renderer {
	return evidence.Renderer{System: l.config.Units, Atmosphere: l.config.Site.Atmosphere, Pressure: l.config.Site.PressureUnit()}
}

// text writes a value of a point as its own gauge shows it; empty where it is
// not known.
func (l *Look) text(point int, v float64) string {
	return Value(l.config, point, v)
}

// Value writes the value of a point in SI as its own gauge shows it; empty where
// it is not known.
func Value(c *config.Config, point int, v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	p, u := &c.Site.Points[point], c.Units
	switch p.Role.Kind() {
	case reading.Pressure:
		return u.PressureIn(p.Unit, units.Pascal(v), c.Site.Atmosphere)
	case reading.Temperature:
		return u.Temperature(units.Celsius(v))
	case reading.Share:
		return share(v)
	}
	if v != 0 {
		return "on"
	}
	return "off"
}

// pressurePoint returns the index of the suction pressure that a compressor's
// superheat is taken with; −1 where there is none.
func (l *Look) pressurePoint(group, compressor string) int {
	if own := l.pointAt(group, compressor, reading.SuctionPressure); own >= 0 {
		return own
	}
	return l.pointAt(group, "", reading.SuctionPressure)
}

// pointAt returns the index of the point of that role; −1 where there is none.
func (l *Look) pointAt(group, member string, role reading.Role) int {
	for i := range l.config.Site.Points {
		if p := &l.config.Site.Points[i]; p.Group == group && p.Member == member && p.Role == role {
			return i
		}
	}
	return -1
}

// verdictOf is the verdict on an input of a quality.
func verdictOf(q reading.Quality) Verdict {
	switch q {
	case reading.Good:
		return Good
	case reading.Suspect:
		return Doubtful
	}
	return Failing
}

// sentence begins with a capital letter and ends with a full stop.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}
