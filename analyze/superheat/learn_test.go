package superheat_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dewgap/analyze/superheat"
)

// TestLagIsLearned: stages that switch every ten minutes move the dew by 4 K in
// some seconds; the gas keeps its superheat but for a slow wave; the sensor has
// a known time constant, noise and a grain of 0.1 K. Invented values; the range
// of time constants (5 to 60 s) from memory.
func TestLagIsLearned(t *testing.T) {
	for _, tau := range []float64{8, 20, 45} {
		for _, poll := range []float64{1, 5} {
			rng := rand.New(rand.NewPCG(5, uint64(tau)))
			var l superheat.LagLearner
			dew, felt := -10.0, 0.0
			changed := false
			for sec, last := 0.0, 0.0; sec < 4*3600; sec += poll {
				for ; last < sec; last += 0.1 {
					aim := -10.0
					if math.Mod(last, 1200) > 600 {
						aim = -14
					}
					dew += (aim - dew) * 0.1 / 4
					felt += (dew + 10 + math.Sin(last/900) - felt) * 0.1 / tau
				}
				shown := math.Round((felt+0.05*rng.NormFloat64())*10) / 10
				changed = l.Observe(int64(sec*1e9), dew+0.1*rng.NormFloat64(), shown, 0, true) || changed
			}
			got, doubt, fits, ok := l.Lag()
			if !ok || !changed || math.Abs(got.Seconds()-tau) > doubt*tau || doubt > 0.3 {
				t.Errorf("τ %v s polled each %v s: learned %v ±%.0f %% from %d changes (%v)", tau, poll, got, doubt*100, fits, ok)
			}
		}
	}
}

// TestLagIsNotLearnedFromGasThatWarms: where the pipe does not follow the dew,
// nothing is learned, and nothing while the machine stands.
func TestLagIsNotLearnedFromGasThatWarms(t *testing.T) {
	for _, c := range []struct {
		name string
		runs bool
		pipe func(sec, dew float64) float64
	}{
		{"does not follow", true, func(sec, _ float64) float64 { return 2 + 3*math.Sin(sec/70) }},
		{"stands", false, func(_, dew float64) float64 { return dew + 10 }},
	} {
		var l superheat.LagLearner
		for sec := 0.0; sec < 8*3600; sec += 2 {
			dew := -10.0
			if math.Mod(sec, 1200) > 600 {
				dew = -14
			}
			l.Observe(int64(sec*1e9), dew, c.pipe(sec, dew), 0, c.runs)
		}
		if got, doubt, fits, ok := l.Lag(); ok {
			t.Errorf("%s: learned %v ±%.0f %% from %d", c.name, got, doubt*100, fits)
		}
	}
}

func BenchmarkLagLearner(b *testing.B) {
	var l superheat.LagLearner
	b.ReportAllocs()
	at := int64(0)
	for b.Loop() {
		at += int64(time.Second)
		dew := -10.0
		if at/int64(600*time.Second)%2 == 1 {
			dew = -14
		}
		l.Observe(at, dew, dew+10, 0, true)
	}
}
