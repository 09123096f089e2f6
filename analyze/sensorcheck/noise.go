package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Limits of the standard deviation between neighbouring samples. Pulsation and
// wiring give 0.05 to 0.2 bar, the discharge more on a transmitter of about four
// times the span. Common practice, no source.
const (
	maxNoise          = 1.5      // K
	maxCoilNoise      = 3.0      // K; coils are quicker
	maxSuctionNoise   = 30_000.0 // Pa
	maxDischargeNoise = 120_000.0
	noiseShare        = 0.05             // of a pressure, where that is more
	noiseHold         = 10 * time.Minute // of jumping about
	maxNoiseInterval  = 10 * time.Second // read more slowly, a quick plant looks noisy by neighbouring readings alone
	quietHold         = 30 * time.Minute // of quiet running, until the noise is over
	slowReadings      = 16               // in steady running, that a pressure read slowly is judged by
	slowMemory        = 1.0 / 16         // share of the newest reading in the mean of a pressure read slowly
	slowClamp         = 2.0              // one change counts as that many times the usual at most
	slowWhiteness     = 0.3              // of 0.5 that white noise has: how far a change is taken back by the next
)

// maxNoiseOf returns the limit of an input that reads x, in K or Pa.
func (in *input) maxNoiseOf(x float64) float64 {
	switch in.kind {
	case suctionPressure:
		return max(maxSuctionNoise, noiseShare*x)
	case dischargePressure:
		return max(maxDischargeNoise, noiseShare*x)
	case coil:
		return maxCoilNoise
	}
	return maxNoise
}

// slowNoise follows the noise of a pressure that is read too slowly to tell noise
// from the plant by one change: each change of white noise is taken back by half
// in the next one, those of a plant go on or come alone. It counts in steady
// running alone, from reading to reading.
type slowNoise struct {
	at       int64 // of the last reading
	value    float64
	change   float64 // between the last two
	readings int     // in a row, in steady running
	square   float64 // mean of change²
	product  float64 // mean of a change times the one before
}

// take enters what an input reads; steady reports whether the plant has run
// undisturbed since the reading before, and limit is the noise that is judged.
func (n *slowNoise) take(at int64, value, limit float64, steady bool) {
	if at == n.at {
		return
	}
	change := value - n.value
	n.at, n.value = at, value
	if most := slowClamp * max(limit, math.Sqrt(n.square)); n.readings > 2 && math.Abs(change) > most {
		change = math.Copysign(most, change)
	}
	if !steady {
		n.readings, n.square, n.product = 0, 0, 0
		return
	}
	if n.readings++; n.readings == 1 {
		return
	}
	n.square += (change*change - n.square) * max(slowMemory, 1/float64(n.readings-1))
	if n.readings > 2 {
		n.product += (change*n.change - n.product) * max(slowMemory, 1/float64(n.readings-2))
	}
	n.change = change
}

// noise returns the standard deviation of the noise; false while too few
// readings are known.
func (n *slowNoise) noise() (float64, bool) {
	if n.readings < slowReadings {
		return 0, false
	}
	if -n.product < slowWhiteness*n.square {
		return 0, true
	}
	return math.Sqrt(-n.product), true // the covariance of neighbouring changes is −σ²
}

// checkNoise finds inputs that jump about more than any plant does. It judges
// while the plant runs: what jumps then is quiet in a standstill, and one sensor
// is one anomaly, not one each cycle.
func (c *Checker) checkNoise(x *frame.Frame, dt int64) {
	running := c.anyRunning()
	for i := range c.inputs {
		in := &c.inputs[i]
		code := evidence.NoisyTemperature
		if in.isPressure() {
			code = evidence.NoisyPressure
		}
		value, ok := known(in.Input, x.At)
		if !running && in.isPressure() || !ok {
			in.noisy.update(false, dt) // a start is no noise
			c.retain(code, in.Point)
			continue
		}
		noise, hold := in.Signal.Noise(), noiseHold
		if in.Signal.Interval() > maxNoiseInterval {
			if noise, ok = in.slow.noise(); !ok || !in.isPressure() {
				c.retain(code, in.Point)
				continue
			}
			hold = 0 // the readings are the hold
		}
		noisy := noise > in.maxNoiseOf(value)
		quiet := in.quiet.update(!noisy, dt)
		if held := in.noisy.update(noisy, dt); !noisy || held < hold {
			if quiet < quietHold {
				c.retain(code, in.Point)
			}
			continue
		}
		shown := evidence.Difference("noise", units.Kelvin(noise))
		if in.isPressure() {
			shown = evidence.PressureDifference("noise", units.Pascal(noise))
		}
		if a := c.raise(code, in.Point, 0, x.At-in.noisy.held); a != nil {
			a.describe([]evidence.Value{shown})
		}
	}
}

// followNoise takes the readings of pressures that are read slowly.
func (c *Checker) followNoise(x *frame.Frame) {
	running := signalledRun(x)
	for i := range c.inputs {
		in := &c.inputs[i]
		if !in.isPressure() || in.Signal.Interval() <= maxNoiseInterval {
			continue
		}
		if value, ok := known(in.Input, x.At); ok {
			before := in.slow.at
			in.slow.take(in.Signal.At(), value, in.maxNoiseOf(value), running && before > 0 && before > c.changed)
		}
	}
}

// signalledRun reports whether a compressor runs and all have a signal: a start
// that is not seen looks like noise.
func signalledRun(x *frame.Frame) (on bool) {
	for i := range x.Compressors {
		if !isSignalled(&x.Compressors[i]) {
			return false
		}
		on = on || x.Compressors[i].Signal == frame.Yes
	}
	return on
}

// anyRunning reports whether a compressor runs.
func (c *Checker) anyRunning() bool {
	for i := range c.compressors {
		if c.compressors[i].running {
			return true
		}
	}
	return false
}
