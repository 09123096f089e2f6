package phase

import "math"

// inference is what is remembered while guessing a circuit's stage without a
// defrost signal, from the coil outlet (or, without one, the air).
type inference struct {
	restless lag   // mean |deviation| of the coil's superheat from its usual one, K
	above    int64 // since when the outlet is higher than refrigeration explains; 0: it is not
	calm     int64 // since when the circuit looks like refrigerating
	real     bool  // the defrost under way went where no pause of the valve goes
	airTop   float64
}

// Numbers of the guess: common practice, no source.
const (
	riseLeast   = 5.0             // K over the usual coil superheat: liquid is shut off
	riseRestles = 3.5             // … and this many times the usual movement
	riseHolds   = int64(45e9)     // for this long
	airRise     = 1.5             // K; the same for air alone
	pauseLimit  = int64(9 * 60e9) // a thermostat's pause is shorter, a defrost longer
	calmHolds   = int64(120e9)
)

// guess moves without a defrost signal.
func (c *Circuit) guess(at int64, x CircuitSample, dew, dt float64, s *limits) {
	outlet := c.coil.now()
	switch {
	case !math.IsNaN(x.CoilOutlet) && !math.IsNaN(outlet):
		c.guessByOutlet(at, x, outlet, dt)
	case !math.IsNaN(x.Air):
		c.guessByAir(at, dt)
	case c.stage != StageUnknown:
		c.enter(StageUnknown, at)
	}
}

func (c *Circuit) guessByOutlet(at int64, x CircuitSample, outlet, dt float64) {
	f := &c.infer
	dew := c.dew.now()
	over := outlet - dew
	usual := c.Before.superheat.now()
	switch c.stage {
	case StageUnknown:
		// Cold, and close over dew: liquid is fed. Else a defrost may be under way.
		gap := c.air.now() - dew
		fed := over < 13 && outlet < 1 && !(gap < over-2)
		if !fed {
			f.calm = 0
			if outlet > 3 && at-c.first > calmHolds {
				c.begin(at)
				f.real = true
			}
			return
		}
		if f.calm == 0 {
			f.calm = at
		}
		if at-f.calm >= calmHolds {
			c.enter(Refrigerating, at)
		}
	case Refrigerating, PullingDown:
		if c.stage == PullingDown && at-c.since < pulldownLeast {
			return
		}
		if math.IsNaN(usual) {
			usual = over
		}
		still := f.restless.now()
		if math.IsNaN(still) {
			still = 1
		}
		limit := usual + max(riseLeast, riseRestles*still)
		if c.stage == PullingDown {
			limit += 4
		}
		if over <= limit || outlet < c.Before.outlet.now()+3 {
			f.above = 0
			if c.stage == Refrigerating {
				f.restless.take(math.Abs(over-usual), dt, baselineTau)
			}
			return
		}
		c.risen(at)
	case Defrosting, Dripping:
		if outlet > 0.8 || outlet > c.air.now()+3 || at-c.Last.Began > pauseLimit {
			f.real = true
		}
		top := c.coil.highest(at, fallSpan+trailStep)
		if top-outlet <= fallKelvin {
			return
		}
		if !f.real {
			// A pause of the valve: remember how high it goes.
			f.restless.take(math.Abs(top-dew-usual)/2, 300, baselineTau)
			f.above = 0
			c.enter(Refrigerating, at)
			return
		}
		c.Last.Ended, c.Last.Resumed = at, at
		c.enter(PullingDown, at)
	}
}

// begin opens a defrost that was noticed by itself.
func (c *Circuit) begin(at int64) {
	c.Last = Episode{Began: at, Peak: math.NaN()}
	c.infer.real, c.infer.above, c.infer.airTop = false, 0, math.NaN()
	c.enter(Defrosting, at)
}

// guessByAir guesses from the air alone: it warms while the coil does not
// cool it, and turns when the coil is back.
func (c *Circuit) guessByAir(at int64, dt float64) {
	f := &c.infer
	air, usual := c.air.now(), c.Before.air.now()
	switch c.stage {
	case StageUnknown:
		if at-c.first >= calmHolds {
			c.enter(Refrigerating, at)
		}
	case Refrigerating:
		if math.IsNaN(usual) {
			return
		}
		still := f.restless.now()
		if math.IsNaN(still) {
			still = 0.3
		}
		if air < usual+max(airRise, 4*still) {
			f.above = 0
			f.restless.take(math.Abs(air-usual), dt, baselineTau)
			return
		}
		c.risen(at)
	case Defrosting, Dripping:
		if !(air <= f.airTop) {
			f.airTop = air
		}
		if air < f.airTop-max(0.7, 0.1*(f.airTop-usual)) {
			c.Last.Ended, c.Last.Resumed = at, at
			c.enter(PullingDown, at)
		}
	}
}

// risen notes that the coil is warmer than refrigeration explains at at; when
// that has held for riseHolds, a defrost began with it.
func (c *Circuit) risen(at int64) {
	f := &c.infer
	if f.above == 0 {
		f.above = at
	}
	if at-f.above >= riseHolds {
		c.begin(f.above)
		c.since = at
	}
}
