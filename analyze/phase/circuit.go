package phase

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Circuit follows one circuit through defrost, drip and pulldown. What is
// exported about the last defrost serves the search for causes.
type Circuit struct {
	kind  frame.DefrostKind
	stage frame.Stage
	since int64
	last  int64
	first int64 // of the first frame after the last long gap

	coil     filter.History
	air, dew filter.LowPass // over a minute
	signal   defrostSignal
	feed     feedDetector
	near     int64          // since when the load looks recovered; 0: it does not
	idle     filter.LowPass // share of time in which no compressor draws on the coil, over ten minutes

	Before Before           // how the circuit ran before its last defrost
	Last   frame.DefrostRun // its last defrost
}

// Before is how a circuit runs when nothing disturbs it, averaged over some
// twenty minutes; NaN where not known.
type Before struct {
	air, dew, outlet, gap, superheat filter.LowPass
	sway                             filter.LowPass // mean |air − its mean|
	seconds                          float64
}

// Air is the temperature of the cooled air, °C.
func (b *Before) Air() float64 { return b.air.Value() }

// airTop returns the highest air of undisturbed running: of a thermostat's
// triangle the half height is twice the mean deviation.
func (b *Before) airTop() float64 { return b.air.Value() + airSways*b.sway.Value() }

// Superheat is that of the coil outlet over the group's dew, K.
func (b *Before) Superheat() float64 { return b.superheat.Value() }

// Dew is the group's suction dew, °C.
func (b *Before) Dew() float64 { return b.dew.Value() }

// Gap returns how far the air stood above dew before the last defrost, K.
func (c *Circuit) Gap() float64 { return c.Before.gap.Value() }

const (
	baselineTau = 1200.0 // s; twenty minutes
	quietTau    = 60.0   // s
	idleTau     = 600.0  // s
)

// NewCircuit returns the tracker of a circuit.
func NewCircuit(kind frame.DefrostKind) Circuit {
	return Circuit{kind: kind, feed: newFeedDetector(), Last: frame.DefrostRun{Peak: units.Celsius(math.NaN())}}
}

// Stage returns what the circuit is doing, and since when.
func (c *Circuit) Stage() (frame.Stage, int64) { return c.stage, c.since }

// Stuck reports whether the defrost signal has been on for longer than any
// defrost lasts.
func (c *Circuit) Stuck() bool { return c.signal.stuck }

func (c *Circuit) enter(st frame.Stage, at int64) {
	c.stage, c.since = st, at
}

// begin opens a defrost that began at from.
func (c *Circuit) begin(from, at int64) {
	c.Last = frame.DefrostRun{Began: from, Peak: units.Celsius(math.NaN())}
	c.enter(frame.Defrosting, at)
}

// resume ends a defrost: liquid is fed again.
func (c *Circuit) resume(at int64) {
	c.Last.Resumed = at
	c.feed.open()
	c.near = 0
	c.enter(frame.PullingDown, at)
}

// Observe takes what is known at an instant. dew is that of the group; pumping
// reports that a compressor runs as far as is known, so that dew is that of the
// coil; rested that the group's only compressor stands although the
// circuit is not defrosting; fed since when liquid must be coming back to it (0:
// it need not).
func (c *Circuit) Observe(at int64, x *frame.Circuit, dew float64, pumping, rested bool, fed int64, gap bool, s *limits) {
	if gap {
		c.reset()
	}
	var step int64
	if c.last != 0 {
		step = at - c.last
	}
	if c.first == 0 {
		c.first = at
	}
	c.last = at
	c.coil.Update(at, float64(x.CoilOutlet))
	c.air.Update(float64(x.Air), step, quietTau)
	if pumping {
		c.dew.Update(dew, step, quietTau)
		c.idle.Update(0, step, idleTau)
	} else {
		c.idle.Update(1, step, idleTau)
	}
	watched := !math.IsNaN(float64(x.CoilOutlet))
	if watched {
		c.feed.watch(at, c, step, s)
	}
	switch {
	case x.Signal != frame.Unset && !c.signal.isStuck(at, x.Signal, s):
		c.follow(at, x, fed, s)
	case watched:
		c.inferByOutlet(at, fed, s)
	case !math.IsNaN(float64(x.Air)):
		c.inferByAir(at, s)
	default:
		// Without any input the circuit counts as undisturbed, but for what its
		// group shows.
		if c.stage != frame.Refrigerating && c.stage != frame.PullingDown && at-c.first >= s.startLength {
			c.enter(frame.Refrigerating, at)
		}
	}
	switch c.stage {
	case frame.Refrigerating:
		if pumping && !c.feed.shut {
			c.learn(x, dew, step)
		}
	case frame.Defrosting, frame.Dripping:
		c.watchDefrost(x, step)
	case frame.PullingDown:
		if c.recovered(at, pumping, rested, s) {
			c.Last.Over = at
			c.enter(frame.Refrigerating, at)
		}
	}
}

