package trend

import (
	"math"

	"dewgap/analyze/filter"
)

// Common practice, no source.
const (
	daysKept = filter.MaxLineDays
	minDays  = 5   // that a notice stands on
	maxAhead = 7.0 // days that a notice looks ahead
)

// series is one quantity of one circuit or compressor, a value a day.
type series struct {
	day    [daysKept]float64 // days since the epoch
	value  [daysKept]float64
	n      int
	today  float64
	count  float64 // values of today
	folded float64 // what they make
}

// take enters a value of a day; NaN is passed over. It reports whether that
// completed an earlier day.
func (s *series) take(day, v float64, f fold) (completed bool) {
	if math.IsNaN(v) {
		return false
	}
	if s.count > 0 && day > s.today {
		s.keep()
		completed = true
	}
	if s.count == 0 {
		s.today, s.folded = day, v
	}
	s.count++
	switch f {
	case lowest:
		s.folded = min(s.folded, v)
	default:
		s.folded += (v - s.folded) / s.count
	}
	return completed
}

// keep ends today.
func (s *series) keep() {
	if s.n == daysKept {
		copy(s.day[:], s.day[1:])
		copy(s.value[:], s.value[1:])
		s.n--
	}
	s.day[s.n], s.value[s.n] = s.today, s.folded
	s.n++
	s.count = 0
}

// line returns the line through the days kept, and how many days it stands on.
func (s *series) line() (filter.Line, int, bool) {
	if s.n < minDays {
		return filter.Line{}, s.n, false
	}
	l, ok := filter.Fit(s.day[:s.n], s.value[:s.n])
	return l, s.n, ok
}
