package sensorcheck

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
)

// White noise is measured right whatever the interval; what a plant does (ramps,
// single steps, slow swings) is not taken for noise. The covariance of
// neighbouring changes of white noise is −σ²: from x[i+1]−x[i] and x[i]−x[i−1].
func TestSlowNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for name, test := range map[string]struct {
		at        func(i int) float64
		low, high float64
	}{
		"white noise":             {func(int) float64 { return 300 + 40*random.NormFloat64() }, 25, 50},
		"white noise on a ramp":   {func(i int) float64 { return 300 + 10*float64(i) + 40*random.NormFloat64() }, 25, 50},
		"a ramp":                  {func(i int) float64 { return 300 + 30*float64(i) }, 0, 0},
		"a swing of ten readings": {func(i int) float64 { return 300 + 60*math.Sin(2*math.Pi*float64(i)/10) }, 0, 0},
		"steps each five":         {func(i int) float64 { return 300 + 100*float64(i/5%2) }, 0, 0},
		"still":                   {func(int) float64 { return 300 }, 0, 0},
	} {
		var n slowNoise
		mean, known := 0.0, 0
		for i := range 400 {
			n.take(int64(i+1)*int64(time.Minute), test.at(i), 30, true)
			if v, ok := n.noise(); ok {
				mean, known = mean+v, known+1
			} else if i > slowReadings {
				t.Errorf("%s: not known after %d readings", name, i)
			}
		}
		if mean /= float64(known); !(mean >= test.low && mean <= test.high) {
			t.Errorf("%s: %.1f, want %g to %g", name, mean, test.low, test.high)
		}
	}
}

// The same reading seen again is no reading, and a disturbance begins anew.
func TestSlowNoiseCountsReadings(t *testing.T) {
	var n slowNoise
	for i := range 10 * slowReadings {
		n.take(int64(i/10+1), float64(i/10%2), 1, true)
		if _, ok := n.noise(); ok != (i/10 >= slowReadings-1) {
			t.Fatalf("known %v after %d readings", ok, i/10+1)
		}
	}
	n.take(math.MaxInt64, 0, 1, false)
	if _, ok := n.noise(); ok {
		t.Error("known at once after a start")
	}
}

// Trap 62: 0.5 bar of white noise on a transmitter that is read each 15 or 60 s
// while the plant stands still behind it. One anomaly, which outlasts stops.
func TestTrap62WhiteNoiseAtAnyInterval(t *testing.T) {
	for _, pace := range []time.Duration{15 * time.Second, time.Minute} {
		h := newHarness(t, setUp{compressors: 1})
		h.run(5*pace.Minutes(), pace)
		minutes := 0.0
		random := rand.New(rand.NewPCG(3, 4))
		step := func() {
			h.noise[suctionAt] = 50_000 * random.NormFloat64() / noiseOf(h.steps+1)
			h.run(pace.Minutes(), pace)
			minutes += pace.Minutes()
		}
		for !h.has(evidence.NoisyPressure) && minutes < 60 {
			step()
		}
		if limit := 24 * pace.Minutes(); minutes > limit {
			t.Errorf("read each %v: found after %.1f min, want %.1f", pace, minutes, limit)
		}
		// The unit stops for half an hour, in which the transmitter is quiet.
		h.phase(frame.Off)
		h.noise[suctionAt] = 0
		h.run(30, pace)
		if !h.has(evidence.NoisyPressure) {
			t.Errorf("read each %v: forgotten in a standstill", pace)
		}
		h.phase(frame.Steady)
		h.run(25*pace.Minutes()+quietHold.Minutes()+2, pace)
		if h.has(evidence.NoisyPressure) {
			t.Errorf("read each %v: stands after half an hour of quiet running", pace)
		}
	}
}

// A unit that starts and stops each few readings is no noise.
func TestCyclesAreNoNoise(t *testing.T) {
	h := newHarness(t, setUp{compressors: 1})
	for i := range 60 {
		h.phase(frame.Steady)
		h.suction(0, -10, 12)
		h.run(4, time.Minute)
		h.phase(frame.Off)
		h.suction(0, -2, 12)
		h.run(3, time.Minute)
		if h.has(evidence.NoisyPressure) {
			t.Fatalf("taken for noise in cycle %d", i)
		}
	}
}
