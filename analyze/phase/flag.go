package phase

import "slices"

// flag follows a circuit's defrost signal as a signal: one that never clears
// is not believed.
type flag struct {
	value   Tristate
	from    int64
	stuck   bool // not believed until it goes off
	lengths [flagLengths]int64
	n       int
}

const flagLengths = 5

// hangs tells whether the signal has been on for longer than any defrost of
// this circuit lasts.
func (f *flag) hangs(at int64, value Tristate, s *limits) bool {
	if value != f.value {
		f.value, f.from, f.stuck = value, at, false
	}
	if value == Yes && at-f.from > f.limit(s) {
		f.stuck = true
	}
	return f.stuck
}

// limit is the longest signal that is believed: three times the median of what
// was seen, or the setting, whichever is shorter.
func (f *flag) limit(s *limits) int64 {
	if f.n < flagLengths {
		return s.signalLimit
	}
	sorted := f.lengths
	slices.Sort(sorted[:])
	return min(s.signalLimit, max(3*sorted[flagLengths/2], s.signalLeast))
}

// ended notes the length of a defrost that the signal ended.
func (f *flag) ended(length int64) {
	copy(f.lengths[1:], f.lengths[:flagLengths-1])
	f.lengths[0] = length
	f.n = min(f.n+1, flagLengths)
}

// forget leaves what a hole in the data does not change.
func (f *flag) forget() { f.value, f.from, f.stuck = Unset, 0, false }
