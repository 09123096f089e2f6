package superheat

import (
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// ReasonNoDew is of a pressure that cannot be turned into a dew temperature.
var ReasonNoDew = &evidence.Item{Code: evidence.NoDew}

const (
	// windowSpan is the longest delay that the median may add: half of about
	// 10 s. Where one poll is longer, one poll is the limit, and above
	// windowSparse nothing is filtered, since three samples would then hide
	// most of a minute.
	windowSpan   = 5 * time.Second
	windowSparse = 10 * time.Second
	// spikeShare of the pressure is the least that is a spike.
	spikeShare = 0.02
	// slopeShare is by how much of itself the pressure has to move before the
	// slope of the dew line is taken anew: a percent of the slope changes the
	// uncertainty by less than it is shown with.
	slopeShare = 0.005
)

// Suction is a suction pressure, conditioned: a running median of the raw
// pressure (its noise comes in spikes, and the dew line is curved, so filter
// first), then the dew temperature. One serves all compressors of a header.
type Suction struct {
	Signal
	line DewLine

	median  filter.RunningMedian // of the raw pressure
	sized   int64                // the interval that the median's size is for, ns
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
	return Suction{Signal: NewSignal(reading.SuctionPressure, staleAfter), line: line}
}

// Take enters a reading of the pressure, absolute, Pa; see Signal.Take.
func (s *Suction) Take(at int64, r *reading.Reading) bool {
	before, fresh := s.Signal.at, s.Signal.good
	if !s.Signal.Take(at, r) {
		if s.last == reading.Bad {
			s.median.Reset()
		}
		return false
	}
	if !fresh || at-before > s.continuous() {
		s.median.Reset() // after a gap nothing old counts
	}
	if s.interval != s.sized {
		s.sized = s.interval
		s.median.Resize(windowFor(s.Interval()))
	}
	middle := s.median.Update(s.value)
	s.countSpike()
	s.convert(units.Pascal(middle))
	return true
}

// windowFor returns how many samples the median takes at a poll interval.
func windowFor(interval time.Duration) int {
	if interval <= 0 || interval > windowSparse {
		return 1
	}
	half := max(int(windowSpan/interval), 1)
	return min(2*half+1, filter.MaxWindow)
}

// Delay returns by how much the median delays a ramp.
func (s *Suction) Delay() time.Duration {
	return time.Duration(s.median.Size()/2) * s.Interval()
}

// countSpike counts a spike: the sample in the middle of the window, with as
// many neighbours before as after it, that lies outside all of them by more
// than they spread and by more than spikeShare of the pressure.
func (s *Suction) countSpike() {
	window, sorted, full := s.median.Full()
	n := len(window)
	if n < 3 || !full {
		return
	}
	x, low, high := window[n/2], sorted[0], sorted[n-1]
	switch x {
	case low:
		low = sorted[1]
	case high:
		high = sorted[n-2]
	default:
		return
	}
	slack := max(high-low, spikeShare*sorted[n/2])
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
	if d := p - s.slopeAt; d > slopeShare*p || d < -slopeShare*p {
		if slope, err := s.line.DewSlope(p); err == nil {
			s.slope, s.slopeAt = slope, p
		}
	}
}
