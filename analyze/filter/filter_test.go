package filter

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const second = int64(1e9)

// The step response of a first-order lag is 1 − e^(−t/τ); the implicit step
// (Euler, backward) gives 1 − (τ/(τ+dt))^n.
func TestLowPassStepResponse(t *testing.T) {
	for _, c := range []struct {
		step  int64
		tau   float64
		steps int
	}{{second, 20, 20}, {5 * second, 60, 7}, {60 * second, 30, 3}} {
		var l LowPass
		if l.Known() || !math.IsNaN(l.Value()) {
			t.Error("a new low-pass knows something")
		}
		l.Update(0, c.step, c.tau)
		for range c.steps {
			l.Update(1, c.step, c.tau)
			l.Update(math.NaN(), c.step, c.tau)
		}
		dt := float64(c.step) / 1e9
		want := 1 - math.Pow(c.tau/(c.tau+dt), float64(c.steps))
		if math.Abs(l.Value()-want) > 1e-12 {
			t.Errorf("τ %g s, %d steps of %g s: %g, want %g", c.tau, c.steps, dt, l.Value(), want)
		}
		var shared LowPass
		shared.Blend(math.NaN(), 0.5)
		shared.Blend(0, 0.5) // the first value is taken whole
		for range c.steps {
			shared.Blend(1, Gain(c.step, c.tau))
			shared.Blend(math.NaN(), 0.5)
		}
		if shared.Value() != l.Value() {
			t.Errorf("with a shared gain %g, else %g", shared.Value(), l.Value())
		}
		l.Reset()
		if l.Known() {
			t.Error("knows something after Reset")
		}
		l.Set(3)
		if l.Value() != 3 {
			t.Errorf("set to 3: %g", l.Value())
		}
	}
}

// Of a ramp, both low-passes lag by their own time constant: value and slope
// are exact once they have settled.
func TestSlopeOfARamp(t *testing.T) {
	s := Slope{Tau: 20}
	s.Update(math.NaN(), second)
	if s.Known() {
		t.Error("knows an input that does not exist")
	}
	const rate = 0.05 // per second
	x := 0.0
	for i := range 2000 {
		x = rate * float64(i)
		s.Update(x, second)
	}
	if math.Abs(s.PerSecond()-rate) > 1e-6 {
		t.Errorf("slope %g, want %g", s.PerSecond(), rate)
	}
	for _, lag := range []float64{0, 30} {
		if got, want := s.Ahead(lag), x+rate*lag; math.Abs(got-want) > 1e-6 {
			t.Errorf("ahead of a lag of %g s: %g, want %g", lag, got, want)
		}
		if got, want := s.Unlagged(lag), x+rate*(lag-s.Tau); math.Abs(got-want) > 1e-6 {
			t.Errorf("unlagged of %g s: %g, want %g", lag, got, want)
		}
	}
	if s.Value() >= x {
		t.Errorf("value %g does not lag behind %g", s.Value(), x)
	}
	s.Reset()
	if s.Known() || s.Tau != 20 {
		t.Error("Reset keeps values or loses the time constant")
	}
}

// Of a straight line between samples the lag is exact, at any interval: input
// r·t gives r·(t − τ·(1 − e^(−t/τ))).
func TestLagIsExactOnARamp(t *testing.T) {
	for _, dt := range []time.Duration{time.Second, 7 * time.Second, time.Minute} {
		var l Lag
		l.Reset(0)
		const tau, rate = 30.0, 0.1
		at := 0.0
		for range 20 {
			at += dt.Seconds()
			l.Update(rate*at, dt, 30*time.Second)
			want := rate * (at - tau*(1-math.Exp(-at/tau)))
			if math.Abs(l.Out-want) > 1e-9 {
				t.Fatalf("each %s, after %g s: %g, want %g", dt, at, l.Out, want)
			}
		}
		l.Update(5, time.Second, 0)
		if l.Out != 5 {
			t.Errorf("without a lag: %g, want 5", l.Out)
		}
		l.Update(9, 0, time.Second)
		if l.Out != 5 || l.In != 9 {
			t.Errorf("no time passed: in %g, out %g; want 9 and 5", l.In, l.Out)
		}
	}
}

func TestHistory(t *testing.T) {
	for _, spacing := range []int64{0, 5 * second} {
		testHistory(t, spacing)
	}
}

