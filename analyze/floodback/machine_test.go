package floodback

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"dewgap/analyze/filter"
)

// A first-order lag is found from a discharge that follows: whatever the time
// constant between half a minute and five, within a tenth.
func TestLagIsLearned(t *testing.T) {
	for _, tau := range []float64{40, 80, 150, 280} {
		var m machine
		hot, dry := filter.Slope{Tau: hotTau}, filter.Slope{Tau: hotTau}
		shown := 60.0
		for s := 0.0; s < 4*3600; s++ {
			gas := 75 + 15*math.Copysign(1, math.Sin(s/700))
			shown += (gas - shown) * (1 - math.Exp(-1/tau))
			hot.Update(shown, 1e9)
			dry.Update(gas, 1e9)
			if math.Mod(s, 5) == 0 {
				m.learnLag(dry.Value(), hot.Value(), hot.PerSecond(), 5)
			}
		}
		if got := m.lag(); math.Abs(got-tau) > 0.12*tau+3 {
			t.Errorf("learned %.0f s of %.0f s", got, tau)
		}
	}
	var m machine
	if got := m.lag(); got != usualLag {
		t.Errorf("a machine of which nothing is known has a lag of %.0f s, want the usual", got)
	}
}

// The efficiency lies between those learned, is that learned where it was
// learned, and the doubt grows away from there.
func TestEfficiencyLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var m machine
		low, high := math.Inf(1), 0.0
		for range rapid.IntRange(1, 30).Draw(t, "n") {
			eta := rapid.Float64Range(0.4, 0.9).Draw(t, "eta")
			m.learn(rapid.Float64Range(1.5, 18).Draw(t, "ratio"), eta, 1000)
			low, high = min(low, eta), max(high, eta)
		}
		at := rapid.Float64Range(1.2, 30).Draw(t, "at")
		eta, doubt := m.efficiency(at)
		if !(eta >= low-1e-9 && eta <= high+1e-9) || doubt < 0 {
			t.Fatalf("efficiency %.3f ± %.3f of %.3f to %.3f", eta, doubt, low, high)
		}
	})
	var m machine
	m.learn(4, 0.7, 2000)
	if eta, doubt := m.efficiency(4); math.Abs(eta-0.7) > 1e-9 || doubt != 0 {
		t.Errorf("%.3f ± %.3f where 0.7 was learned", eta, doubt)
	}
	_, near := m.efficiency(5)
	_, far := m.efficiency(12)
	if !(far > near) {
		t.Errorf("doubt %.3f at a ratio of 12 and %.3f at 5, 4 having been learned", far, near)
	}
	// What no working machine has is not learned, nor is anything in no time.
	var n machine
	n.learn(4, 1.6, 2000)
	n.learn(4, math.NaN(), 2000)
	n.learn(4, 0.7, 0)
	if n.known() {
		t.Error("learned from nonsense")
	}
}

// A ramp behind a first-order lag is undone but for the first moments.
func TestTrendUndoesALag(t *testing.T) {
	for _, lag := range []float64{0, 20, 60} {
		x := filter.Slope{Tau: 5}
		felt := 20.0
		for s := 0.0; s < 300; s++ {
			truth := 20 - 0.05*s
			felt += (truth - felt) * (1 - math.Exp(-1/max(lag, 1e-9)))
			x.Update(felt, 1e9)
			if s > 5*lag+40 && math.Abs(x.Ahead(lag)-truth) > 0.05 {
				t.Fatalf("lag %.0f s: %.2f of %.2f after %.0f s", lag, x.Ahead(lag), truth, s)
			}
		}
	}
}
