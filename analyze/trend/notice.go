package trend

import (
	"fmt"
	"math"

	"dewgap/analyze/evidence"
)

// Notice says that a trend reaches its limit within a week.
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
func judge(q Quantity, l Line, days int, floor float64) (n Notice, ok bool) {
	s := &specs[q]
	if days < daysLeast || !(l.Low > 0 || l.High < 0) || math.Abs(l.Now-l.First) < s.change {
		return Notice{}, false // no trend that could not be chance, or too small to matter
	}
	down := l.Slope < 0
	var at float64
	switch s.limit {
	case atFloor:
		at = floor
	case atValue:
		at = s.at
	case timesThen:
		at = s.at * l.First
	case awayThen:
		at = l.First + math.Copysign(s.at, l.Slope)
	}
	if s.limit != awayThen && down != s.down || math.IsNaN(at) {
		return Notice{}, false // it gets better
	}
	until := max((at-l.Now)/l.Slope, 0)
	if until > daysAhead {
		return Notice{}, false
	}
	n = Notice{Quantity: s.code, Unit: s.unit, Now: rounded(l.Now), PerDay: rounded(l.Slope), Limit: rounded(at), Days: rounded(until), Observed: days}
	verb, reach := "rises", fmt.Sprintf("reaches %s in %.0f days", write(at, s.unit), math.Ceil(until))
	if down {
		verb = "falls"
	}
	switch {
	case until == 0:
		reach = "has passed " + write(at, s.unit)
	case until <= 1:
		reach = fmt.Sprintf("reaches %s within a day", write(at, s.unit))
	}
	n.Found = evidence.Item{Code: evidence.Sentence, Text: fmt.Sprintf("%s %s by %s a day: %s now after %d days, and %s if it goes on so. Look at: %s.",
		s.words, verb, write(math.Abs(l.Slope), difference(s.unit)), write(l.Now, s.unit), days, reach, s.check)}
	return n, true
}

// difference is the unit of a change.
func difference(unit string) string {
	if unit == "°C" {
		return "K"
	}
	return unit
}

func write(v float64, unit string) string {
	if unit == "s" {
		return fmt.Sprintf("%.1f min", v/60)
	}
	return fmt.Sprintf("%.1f %s", v, unit)
}

func rounded(v float64) float64 { return math.Round(v*100) / 100 }
