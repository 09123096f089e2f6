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
}

// Update enters x after step ns, with time constant tau in s; NaN changes
// nothing. It is small enough to be inlined: analysis is made of it.
func (l *LowPass) Update(x float64, step int64, tau float64) {
	if l.known && x == x {
		l.value += (x - l.value) * Gain(step, tau)
	} else if x == x {
		l.value, l.known = x, true
	}
}

// Gain is the share that a value gets after step ns with time constant tau, s.
func Gain(step int64, tau float64) float64 {
	dt := float64(step)
	return dt / (tau*1e9 + dt)
}

// Blend enters x with a gain that several low-passes share; NaN changes nothing.
func (l *LowPass) Blend(x, gain float64) {
	if l.known && x == x {
		l.value += (x - l.value) * gain
	} else if x == x {
		l.value, l.known = x, true
	}
}

// Next enters x as Update does and returns the smoothed value.
func (l *LowPass) Next(x float64, step int64, tau float64) float64 {
	l.Update(x, step, tau)
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
	step      int64   // ns, of gain
	gain      float64 // of both low-passes; rows mostly come at one interval
}

// Update enters x after step ns.
func (s *Slope) Update(x float64, step int64) {
	if x != x && !s.near.known { // an input that does not exist
		return
	}
	if step != s.step {
		s.step, s.gain = step, Gain(step, s.Tau)
	}
	if !s.near.known {
		s.near.Set(x)
		s.far.Set(x)
		return
	}
	if x == x {
		s.near.value += (x - s.near.value) * s.gain
	}
	s.far.value += (s.near.value - s.far.value) * s.gain
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
