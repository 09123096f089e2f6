package phase

import "math"

// Stage is what one circuit is doing.
type Stage uint8

// Stages of a circuit. The zero value is not known.
const (
	StageUnknown Stage = iota
	Refrigerating
	Defrosting
	Dripping
	PullingDown
)

// Circuit follows one circuit through defrost, drip and pulldown. What is
// exported about the last defrost serves the search for causes.
type Circuit struct {
	kind  DefrostKind
	stage Stage
	since int64
	last  int64
	first int64

	coil     trail
	air      lag // over a minute
	dew      lag // over a minute
	outlet   lag // over a minute
	flag     Known
	flagFrom int64
	stuck    bool // the signal stayed on too long and is not believed until it goes off

	Before Before  // how the circuit ran before its last defrost
	Last   Episode // its last defrost
	infer  inference
}

// Before is how a circuit runs when nothing disturbs it, averaged over some
// twenty minutes; NaN where not known.
type Before struct {
	air, dew, outlet, gap, superheat lag
	seconds                          float64
}

// Air is the temperature of the cooled air, °C.
func (b *Before) Air() float64 { return b.air.now() }

// Superheat is that of the coil outlet over the group's dew, K.
func (b *Before) Superheat() float64 { return b.superheat.now() }

// Dew is the group's suction dew, °C.
func (b *Before) Dew() float64 { return b.dew.now() }

// Gap returns how far the air stood above dew before the last defrost, K.
func (c *Circuit) Gap() float64 { return c.Before.gap.now() }

// Episode is one defrost: times in ns, 0 where it has not come to that.
type Episode struct {
	Began   int64   // heat, or the liquid valve shut
	Ended   int64   // end of the heat
	Resumed int64   // refrigerating again
	Over    int64   // pulldown over
	Peak    float64 // highest coil outlet temperature, °C
	Plateau float64 // seconds within 1 K of 0 °C
}

const (
	fallSpan    = int64(60e9) // contract's hint: the coil outlet falls by more than
	fallKelvin  = 3.0         // 3 K in 60 s when refrigeration is back
	baselineTau = 1200.0      // s; twenty minutes
	quietTau    = 60.0        // s
)

// NewCircuit returns the tracker of a circuit.
func NewCircuit(kind DefrostKind) Circuit {
	return Circuit{kind: kind, Last: Episode{Peak: math.NaN()}}
}

// Stage returns what the circuit is doing, and since when.
func (c *Circuit) Stage() (Stage, int64) { return c.stage, c.since }

// Stuck tells whether the defrost signal has been on for longer than any
// defrost lasts.
func (c *Circuit) Stuck() bool { return c.stuck }

func (c *Circuit) enter(st Stage, at int64) {
	c.stage, c.since = st, at
}

// Observe takes what is known at an instant; dew is that of the group.
func (c *Circuit) Observe(at int64, x CircuitSample, dew float64, s *limits) {
	if c.last != 0 && at-c.last >= s.hole {
		c.reset()
	}
	dt := 0.0
	if c.last != 0 {
		dt = float64(at-c.last) / 1e9
	}
	if c.first == 0 {
		c.first = at
	}
	c.last = at
	c.coil.take(at, x.CoilOutlet)
	c.air.take(x.Air, dt, quietTau)
	c.dew.take(dew, dt, quietTau)
	c.outlet.take(x.CoilOutlet, dt, quietTau)

	if x.Defrost == NotKnown || c.stuckSignal(at, x.Defrost, s) {
		c.guess(at, x, dew, dt, s)
	} else {
		c.follow(at, x, s)
	}
	switch c.stage {
	case Refrigerating:
		c.learn(x, dew, dt)
	case Defrosting, Dripping:
		c.watchDefrost(x, dt)
	case PullingDown:
		if c.recovered(at, s) {
			c.Last.Over = at
			c.enter(Refrigerating, at)
		}
	}
}

// reset forgets what a hole in the data makes hearsay: everything but how the
// circuit usually runs.
func (c *Circuit) reset() {
	c.coil.forget()
	c.air, c.dew, c.outlet = lag{}, lag{}, lag{}
	c.stage, c.since, c.flag, c.stuck, c.first = StageUnknown, 0, NotKnown, false, 0
	c.infer = inference{}
}

// stuckSignal watches for a signal that never clears.
func (c *Circuit) stuckSignal(at int64, flag Known, s *limits) bool {
	if flag != c.flag {
		c.flag, c.flagFrom, c.stuck = flag, at, false
	}
	if flag == Yes && at-c.flagFrom > s.signalLimit {
		if !c.stuck {
			c.stuck = true
			c.infer = inference{}
			c.enter(StageUnknown, at)
		}
		return true
	}
	return false
}

// follow moves by the defrost signal.
func (c *Circuit) follow(at int64, x CircuitSample, s *limits) {
	if x.Defrost == Yes {
		if c.stage != Defrosting {
			c.Last = Episode{Began: at, Peak: math.NaN()}
			c.enter(Defrosting, at)
		}
		return
	}
	switch c.stage {
	case StageUnknown:
		// No defrost now; whether one has just ended shows on the coil and the
		// air, or not at all. See settled.
		if c.settled(at, s) {
			c.enter(Refrigerating, at)
		}
	case Defrosting:
		c.Last.Ended = at
		c.enter(Dripping, at)
		fallthrough
	case Dripping:
		if c.resumed(at, x, s) {
			c.Last.Resumed = at
			c.enter(PullingDown, at)
		}
	}
}

// settled tells whether a circuit that was found without a defrost may be
// taken as refrigerating undisturbed: nothing on it moves downhill any more.
func (c *Circuit) settled(at int64, s *limits) bool {
	return at-c.first >= s.startLength
}

// resumed tells whether refrigeration is back after the heat. The signal may
// include the drip or not: the coil outlet falls when liquid comes back.
func (c *Circuit) resumed(at int64, x CircuitSample, s *limits) bool {
	waited := at - c.Last.Ended
	if math.IsNaN(x.CoilOutlet) || math.IsNaN(c.coil.now()) {
		return waited >= s.drip
	}
	// Noise does not carry a mean of 5 s by 3 K; a drip through a warm coil
	// cools it slowly.
	top := c.coil.highest(at, fallSpan+trailStep)
	if top-c.coil.now() > fallKelvin {
		return true
	}
	return waited >= s.dripLimit
}

// learn takes undisturbed running into the baseline.
func (c *Circuit) learn(x CircuitSample, dew, dt float64) {
	b := &c.Before
	if b.seconds < 4*baselineTau {
		b.seconds += dt
	}
	tau := min(baselineTau, max(b.seconds, 30))
	b.air.take(x.Air, dt, tau)
	b.dew.take(dew, dt, tau)
	b.outlet.take(x.CoilOutlet, dt, tau)
	b.gap.take(x.Air-dew, dt, tau)
	b.superheat.take(x.CoilOutlet-dew, dt, tau)
}

// watchDefrost measures peak and melting plateau.
func (c *Circuit) watchDefrost(x CircuitSample, dt float64) {
	v := c.coil.now()
	if math.IsNaN(x.CoilOutlet) || math.IsNaN(v) {
		return
	}
	if !(v <= c.Last.Peak) {
		c.Last.Peak = v
	}
	if c.stage == Defrosting && math.Abs(v) <= 1 {
		c.Last.Plateau += dt
	}
}
