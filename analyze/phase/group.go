package phase

import (
	"math"

	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
)

// Group follows the compressors and circuits of one suction group. It is not
// safe for concurrent use.
type Group struct {
	limits      limits
	Compressors []Compressor
	Circuits    []Circuit
	phases      []frame.Phase
	estimators  []runEstimator
	pressure    pressureEvidence
	last        int64
	stood       bool  // every machine stood when last all were known,
	stoodSince  int64 // and since then; 0: that was not seen
	ran         int64 // since when some machine has run after that; 0: not
	standstills standstills
}

// NewGroup returns the trackers of a group with the given number of
// compressors and the circuits of the given kinds.
func NewGroup(s Settings, compressors int, circuits []frame.DefrostKind) *Group {
	g := &Group{limits: limitsFrom(s, len(circuits)), phases: make([]frame.Phase, compressors), Compressors: make([]Compressor, compressors), estimators: make([]runEstimator, compressors)}
	for _, k := range circuits {
		g.Circuits = append(g.Circuits, NewCircuit(k))
	}
	return g
}

// Observe takes what is known of the group at an instant and returns the
// phase of each compressor, which it also writes into x with the rest of what it
// finds. The slice is valid until the next Observe. It keeps nothing of x.
func (g *Group) Observe(x *frame.Frame) []frame.Phase {
	if unsignalled(x) {
		g.follow(x)
	}
	single := len(g.Compressors) == 1
	pumping, coldest := false, math.NaN()
	for i := range x.Compressors {
		if t := float64(x.Compressors[i].Inlet.Temperature); !(coldest <= t) {
			coldest = t
		}
	}
	for i := range g.Compressors {
		running, since, sure := x.Compressors[i].Signal, x.At, true
		if running == frame.Unset {
			own := 1.0
			if single && !math.IsNaN(float64(x.Dew)) {
				own = singleShare
			}
			running, since = g.estimators[i].observe(x, &x.Compressors[i], g.pressures(i), own, g.others(i), coldest)
			sure = g.estimators[i].sure()
		}
		g.Compressors[i].Observe(x.At, running, since, x.LongGap, &g.limits)
		g.Compressors[i].sure = sure
		pumping = pumping || running != frame.No
	}
	fed := g.fed(x)
	rested := !pumping && single && len(g.Circuits) == 1
	for i := range g.Circuits {
		g.Circuits[i].Observe(x.At, &x.Circuits[i], float64(x.Dew), pumping, rested, fed, x.LongGap, &g.limits)
	}
	disturbed := g.disturbed()
	for i := range g.Compressors {
		g.phases[i] = g.Compressors[i].phase(x.At, disturbed, &g.limits)
	}
	g.fill(x)
	return g.phases
}

// fed returns since when a coil has been fed for sure: the machines stood and run
// again, and no circuit but those in defrost could be what they draw from. It is 0
// where that is not so.
func (g *Group) fed(x *frame.Frame) int64 {
	standing, seen, since := true, true, int64(0)
	for i := range g.Compressors {
		c := &g.Compressors[i]
		standing = standing && c.running == frame.No
		since, seen = max(since, c.since), seen && c.since > 0
		switch {
		case c.running == frame.Unset:
			g.stood, g.ran = false, 0
		case c.running == frame.Yes && g.stood:
			g.restart(x, c.since)
		}
	}
	if standing && len(g.Compressors) > 0 {
		g.stood, g.stoodSince, g.ran = true, 0, 0
		if seen {
			g.stoodSince = since
		}
	}
	if g.ran == 0 || x.At-g.ran < fedAfter {
		return 0
	}
	for i := range g.Circuits {
		if st := g.Circuits[i].stage; st != frame.Defrosting && st != frame.Dripping {
			return 0
		}
	}
	return g.ran
}

// restart notes that a machine runs since at, after all stood. Where nothing else
// shows a defrost, the length of the standstill may.
func (g *Group) restart(x *frame.Frame, at int64) {
	began := g.stoodSince
	g.stood, g.ran = false, at
	if began == 0 || at <= began || !g.standstills.defrosted(began, at) || !bare(x) {
		return
	}
	for i := range g.Circuits {
		c := &g.Circuits[i]
		c.begin(began, at)
		c.Last.Ended = at
		c.resume(at)
	}
}

// fill writes what was found into the frame.
func (g *Group) fill(x *frame.Frame) {
	for i := range x.Compressors {
		c, from := &x.Compressors[i], &g.Compressors[i]
		c.Phase, c.Running, c.Sure, c.Stopped = g.phases[i], from.running, from.sure, from.stopped
		c.RunningFor, c.Whole = from.For(x.At)
	}
	for i := range x.Circuits {
		c, from := &x.Circuits[i], &g.Circuits[i]
		c.Stage, c.Since, c.Last = from.stage, from.since, from.Last
	}
}

// unsignalled reports that some compressor has no running signal.
func unsignalled(x *frame.Frame) bool {
	for i := range x.Compressors {
		if x.Compressors[i].Signal == frame.Unset {
			return true
		}
	}
	return false
}

// follow lets the group's pressures be watched.
func (g *Group) follow(x *frame.Frame) {
	var step int64
	if g.last != 0 {
		step = x.At - g.last
		if x.LongGap {
			g.pressure.suction.Reset()
			g.pressure.condensing.Reset()
		}
	}
	g.last = x.At
	runs := false
	for i := range g.Compressors {
		runs = runs || g.Compressors[i].running == frame.Yes && g.Compressors[i].sure
	}
	g.pressure.observe(x, runs, step)
}

// pressures returns the evidence of the group's pressures that compressor i runs.
// Where others may run beside it, only the stop of all is as large as that.
func (g *Group) pressures(i int) float64 {
	for k := range g.Compressors {
		if k != i && g.Compressors[k].running != frame.No {
			return g.pressure.shut
		}
	}
	if len(g.Compressors) > 1 && g.Compressors[i].running != frame.Yes {
		return min(g.pressure.evidence, 0) // any of them may have started
	}
	return g.pressure.evidence
}

// others returns how far the pipes moved in the last minute of those that run
// beside compressor i: on a header they share gas and pressures.
func (g *Group) others(i int) moves {
	if len(g.Compressors) == 1 {
		return unmoved
	}
	var sum moves
	var n float64
	for k := range g.Compressors {
		if c := &g.Compressors[k]; k != i && c.running == frame.Yes && c.sure && g.last-g.estimators[k].last <= int64(reading.LongGap) { // no signal came between
			sum.pipe += g.estimators[k].moved.pipe
			sum.hot += g.estimators[k].moved.hot
			n++
		}
	}
	return moves{sum.pipe / n, sum.hot / n}
}

// disturbed returns what the circuits make of the group's running compressors:
// Pulldown before Defrost before Steady; Unknown when a circuit is not known
// and none of the others decides.
func (g *Group) disturbed() frame.Phase {
	worst := frame.Steady
	for i := range g.Circuits {
		switch g.Circuits[i].stage {
		case frame.PullingDown:
			return frame.Pulldown
		case frame.Defrosting, frame.Dripping:
			worst = frame.Defrost
		case frame.StageUnknown:
			if worst == frame.Steady {
				worst = frame.Unknown
			}
		}
	}
	return worst
}

// phase applies the contract's order.
func (c *Compressor) phase(at int64, disturbed frame.Phase, s *limits) frame.Phase {
	switch c.running {
	case frame.Unset:
		return frame.Unknown
	case frame.No:
		return frame.Off
	}
	switch c.inStart(at, s) {
	case frame.Yes:
		return frame.Start
	case frame.Unset:
		return frame.Unknown
	}
	return disturbed
}
