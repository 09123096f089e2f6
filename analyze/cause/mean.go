package cause

import "math"

// mean is a first-order mean in event time. Its zero value knows nothing.
type mean struct {
	value float64
	known bool
}

// take enters x after dt seconds with time constant tau seconds; NaN is ignored.
func (m *mean) take(x, dt, tau float64) {
	switch {
	case math.IsNaN(x):
	case !m.known:
		m.value, m.known = x, true
	default:
		m.value += (x - m.value) * dt / (tau + dt)
	}
}

// now returns the mean; NaN when it is not known.
func (m *mean) now() float64 {
	if !m.known {
		return math.NaN()
	}
	return m.value
}

// steadiness is the spread of a value over a case.
type steadiness struct{ n, mean, squares float64 }

func (s *steadiness) take(x float64) {
	if math.IsNaN(x) {
		return
	}
	s.n++
	d := x - s.mean
	s.mean += d / s.n
	s.squares += d * (x - s.mean)
}

// spread returns the standard deviation; NaN for fewer than two values.
func (s *steadiness) spread() float64 {
	if s.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(s.squares / (s.n - 1))
}

func clamp(x float64) float64 { return min(max(x, 0), 1) }

// ramp goes from 0 at from to 1 at to; what is not known is 0.
func ramp(x, from, to float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return clamp((x - from) / (to - from))
}
