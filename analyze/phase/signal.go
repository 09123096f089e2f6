package phase

import (
	"slices"

	"dewgap/analyze/frame"
)

// defrostSignal follows a circuit's defrost signal, which may hang: one that
// stays on for longer than a defrost lasts is ignored until it goes off.
type defrostSignal struct {
	value   frame.Tristate
	from    int64
	stuck   bool // ignored until it goes off
	lengths [signalLengths]int64
	n       int
}

const signalLengths = 5

// isStuck reports whether the signal has been on for longer than any defrost of
// this circuit lasts.
func (f *defrostSignal) isStuck(at int64, value frame.Tristate, s *limits) bool {
	if value != f.value {
		f.value, f.from, f.stuck = value, at, false
	}
	if value == frame.Yes && at-f.from > f.limit(s) {
		f.stuck = true
	}
	return f.stuck
}

// limit is the longest signal that is taken for a defrost: three times the median of what
// was seen, or the setting, whichever is shorter.
func (f *defrostSignal) limit(s *limits) int64 {
	if f.n < signalLengths {
		return s.signalLimit
	}
	sorted := f.lengths
	slices.Sort(sorted[:])
	return min(s.signalLimit, max(3*sorted[signalLengths/2], s.signalLeast))
}

// ended notes the length of a defrost that the signal ended.
func (f *defrostSignal) ended(length int64) {
	copy(f.lengths[1:], f.lengths[:signalLengths-1])
	f.lengths[0] = length
	f.n = min(f.n+1, signalLengths)
}

// reset keeps what a long gap in the data does not change.
func (f *defrostSignal) reset() { *f = defrostSignal{lengths: f.lengths, n: f.n} }
