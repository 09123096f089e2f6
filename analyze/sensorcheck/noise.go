package sensorcheck

import (
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
	maxNoiseInterval  = 10 * time.Second // polled more slowly, a quick plant looks noisy
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

// checkNoise finds inputs that jump about more than any plant does.
func (c *Checker) checkNoise(x *frame.Frame, dt int64) {
	for i := range c.inputs {
		in := &c.inputs[i]
		value, ok := known(in.Input, x.At)
		noise := in.Signal.Noise()
		noisy := ok && in.Signal.Interval() <= maxNoiseInterval && noise > in.maxNoiseOf(value)
		if in.noisy.update(noisy, dt) < noiseHold {
			continue
		}
		code, shown := evidence.NoisyTemperature, evidence.Difference("noise", units.Kelvin(noise))
		if in.isPressure() {
			code, shown = evidence.NoisyPressure, evidence.PressureDifference("noise", units.Pascal(noise))
		}
		if a := c.raise(code, in.Point, 0, x.At-in.noisy.held); a != nil {
			a.describe([]evidence.Value{shown})
		}
	}
}
