package phase

import "math"

// pulldownLeast is the shortest pulldown that is believed: the coil has to be
// cold again and the fans to run before a load can be compared. Common
// practice (fan delays of 1 to 5 min), no source.
const pulldownLeast = int64(4 * 60e9)

// recovered tells whether the circuit's load is back where it was before the
// defrost. The load of a coil goes with the difference of air and evaporating
// temperature; where the air is not measured, the time alone speaks.
func (c *Circuit) recovered(at int64, s *limits) bool {
	in := at - c.since
	switch {
	case in >= s.pulldownLimit:
		return true
	case in < pulldownLeast:
		return false
	}
	now, before := c.air.now()-c.dew.now(), c.Before.gap.now()
	if math.IsNaN(now) || math.IsNaN(before) || before <= 1 {
		return in >= s.typicalPulldown
	}
	return now <= before*(1+s.loadBand)
}
