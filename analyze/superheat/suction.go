package superheat

import (
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// ReasonNoDew is of a pressure that cannot be turned into a dew temperature.
var ReasonNoDew = &evidence.Item{Code: evidence.NoDew}

const (
	windowMost = 11 // samples in the median
	// windowSpan is the longest delay that the median may add: half of about
	// 10 s. Where one poll is longer, one poll is the limit, and above
	// windowSparse nothing is filtered, since three samples would then hide
	// most of a minute.
	windowSpan   = 5 * time.Second
	windowSparse = 10 * time.Second
)

// Suction is a suction pressure, conditioned: a running median of the raw
// pressure (its noise comes in spikes, and the dew line is curved, so filter
// first), then the dew temperature. One serves all compressors of a header.
type Suction struct {
	Signal
	line DewLine

	window  [windowMost]float64 // samples, newest first
	sorted  [windowMost]float64
	n       int   // samples in window
	size    int   // samples wanted: odd
	sized   int64 // the interval that size is for, ns
	rejects uint32

	pressure  units.Pascal // median
	dew       units.Celsius
	slope     float64 // K/Pa
	slopeAt   units.Pascal
	noDew     bool
	converted bool
}

// NewSuction returns the conditioner of a suction pressure (role
// SuctionPressure) of a group whose refrigerant has the given dew line.
func NewSuction(line DewLine, staleAfter time.Duration) Suction {
	return Suction{Signal: NewSignal(reading.SuctionPressure, staleAfter), line: line, size: 1}
}

// Take enters a reading of the pressure, absolute, Pa; see Signal.Take.
func (s *Suction) Take(at int64, r *reading.Reading) bool {
	before, fresh := s.Signal.at, s.Signal.good
	if !s.Signal.Take(at, r) {
		if s.last == reading.Bad {
			s.n = 0
		}
		return false
	}
	if !fresh || at-before > s.stale {
		s.n = 0 // after a gap nothing old has a say
	}
	if s.interval != s.sized {
		s.resize(windowFor(s.Interval()))
	}
	s.push(s.value)
	s.convert(units.Pascal(s.middle()))
	return true
}

func (s *Suction) resize(size int) {
	s.sized = s.interval
	if size != s.size {
		s.size = size
		s.n = min(s.n, size-1)
		s.resort()
	}
}

// windowFor returns how many samples the median takes at a poll interval.
func windowFor(interval time.Duration) int {
	if interval <= 0 || interval > windowSparse {
		return 1
	}
	half := max(int(windowSpan/interval), 1)
	return min(2*half+1, windowMost)
}

// Delay returns by how much the median delays a ramp.
func (s *Suction) Delay() time.Duration {
	return time.Duration(s.size/2) * s.Interval()
}

func (s *Suction) push(x float64) {
	i := s.n
	if s.n < s.size {
		s.n++
	} else { // x takes the place of the oldest
		oldest := s.window[s.n-1]
		for i = 0; s.sorted[i] != oldest; i++ {
		}
	}
	for ; i > 0 && s.sorted[i-1] > x; i-- {
		s.sorted[i] = s.sorted[i-1]
	}
	for ; i < s.n-1 && s.sorted[i+1] < x; i++ {
		s.sorted[i] = s.sorted[i+1]
	}
	s.sorted[i] = x
	for i := s.n - 1; i > 0; i-- { // a few: cheaper than copy
		s.window[i] = s.window[i-1]
	}
	s.window[0] = x
	s.judgeMiddle()
}

func (s *Suction) resort() {
	copy(s.sorted[:s.n], s.window[:s.n])
	for i := 1; i < s.n; i++ {
		for j := i; j > 0 && s.sorted[j] < s.sorted[j-1]; j-- {
			s.sorted[j], s.sorted[j-1] = s.sorted[j-1], s.sorted[j]
		}
	}
}

func (s *Suction) middle() float64 {
	if s.n%2 == 1 {
		return s.sorted[s.n/2]
	}
	return (s.sorted[s.n/2-1] + s.sorted[s.n/2]) / 2
}

// judgeMiddle counts a spike: the sample in the middle of the window, with as
// many neighbours before as after it, that lies outside all of them by more
// than they spread and by more than 2 % of the pressure.
func (s *Suction) judgeMiddle() {
	if s.n < 3 || s.n != s.size {
		return
	}
	x, low, high := s.window[s.n/2], s.sorted[0], s.sorted[s.n-1]
	switch x {
	case low:
		low = s.sorted[1]
	case high:
		high = s.sorted[s.n-2]
	default:
		return
	}
	slack := max(high-low, 0.02*s.sorted[s.n/2])
	if x > high+slack || x < low-slack {
		s.rejects++
	}
}

// Rejects returns how many single spikes the median has taken out so far.
func (s *Suction) Rejects() uint32 { return s.rejects }

// Pressure returns the conditioned pressure at the given time, with quality
// and reason; NaN unless Good or Suspect.
func (s *Suction) Pressure(now int64) (units.Pascal, reading.Quality, *evidence.Item) {
	v, q, why := s.Now(now)
	if q == reading.Good || q == reading.Suspect {
		return s.pressure, q, why
	}
	return units.Pascal(v), q, why
}

func (s *Suction) convert(p units.Pascal) {
	if s.converted && p == s.pressure {
		return
	}
	t, err := s.line.Dew(p)
	s.pressure, s.dew, s.noDew, s.converted = p, t, err != nil, true
	if s.noDew {
		return
	}
	// The slope serves the uncertainty, where a percent does not matter.
	if d := p - s.slopeAt; d > 0.005*p || d < -0.005*p {
		if slope, err := s.line.DewSlope(p); err == nil {
			s.slope, s.slopeAt = slope, p
		}
	}
}
