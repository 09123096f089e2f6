package phase

import "math"

// recovered reports whether the circuit's load is back where it was before the
// defrost. No input measures the load; a thermostat that shuts the valve
// shows that it is. Else the time since the defrost is weighed against what is seen.
func (c *Circuit) recovered(at int64, pumping, rested bool, s *limits) bool {
	in := at - c.since
	switch {
	case in >= s.pulldownLimit:
		return true
	case in < s.pulldownLeast:
		return false
	case rested, c.feed.shut && (c.feed.pauses > 0 || at-c.feed.from >= shutHolds):
		return true
	case !pumping, in < c.expected(s):
		c.near = 0
		return false
	}
	if c.near == 0 {
		c.near = at
	}
	return at-c.near >= nearHolds
}

// expected returns how long a pulldown that looks like this one now lasts, ns:
// the typical time, stretched by what shows that the load is not back.
//
// The load of a coil goes with the gap of air over evaporating temperature, so
// a wide gap is load. One much narrower than before the defrost is no sign of
// rest: the coil was iced then and moved little, and it is that little to which
// the load has to come back. A coil outlet further over dew than usual is a
// coil that is not full yet. The heat that has to leave again came in while
// there was no refrigeration. Where compressors cycle, the load swings with them
// and does not settle. What is not measured changes nothing.
func (c *Circuit) expected(s *limits) int64 {
	stretch := awayPower * math.Log(c.away()/awayUsual) // natural logarithm
	if idle := c.idle.Value(); !math.IsNaN(idle) {
		stretch += idleStretch * idle
	}
	if before := c.Before.gap.Value(); before > minGap {
		if x := (c.air.Value() - c.dew.Value()) / before; !math.IsNaN(x) {
			stretch += max(gapWide*(x-1), gapIced*(gapWasIced-x))
		}
	}
	if over := c.coil.Newest() - c.dew.Value() - c.Before.superheat.Value(); !math.IsNaN(over) {
		stretch += fillStretch * min(max(over, -maxFill/2), maxFill)
	}
	return int64(min(float64(s.typicalPulldown)*math.Exp(stretch), float64(s.pulldownLimit)))
}

// away returns how long the circuit was without refrigeration, s. Of a defrost
// that was found under way only the rest was seen.
func (c *Circuit) away() float64 {
	away := float64(c.Last.Resumed-c.Last.Began) / 1e9
	if c.Last.Began <= c.first {
		away = max(away, awayUsual)
	}
	return min(max(away, awayUsual/3), awayUsual*3)
}
