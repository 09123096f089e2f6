package phase

import "math"

// recovered tells whether the circuit's load is back where it was before the
// defrost. The load of a coil goes with the difference of air and evaporating
// temperature, and with how well it is defrosted; a thermostat that shuts the
// valve says that it is. Where nothing is measured the time alone speaks.
func (c *Circuit) recovered(at int64, pumping, rested bool, s *limits) bool {
	in := at - c.since
	switch {
	case in >= s.pulldownLimit:
		return true
	case in < s.pulldownLeast:
		return false
	case rested, c.feed.shut && (c.feed.pauses > 0 || at-c.feed.from >= shutHolds):
		return true
	}
	now, before := c.air.now()-c.dew.now(), c.Before.gap.now()
	if math.IsNaN(now) || math.IsNaN(before) || before <= 1 {
		return in >= s.typicalPulldown
	}
	if !pumping || now*c.frost.relief() > before*(1+s.loadBand) {
		c.near = 0
		return false
	}
	if c.near == 0 {
		c.near = at
	}
	return at-c.near >= nearHolds
}

// frost is what a circuit's frost does to its load, learned over its cycles.
// As a coil frosts its conductance falls; a part of that shows as a wider gap
// of air over dew, the rest as less load while goods and air warm. So the gap
// an hour after a defrost, against that before it, tells by how much more a
// defrosted coil moves at the same gap.
type frost struct {
	share   float64 // 1 − gap late after a defrost / gap before it
	seen    float64 // cycles
	late    lag
	seconds float64
	before  float64 // gap before the defrost that the present cycle followed
}

func newFrost() frost { return frost{share: frostShare, seen: 1, before: math.NaN()} }

// relief is the conductance of the defrosted coil over that of the frosted one.
func (f *frost) relief() float64 {
	return (1 + frostLoad*f.share) / (1 - f.share)
}

// watch takes the gap at a time after the end of the last defrost.
func (f *frost) watch(after int64, gap, dt float64) {
	if after < frostFrom || after > frostTo || math.IsNaN(gap) {
		return
	}
	f.late.take(gap, dt, float64(frostTo-frostFrom)/2e9)
	f.seconds += dt
}

// judge ends a cycle: the next defrost begins, with the gap before it.
func (f *frost) judge(before float64) {
	if late := f.late.now(); f.seconds*1e9 >= float64(frostTo-frostFrom)/2 && f.before > 1 && before > 1 {
		share := 1 - late/math.Sqrt(f.before*before) // the mean of both takes out a drift
		f.seen++
		f.share += (min(max(share, 0), frostMost) - f.share) / min(f.seen, frostCycles)
	}
	f.late, f.seconds, f.before = lag{}, 0, before
}
