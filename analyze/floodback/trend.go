package floodback

import "math"

// smooth is a first-order low-pass in event time. Its zero value knows nothing.
type smooth struct {
	value float64
	known bool
	step  int64   // of the last gain, which mostly serves again
	gain  float64 // … of it
}

// take enters x after step ns, with time constant tau seconds, and returns the
// smoothed value. NaN is ignored. Of one smooth tau is always the same.
func (s *smooth) take(x float64, step int64, tau float64) float64 {
	if step != s.step {
		s.step, s.gain = step, gain(step, tau)
	}
	return s.blend(x, s.gain)
}

// gain is the share that a value has after step ns, with time constant tau
// seconds.
func gain(step int64, tau float64) float64 {
	dt := float64(step)
	return dt / (tau*1e9 + dt)
}

func (s *smooth) blend(x, gain float64) float64 {
	switch {
	case x != x: // NaN
	case s.known:
		s.value += (x - s.value) * gain
	default:
		s.value, s.known = x, true
	}
	return s.now()
}

func (s *smooth) now() float64 {
	if !s.known {
		return math.NaN()
	}
	return s.value
}

// trend follows a quantity and its slope by two low-passes in a row, each of
// tau seconds. Its zero value but for tau knows nothing.
type trend struct {
	tau       float64
	near, far smooth
}

func (t *trend) take(x float64, step int64) {
	if x != x && !t.near.known { // an input that does not exist
		return
	}
	t.far.blend(t.near.take(x, step, t.tau), t.near.gain)
}

func (t *trend) known() bool { return t.near.known }

func (t *trend) forget() { t.near, t.far = smooth{}, smooth{} }

// slope is what the quantity changes in a second, tau ago.
func (t *trend) slope() float64 { return (t.near.now() - t.far.now()) / t.tau }

// ahead returns what the quantity is now behind a sensor of lag seconds: the
// lag of a first-order sensor on a slope is slope × lag, and so is that of the
// filter's own tau.
func (t *trend) ahead(lag float64) float64 {
	return t.near.now() + t.slope()*(t.tau+lag)
}

// unlagged is the same, still tau behind, and so without overshoot where the
// quantity turns.
func (t *trend) unlagged(lag float64) float64 { return t.near.now() + t.slope()*lag }
