// Package cause ranks circuits and causes of a floodback by evidence, and lists
// what to check next.
//
// A Group follows the coils of one suction group all the time: superheat at the
// outlets, air, defrosts, and a day of summaries of how each coil usually runs.
// A Diagnosis gathers the evidence of one floodback of one compressor. It
// weights each instant by how deep the compressor's superheat was. At each
// instant the evidence is a set of numbers (features.go). From these come named
// features with degrees from 0 to 1 (degrees.go), which one table adds up
// (table.go). Circuits have features and weights of their own
// (circuitfeature.go). There is no weight outside these two tables.
//
// It may import the standard library's pure packages, evidence, filter, frame
// and units. It must never import a package that detects, such as floodback: that one
// asks for the diagnosis. No clock, no I/O.
package cause

import (
	"math"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// Ranked is one candidate with its score, 0 to 1.
type Ranked struct {
	Name  string // circuit's name or contract's word for the cause
	Score float64
	Why   []evidence.Item // in the order of the table
}

const (
	second   = int64(1e9)  // ns
	minute   = 60 * second // ns
	interval = 10 * second // between two observations of the coils
)

// Group follows the coils of one suction group between and during floodbacks.
// It is not safe for concurrent use.
type Group struct {
	coils     []coil
	inlets    []inlet
	now       int64 // of the last observation
	flowing   int64 // since when a compressor runs and dew is known; 0: that is not so
	drawn     bool  // flowing for settling: dew is down
	dew       filter.LowPass
	dewSlow   filter.LowPass
	running   filter.LowPass // share of the compressors that run
	lowest    filter.LowPass // lowest superheat of the running compressors, K
	head      filter.LowPass // condensing dew, °C
	headDay   filter.LowPass // condensing dew over half a day, °C
	rises     dewRises
	past      past      // dew and running
	histories []history // by circuit
}

// Time constants, s; common practice, no source. A clamped sensor on a pipe
// follows within some 30 s, so dew is delayed as much before the two are
// compared.
const (
	pipeTau    = 30.0
	slowDewTau = 180.0
	groupTau   = 600.0 // of running and lowest
	headTau    = 120.0
	headDayTau = 12 * 3600.0
)

// Common practice, no source.
const (
	settling       = 60 * second // a start takes as long until the pipes mean something
	airSettling    = 3 * minute  // as long as that until air above dew means something
	inletSettling  = 2 * minute  // of a compressor's own start
	longestGap     = 2 * minute  // without a row; what was before a longer one counts for little
	quietDew       = 1.5         // K between dew and its delayed value
	recurrenceSpan = 180 * minute
	restartNear    = 25 * 60.0 // s; a floodback so soon after a restart is not one that recurs by itself
)

// inlet is a compressor's suction as its neighbours see it.
type inlet struct {
	track
	running bool
	bouts   recurrence // of its floodbacks that no restart explains
	starts  recurrence // of its floodbacks that came with its own start
}

// ownStart is how long after a machine's start a floodback still comes with it.
// Common practice, no source.
const ownStart = 300.0 // s

// recurrence remembers when something came, to tell whether it comes again and
// again.
type recurrence struct {
	at [boutsKept]int64
	n  int
}

// boutsKept within recurrenceSpan are enough to show that something recurs.
const boutsKept = 4

// count returns how often it came within recurrenceSpan before at.
func (r *recurrence) count(at int64) (n int) {
	for _, t := range r.at {
		if t != 0 && t <= at && at-t < recurrenceSpan {
			n++
		}
	}
	return n
}

func (r *recurrence) enter(at int64) {
	r.at[r.n%boutsKept] = at
	r.n++
}

// NewGroup returns the tracker of a group with the circuits of these names, and
// so many compressors.
func NewGroup(circuits []string, compressors int) *Group {
	g := &Group{coils: make([]coil, len(circuits)), inlets: make([]inlet, compressors), histories: make([]history, len(circuits))}
	for i := range g.coils {
		g.coils[i].name = circuits[i]
	}
	return g
}

// Observe takes the group's frame after phase has written its part. It
// allocates nothing.
func (g *Group) Observe(x *frame.Frame) {
	step := x.At - g.now
	if g.now != 0 && step >= 0 && step < interval {
		return
	}
	if step < 0 || step > longestGap {
		step = interval
		g.flowing = 0
	}
	g.now = x.At
	calm := g.observePressures(x, step)
	g.lowest.Update(g.lowestInlet(), step, groupTau)
	undisturbed := true
	for i := range g.coils {
		g.coils[i].observe(x.At, step, &x.Circuits[i], g, calm)
		undisturbed = undisturbed && g.coils[i].stage == frame.Refrigerating
	}
	for i := range g.inlets {
		in, c := &g.inlets[i], &x.Compressors[i]
		in.running = c.Running == frame.Yes && c.RunningFor > inletSettling
		if !in.running || !calm {
			in.pause()
			continue
		}
		in.update(x.At, step, float64(c.Inlet.Temperature)-g.dew.Value(), undisturbed)
		if undisturbed {
			in.past.update(x.At, in.over.Value())
		}
	}
	if calm && undisturbed && x.At-g.flowing >= airSettling {
		g.past.update(x.At, g.dew.Value(), g.running.Value())
	}
}

// observePressures follows the group's pressures, and reports whether dew is
// calm enough for the pipes to be compared with it.
func (g *Group) observePressures(x *frame.Frame, step int64) (calm bool) {
	runs, share := false, 0.0
	for i := range x.Compressors {
		if x.Compressors[i].Running != frame.No {
			runs = true
			share += 1 / float64(len(x.Compressors))
		}
	}
	g.running.Update(share, step, groupTau)
	g.dew.Update(float64(x.Dew), step, pipeTau)
	g.dewSlow.Update(float64(x.Dew), step, slowDewTau)
	g.head.Update(float64(x.CondensingDew), step, headTau)
	switch {
	case !runs || !g.dew.Known():
		g.flowing, g.drawn = 0, false
	case g.flowing == 0:
		g.flowing = x.At
	case !g.drawn && x.At-g.flowing >= settling:
		g.drawn = true
		g.dewSlow.Set(g.dew.Value())
	}
	g.rises.update(x.At, runs, float64(x.Dew), &g.past)
	calm = g.flowing != 0 && x.At-g.flowing >= settling && math.Abs(float64(x.Dew)-g.dew.Value()) < quietDew
	if calm {
		g.headDay.Update(float64(x.CondensingDew), step, headDayTau)
	}
	return calm
}

// lowestInlet returns the lowest superheat of the running compressors, K; NaN
// where none is known.
func (g *Group) lowestInlet() float64 {
	low := nan
	for i := range g.inlets {
		if v := g.inlets[i].over.Value(); g.inlets[i].running && !(low <= v) {
			low = v
		}
	}
	return low
}

// dewRises measures how fast the group's dew comes up once no compressor draws:
// an expansion device that shuts lets it creep, an open one lets the high side
// blow through.
type dewRises struct {
	stopped int64          // when the last compressor stopped; 0: one runs, -1: this stop is counted
	from    float64        // dew then, °C
	mean    filter.LowPass // K in the first riseTime of a stop
}

const (
	riseTime  = 2 * minute
	riseStops = 4.0 // stops that the mean remembers
)

func (r *dewRises) update(at int64, runs bool, dew float64, running *past) {
	switch {
	case runs || math.IsNaN(dew):
		r.stopped = 0
	case r.stopped == 0:
		r.stopped, r.from = at, dew
	case r.stopped > 0 && at-r.stopped >= riseTime:
		from := r.from
		if usual, _ := running.quantile(at, 0.5, groupDew); usual > from {
			from = usual // it was pumped down: what boils off in the coil is no feed
		}
		r.mean.Update(dew-from, second, riseStops)
		r.stopped = -1
	}
}

// highestBefore returns the highest superheat of a compressor in the last two
// minutes, K.
func (g *Group) highestBefore(compressor int) float64 {
	return g.inlets[compressor].highest()
}

// beginBout notes that a floodback of a compressor begins, and returns how many
// began within recurrenceSpan before while no circuit had restarted.
func (g *Group) beginBout(compressor int, at int64) int {
	in := &g.inlets[compressor]
	n := in.bouts.count(at)
	for i := range g.coils {
		if g.coils[i].isShut() || g.coils[i].ago(at) < restartNear {
			return n
		}
	}
	in.bouts.enter(at)
	return n
}

// beginStart notes a floodback that begins after the compressor has run for ran,
// s, and returns how many came with its starts within recurrenceSpan before.
func (g *Group) beginStart(compressor int, at int64, ran float64) int {
	in := &g.inlets[compressor]
	n := in.starts.count(at)
	if ran < ownStart {
		in.starts.enter(at)
	}
	return n
}
