package filter

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func near(a, b, by float64) bool { return math.Abs(a-b) <= by }

// Cloud seeding, five years: from memory, Hollander and Wolfe, Nonparametric
// Statistical Methods, chapter on regression, which gives a slope of −0.056.
// By hand: the ten slopes are −0.15, −0.13, −0.08, −0.07, −0.0575, −0.055,
// −0.045, −0.0333, 0.01, 0.04; their median is −0.05625.
func TestFitWorkedExample(t *testing.T) {
	l, ok := Fit([]float64{1, 2, 3, 4, 5}, []float64{1.26, 1.27, 1.12, 1.16, 1.03})
	if !ok || !near(l.Slope, -0.05625, 1e-9) {
		t.Fatalf("slope %v, %v; want -0.05625", l.Slope, ok)
	}
	// What is left, y + 0.05625 x: 1.31625, 1.3825, 1.28875, 1.385, 1.31125; median 1.31625.
	if !near(l.Last, 1.31625-5*0.05625, 1e-9) || !near(l.First, 1.31625-0.05625, 1e-9) {
		t.Errorf("line from %v to %v", l.First, l.Last)
	}
	// Sen's interval for n = 5: C = 1.96·√(5·4·15/18) = 8.0, as the exact
	// table's k − 2 = 10 − 2; so the first and the last of ten slopes.
	if !near(l.Low, -0.15, 1e-9) || !near(l.High, 0.04, 1e-9) {
		t.Errorf("interval %v … %v, want -0.15 … 0.04: no trend beyond chance", l.Low, l.High)
	}
}

func TestFitRefuses(t *testing.T) {
	for _, c := range [][2][]float64{
		{{1, 2}, {1, 2}}, {{1, 2, 3}, {1, 2}}, {nil, nil}, {{1, 1, 1}, {1, 2, 3}}, {make([]float64, MaxLineDays+1), make([]float64, MaxLineDays+1)},
	} {
		if l, ok := Fit(c[0], c[1]); ok {
			t.Errorf("%v: fitted %v", c, l)
		}
	}
}

// Laws: a straight line is found exactly whatever fewer than 29 % of the points
// say (the breakdown point of the estimator, 1 − 1/√2: Sen 1968); moving and
// scaling the values moves and scales the line.
func TestFitLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(8, MaxLineDays).Draw(t, "days")
		slope, level := rapid.Float64Range(-3, 3).Draw(t, "slope"), rapid.Float64Range(-20, 40).Draw(t, "level")
		x, y := make([]float64, n), make([]float64, n)
		for i := range n {
			x[i] = float64(20000 + i)
			y[i] = level + slope*float64(i)
		}
		for range n / 5 { // a fifth of them is wrong
			y[rapid.IntRange(0, n-1).Draw(t, "which")] = rapid.Float64Range(-1000, 1000).Draw(t, "wrong")
		}
		l, ok := Fit(x, y)
		if !ok || !near(l.Slope, slope, 1e-6) {
			t.Fatalf("slope %v, want %v", l.Slope, slope)
		}
		if !(l.Low <= l.Slope && l.Slope <= l.High) {
			t.Fatalf("slope %v outside %v … %v", l.Slope, l.Low, l.High)
		}
		z := slices.Clone(y)
		for i := range z {
			z[i] = 2*z[i] + 5
		}
		if m, _ := Fit(x, z); !near(m.Slope, 2*l.Slope, 1e-6) || !near(m.Last, 2*l.Last+5, 1e-4) {
			t.Fatalf("scaled: %+v of %+v", m, l)
		}
	})
}
