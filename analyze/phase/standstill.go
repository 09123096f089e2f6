package phase

import (
	"slices"

	"dewgap/analyze/frame"
)

// standstills finds, where nothing signals a defrost and nobody measures a coil,
// the defrost for which all machines of a group stand: it lasts far longer than
// their pauses, or comes as regularly as only a timer does.
type standstills struct {
	pauses [standsKept]int64 // lengths of the last stops that were no defrost, ns
	n      int               // of them, ever
	began  [4]int64          // of the last long stops, oldest first
	timer  int64             // interval at which a timer stops the machines, ns; 0: not known
	timed  int64             // when it last did
}

// What makes a stop a defrost. Common practice, no source.
const (
	standsKept  = 24                // stops; about a day of a machine that pauses once an hour
	standsLeast = 5                 // stops from which the usual pause is known
	standsLong  = int64(360e9)      // ns; a shorter stop melts nothing
	standsTimes = 3.0               // times the usual pause,
	standsOver  = 1.5               // and times the longest
	timerExact  = int64(120e9)      // ns by which the interval of a timer varies,
	timerLeast  = int64(2 * 3600e9) // of at least so much;
	timerTrust  = 8                 // intervals without a stop after which it is no longer believed
)

// defrosted takes a stop that has just ended and reports whether it was a defrost.
func (s *standstills) defrosted(began, ended int64) bool {
	length := ended - began
	long := length >= standsLong
	if long {
		copy(s.began[:], s.began[1:])
		s.began[len(s.began)-1] = began
	}
	switch {
	case long && s.isTimed(began):
		s.timed = began
		s.forget(length)
		return true
	case long && s.isFarLonger(length):
		return true
	}
	s.pauses[s.n%standsKept] = length
	s.n++
	return false
}

// isFarLonger reports whether a stop is longer than pauses are.
func (s *standstills) isFarLonger(length int64) bool {
	if s.n < standsLeast {
		return false
	}
	kept := s.pauses
	known := kept[:min(s.n, standsKept)]
	slices.Sort(known)
	usual, longest := known[len(known)/2], known[len(known)-1]
	return float64(length) >= standsTimes*float64(usual) && float64(length) >= standsOver*float64(longest)
}

// isTimed reports whether a long stop began when a timer makes it: as the last
// ones did at even intervals, or some intervals after them.
func (s *standstills) isTimed(began int64) bool {
	if s.timer > 0 {
		since := began - s.timed
		off := (since+s.timer/2)%s.timer - s.timer/2
		if since < timerTrust*s.timer {
			return -timerExact <= off && off <= timerExact
		}
		s.timer = 0
	}
	if s.began[0] == 0 {
		return false
	}
	first := s.began[1] - s.began[0]
	for i := 2; i < len(s.began); i++ {
		if d := s.began[i] - s.began[i-1] - first; d > timerExact || d < -timerExact {
			return false
		}
	}
	if first < timerLeast {
		return false
	}
	s.timer = first
	return true
}

// forget takes stops of about a defrost's length out of the pauses: they were
// defrosts before the timer was known.
func (s *standstills) forget(length int64) {
	kept, n := [standsKept]int64{}, 0
	for _, p := range s.pauses[:min(s.n, standsKept)] {
		if float64(p)*standsOver < float64(length) {
			kept[n] = p
			n++
		}
	}
	s.pauses, s.n = kept, n
}

// bare reports whether circuits have no input that could show a defrost.
func bare(x *frame.Frame) bool {
	for i := range x.Circuits {
		c := &x.Circuits[i]
		if c.Signal != frame.Unset || c.CoilOutlet == c.CoilOutlet || c.Air == c.Air {
			return false
		}
	}
	return len(x.Circuits) > 0
}
