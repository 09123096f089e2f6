// Package filter holds the few filters that analysis is made of, one of each:
// low-pass, slope, history, running median, spread, robust line.
//
// It may import the standard library's pure packages and nothing of ours. All
// times are event time; a value that is not known is NaN and is passed over.
package filter

import "math"

// LowPass is a first-order low-pass in event time. Its zero value knows
// nothing.
type LowPass struct {
	value float64
	known bool
	step  int64   // ns, of the last gain
	tau   float64 // s, of the last gain
	gain  float64 // which mostly serves again
}

// Update enters x after step ns, with time constant tau in s, and returns the
// smoothed value; NaN changes nothing.
func (l *LowPass) Update(x float64, step int64, tau float64) float64 {
	if step != l.step || tau != l.tau {
		l.step, l.tau, l.gain = step, tau, gain(step, tau)
	}
	return l.blend(x, l.gain)
}

// gain is the share that a value gets after step ns with time constant tau, s.
func gain(step int64, tau float64) float64 {
	dt := float64(step)
	return dt / (tau*1e9 + dt)
}

func (l *LowPass) blend(x, gain float64) float64 {
	switch {
	case x != x: // NaN
	case l.known:
		l.value += (x - l.value) * gain
	default:
		l.value, l.known = x, true
	}
	return l.Value()
}

// Value returns the smoothed value; NaN when nothing is known.
func (l *LowPass) Value() float64 {
	if !l.known {
		return math.NaN()
	}
	return l.value
}

// Known reports whether a value was entered.
func (l *LowPass) Known() bool { return l.known }

// Reset forgets everything.
func (l *LowPass) Reset() { *l = LowPass{} }

// Set makes x the smoothed value.
func (l *LowPass) Set(x float64) { l.value, l.known = x, x == x }

// Slope follows a quantity and its slope by two low-passes in a row, each of
// Tau seconds. Its zero value but for Tau knows nothing.
type Slope struct {
	Tau       float64
	near, far LowPass
}

// Update enters x after step ns.
func (s *Slope) Update(x float64, step int64) {
	if x != x && !s.near.known { // an input that does not exist
		return
	}
	s.far.blend(s.near.Update(x, step, s.Tau), s.near.gain)
}

// Value returns the quantity behind the first low-pass; NaN when not known.
func (s *Slope) Value() float64 { return s.near.Value() }

// Known reports whether a value was entered.
func (s *Slope) Known() bool { return s.near.known }

// Reset forgets everything but Tau.
func (s *Slope) Reset() { s.near, s.far = LowPass{}, LowPass{} }

// PerSecond returns what the quantity changed in a second, Tau ago.
func (s *Slope) PerSecond() float64 { return (s.near.Value() - s.far.Value()) / s.Tau }

// Ahead returns what the quantity is now behind a sensor of lag seconds: the
// lag of a first-order sensor on a slope is slope × lag, and so is that of the
// filter's own Tau.
func (s *Slope) Ahead(lag float64) float64 { return s.near.Value() + s.PerSecond()*(s.Tau+lag) }

// Unlagged returns the same Tau ago, and so without overshoot where the
// quantity turns.
func (s *Slope) Unlagged(lag float64) float64 { return s.near.Value() + s.PerSecond()*lag }
