package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
)

type inputKind uint8

const (
	pressure inputKind = iota
	pipe
	discharge
	sump
	coil
	air
)

// patience is how long an input of each kind may be bit-identical while its
// neighbour moves: sumps and rooms are slow, a coil rests while its ice melts.
// Common practice, no source.
var patience = [...]time.Duration{
	pressure: 10 * time.Minute, pipe: 10 * time.Minute, discharge: 20 * time.Minute,
	sump: time.Hour, coil: 45 * time.Minute, air: 90 * time.Minute,
}

// frozenMove is how far the neighbour must have moved meanwhile, K.
var frozenMove = [...]float64{pressure: 2, pipe: 2, discharge: 3, sump: 6, coil: 4, air: 8}

const (
	frozenSamples = 10        // identical samples at the least
	frozenUsual   = 4         // times the longest run that the input showed before
	frozenLong    = time.Hour // and twice the usual limit: then the neighbour need not have moved
	frozenUnsure  = 3         // times as patient where it is not known whether the machine runs
)

// frozen follows how long one input has not changed while its machine ran.
type frozen struct {
	in         Input
	kind       inputKind
	compressor int
	run        int64 // Since of the signal's present run
	held       int64 // ns of the run in which it should have moved
	longest    int64 // ns; longest such run that ended in a change
	low, high  float64
	noisy      since
}

func (c *Checker) checkFrozen(now *Now, dt int64) {
	for i := range c.inputs {
		f := &c.inputs[i]
		s := f.in.Signal.Stillness()
		neighbour, moving, sure := c.neighbour(f, now)
		if _, ok := known(f.in, now.At); !ok {
			f.held = 0
			continue
		}
		if s.Since != f.run {
			f.longest = max(f.longest, f.held)
			f.run, f.held, f.low, f.high = s.Since, 0, neighbour, neighbour
			continue
		}
		if !moving {
			c.keep(Frozen, f.in.Point) // what does not change now says nothing new
			continue
		}
		f.held += dt
		if f.held == 0 || math.IsNaN(f.low) {
			f.low, f.high = neighbour, neighbour
		}
		f.low, f.high = min(f.low, neighbour), max(f.high, neighbour)
		limit := max(int64(patience[f.kind]), frozenUsual*f.longest)
		if !sure {
			limit = max(frozenUnsure*int64(patience[f.kind]), limit)
		}
		lasted := f.held >= limit && f.high-f.low >= frozenMove[f.kind] ||
			sure && f.kind <= pipe && f.held >= max(int64(frozenLong), 2*limit)
		if !lasted || s.Count < frozenSamples {
			continue
		}
		held, moved := time.Duration(f.held), f.high-f.low
		c.hold(Frozen, f.in.Point, 0, s.Since, func() string {
			return fmt.Sprintf("this looks like a value that is no longer measured (not one digit changed in %d min while its neighbour moved by %.1f K); check whether the device still updates it, and the probe",
				int(held.Minutes()), moved)
		})
	}
}

// neighbour returns what should make an input move, whether it should now, and
// whether that is known for sure.
func (c *Checker) neighbour(f *frozen, now *Now) (x float64, moving, sure bool) {
	for i := range now.Superheat {
		p := now.Phases[i]
		if f.compressor >= 0 && f.compressor != i || p == phase.Off || p == phase.Start {
			continue
		}
		x := float64(now.Superheat[i].Dew)
		if f.kind == pressure {
			x = float64(now.Superheat[i].Temperature)
		}
		if !math.IsNaN(x) {
			return x, true, p != phase.Unknown
		}
	}
	return math.NaN(), false, false
}

// Noise. Pulsation and wiring give 0.05 to 0.2 bar (shared trade notes); the
// rest is common practice, no source.
const (
	noisyTemperature = 1.5               // K, standard deviation between neighbouring samples
	noisyPressure    = 30_000.0          // Pa
	noisyDischarge   = 4 * noisyPressure // it pulsates more, on a transmitter of about four times the span
	noisyHold        = 10 * time.Minute
	noisyInterval    = 10 * time.Second // polled more slowly, a quick plant looks noisy, …
	noisyCoil        = 2.0              // … and coils are quicker than the rest: so many times the limit
)

// checkNoise finds inputs that jump about more than any plant does.
func (c *Checker) checkNoise(now *Now, dt int64) {
	for i := range c.inputs {
		f := &c.inputs[i]
		x, ok := known(f.in, now.At)
		limit := noisyTemperature
		switch f.kind {
		case pressure:
			limit = max(noisyPressure, 0.05*x)
			if f.in.Signal == c.group.DischargePressure.Signal {
				limit = max(noisyDischarge, 0.05*x)
			}
		case coil:
			limit *= noisyCoil
		}
		noise := f.in.Signal.Noise()
		ok = ok && f.in.Signal.Interval() <= noisyInterval
		if f.noisy.take(ok && noise > limit, dt) < noisyHold {
			continue
		}
		c.hold(Noisy, f.in.Point, 0, now.At-f.noisy.held, func() string {
			if f.kind == pressure {
				return fmt.Sprintf("it jumps about by %.2f bar from sample to sample: this looks like a loose contact, a missing shield or a transmitter in pulsating gas; check wiring, supply and the pressure line", noise/1e5)
			}
			return fmt.Sprintf("it jumps about by %.1f K from sample to sample: this looks like a loose contact or a missing shield; check plugs, wiring and earth", noise)
		})
	}
}
