package trend

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/units"
)

// Notice is a trend that reaches its limit within a week.
type Notice struct {
	Group      string        `json:"group"`
	Circuit    string        `json:"circuit,omitempty"`
	Compressor string        `json:"compressor,omitempty"`
	Quantity   string        `json:"quantity"` // word for machines
	Unit       string        `json:"unit"`     // K, °C or s
	Now        float64       `json:"now"`      // of the line
	PerDay     float64       `json:"per_day"`
	Limit      float64       `json:"limit"`
	Days       float64       `json:"days"`     // until the line reaches it; 0: it has
	Observed   int           `json:"observed"` // days that the line stands on
	Found      evidence.Item `json:"found"`
}

// judge returns the notice of a line, if it deserves one. floor is that of
// pulldown, K.
func judge(q Quantity, l filter.Line, days int, floor float64) (n Notice, ok bool) {
	s := &specs[q]
	if days < minDays || !(l.Low > 0 || l.High < 0) || math.Abs(l.Last-l.First) < s.change {
		return Notice{}, false // no trend that could not be chance, or too small to matter
	}
	falls := l.Slope < 0
	var at float64
	switch s.limit {
	case atFloor:
		at = floor
	case atValue:
		at = s.at
	case timesFirst:
		at = s.at * l.First
	case awayFromFirst:
		at = l.First + math.Copysign(s.at, l.Slope)
	}
	if s.limit != awayFromFirst && falls != s.falls || math.IsNaN(at) {
		return Notice{}, false // it gets better
	}
	until := max((at-l.Last)/l.Slope, 0)
	if until > maxAhead {
		return Notice{}, false
	}
	now, limit := value("now", s.unit, l.Last), value("limit", s.unit, at)
	return Notice{
		Quantity: s.code, Unit: s.unit, Now: now.Number, PerDay: rounded(l.Slope), Limit: limit.Number, Days: rounded(until), Observed: days,
		Found: found(s, l, until, now, limit),
	}, true
}

// found returns the evidence of a line that reaches its limit in so many days.
func found(s *spec, l filter.Line, until float64, now, limit evidence.Value) evidence.Item {
	unit := s.unit
	if unit == "°C" {
		unit = "K" // of a change
	}
	course, values := evidence.HasPassedLimit, []evidence.Value{
		value("change", unit, math.Abs(l.Last-l.First)), evidence.Count("over", int(math.Round((l.Last-l.First)/l.Slope))), now, limit,
	}
	switch {
	case until > 1:
		course, values = evidence.ReachesInDays, append(values, evidence.Count("in", int(math.Ceil(until))))
	case until > 0:
		course = evidence.ReachesInADay
	}
	return evidence.New(evidence.Trend(s.code, l.Slope < 0, course), values...)
}

// value returns v as evidence, rounded as it is shown.
func value(name, unit string, v float64) evidence.Value {
	switch unit {
	case "s":
		return evidence.Duration(name, time.Duration(v*float64(time.Second)))
	case "°C":
		return evidence.Temperature(name, units.Celsius(v))
	}
	return evidence.Difference(name, units.Kelvin(v))
}

func rounded(v float64) float64 { return math.Round(v*100) / 100 }