// reset forgets, after a long gap in the data, everything but how the circuit
// usually runs.
func (c *Circuit) reset() {
	*c = Circuit{kind: c.kind, last: c.last, signal: c.signal, feed: c.feed, Before: c.Before, Last: c.Last}
	c.signal.reset()
	c.feed.open()
}

// follow moves by the defrost signal.
func (c *Circuit) follow(at int64, x *frame.Circuit, fed int64, s *limits) {
	if x.Signal == frame.Yes {
		if c.stage != frame.Defrosting {
			c.begin(at, at)
		}
		return
	}
	switch c.stage {
	case frame.StageUnknown:
		// No defrost now. One may have ended before the first frame, which no
		// input shows.
		if at-c.first >= s.startLength {
			c.enter(frame.Refrigerating, at)
		}
	case frame.Defrosting:
		c.Last.Ended = at
		c.signal.ended(at - c.Last.Began)
		c.enter(frame.Dripping, at)
		fallthrough
	case frame.Dripping:
		switch {
		case fed > 0 && (c.kind == frame.OffCycle || math.IsNaN(float64(x.CoilOutlet))):
			c.resume(max(fed, c.Last.Ended))
		case c.resumed(at, x, s):
			c.resume(at)
		}
	}
}

// resumed reports whether refrigeration is back after the heat. The signal may
// include the drip or not: the coil outlet falls when liquid comes back.
func (c *Circuit) resumed(at int64, x *frame.Circuit, s *limits) bool {
	waited := at - c.Last.Ended
	if math.IsNaN(float64(x.CoilOutlet)) || math.IsNaN(c.coil.Newest()) {
		return waited >= s.drip
	}
	return c.falls(at) || waited >= s.dripLimit
}

// learn takes undisturbed running into the baseline.
func (c *Circuit) learn(x *frame.Circuit, dew float64, step int64) {
	b := &c.Before
	if b.seconds < 4*baselineTau {
		b.seconds += float64(step) / 1e9
	}
	gain := filter.Gain(step, min(baselineTau, max(b.seconds, 30)))
	b.air.Blend(float64(x.Air), gain)
	b.sway.Blend(math.Abs(c.air.Value()-b.air.Value()), gain)
	b.dew.Blend(dew, gain)
	b.outlet.Blend(float64(x.CoilOutlet), gain)
	b.gap.Blend(float64(x.Air)-dew, gain)
	b.superheat.Blend(float64(x.CoilOutlet)-dew, gain)
}

// watchDefrost measures peak and melting plateau.
func (c *Circuit) watchDefrost(x *frame.Circuit, step int64) {
	v := c.coil.Newest()
	if math.IsNaN(float64(x.CoilOutlet)) || math.IsNaN(v) {
		return
	}
	if p := units.Celsius(v); !(p <= c.Last.Peak) {
		c.Last.Peak = p
	}
	if c.stage == frame.Defrosting && math.Abs(v) <= 1 {
		c.Last.Plateau += float64(step) / 1e9
	}
}