func testHistory(t *testing.T, spacing int64) {
	h := History{Spacing: spacing}
	if !math.IsNaN(h.Newest()) || !math.IsNaN(h.Ago(100*second, 60*second)) || !math.IsNaN(h.Highest(100*second, 60*second)) {
		t.Error("a new history knows something")
	}
	for s := int64(1000); s < 1100; s++ { // the value is the time in s
		h.Update(s*second, float64(s))
		h.Update(s*second, math.NaN())
	}
	if got := h.Newest(); got != 1092 { // mean of 1090 to 1094
		t.Errorf("newest %g, want 1092", got)
	}
	if got := h.Ago(1097*second, 60*second); math.Abs(got-1037) > 2.5 {
		t.Errorf("a minute ago %g, want 1037 within half a spacing", got)
	}
	if got := h.Ago(1300*second, 20*second); !math.IsNaN(got) {
		t.Errorf("from long after: %g, want nothing", got)
	}
	if got := h.Highest(1097*second, 30*second); got != 1092 {
		t.Errorf("highest %g, want 1092", got)
	}
	if got := h.Highest(2000*second, 30*second); !math.IsNaN(got) {
		t.Errorf("highest of nothing: %g", got)
	}
	h.Reset()
	if !math.IsNaN(h.Newest()) || h.Spacing != spacing {
		t.Error("Reset keeps points or loses the spacing")
	}
}

func TestSpread(t *testing.T) {
	var s Spread
	s.Update(2)
	if !math.IsNaN(s.Deviation()) {
		t.Error("one value has a deviation")
	}
	for _, x := range []float64{4, 4, math.NaN(), 4, 5, 5, 7, 9} {
		s.Update(x)
	}
	if s.N != 8 || s.Mean != 5 || math.Abs(s.Deviation()-math.Sqrt(32.0/7)) > 1e-12 {
		t.Errorf("%g values, mean %g, deviation %g; want 8, 5, √(32/7)", s.N, s.Mean, s.Deviation())
	}
}

func TestMedianAndSteps(t *testing.T) {
	for _, c := range []struct {
		sorted []float64
		want   float64
	}{{[]float64{1}, 1}, {[]float64{1, 2}, 1.5}, {[]float64{1, 2, 9}, 2}, {[]float64{1, 2, 4, 9}, 3}} {
		if got := Median(c.sorted); got != c.want {
			t.Errorf("median of %v: %g, want %g", c.sorted, got, c.want)
		}
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("nothing has a median")
	}
	for _, c := range []struct{ x, from, to, want float64 }{
		{1, 1, 3, 0}, {2, 1, 3, 0.5}, {3, 1, 3, 1}, {9, 1, 3, 1}, {-9, 1, 3, 0},
		{1, 3, 1, 1}, {2.5, 3, 1, 0.25}, {4, 3, 1, 0}, {math.NaN(), 1, 3, 0},
	} {
		if got := LinearStep(c.x, c.from, c.to); got != c.want {
			t.Errorf("step of %g from %g to %g: %g, want %g", c.x, c.from, c.to, got, c.want)
		}
	}
}

func TestRunningMedianIsTheMedian(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var m RunningMedian
		var all []float64
		size := 1
		for range rapid.IntRange(1, 60).Draw(t, "samples") {
			if rapid.IntRange(0, 9).Draw(t, "resize") == 0 {
				next := 2*rapid.IntRange(0, MaxWindow/2).Draw(t, "half") + 1
				m.Resize(next)
				if next != size {
					all = all[:min(len(all), next-1)]
					size = next
				}
			}
			x := rapid.Float64Range(0, 5).Draw(t, "x")
			all = append([]float64{x}, all...)
			all = all[:min(len(all), size)]
			sorted := slices.Sorted(slices.Values(all))
			if got := m.Update(x); got != Median(sorted) {
				t.Fatalf("median %g of %v, want %g", got, all, Median(sorted))
			}
			if _, _, full := m.Full(); full != (len(all) == size) || m.Size() != size {
				t.Fatalf("full %v with %d of %d", full, len(all), size)
			}
		}
		m.Reset()
		if !math.IsNaN(m.Value()) {
			t.Fatal("knows something after Reset")
		}
	})
}

// Of a uniform series the follower comes to the middle and stays near it, and
// one value in twenty that is a thousand times as large moves it by a few
// per cent only.
func TestMedianFollower(t *testing.T) {
	var m MedianFollower
	x := 0.0
	for i := range 20000 {
		x = math.Mod(x+0.618034, 1) // low-discrepancy, uniform in 0 to 1
		v := x
		if i%20 == 0 {
			v = 1000
		}
		m.Update(v, 0.01)
	}
	if got := m.Value(); got < 0.47 || got > 0.58 {
		t.Errorf("follows %g, want the median, 0.53", got)
	}
}

// Ten points with one gross outlier: the line of the others.
func TestFitIsNotMovedByAnOutlier(t *testing.T) {
	days, values := make([]float64, 10), make([]float64, 10)
	for i := range days {
		days[i], values[i] = float64(i), 3-0.2*float64(i)
	}
	values[4] = 50
	l, ok := Fit(days, values)
	if !ok || math.Abs(l.Slope+0.2) > 1e-9 || math.Abs(l.First-3) > 1e-9 || math.Abs(l.Last-1.2) > 1e-9 || l.Low > -0.2 || l.High < -0.2 {
		t.Errorf("%+v, %v", l, ok)
	}
	for _, n := range []int{0, 2, MaxLineDays + 1} {
		if _, ok := Fit(make([]float64, n), make([]float64, n)); ok {
			t.Errorf("a line through %d days", n)
		}
	}
}
