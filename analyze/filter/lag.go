package filter

import (
	"math"
	"time"
)

// Lag is a first-order lag on irregular samples. Between two samples the input
// is taken as a straight line, for which the step is exact: the output stays
// between the lowest and the highest input, and errors do not depend on rate.
type Lag struct {
	In, Out float64       // newest input, and the output for it
	dt, tau time.Duration // of the factors below
	a, b    float64       // e^(−dt/τ), τ/dt·(1−a)
}

// Reset makes x input and output.
func (l *Lag) Reset(x float64) { l.In, l.Out = x, x }

// Update enters x after dt, with time constant tau.
func (l *Lag) Update(x float64, dt, tau time.Duration) {
	if tau <= 0 {
		l.Reset(x)
		return
	}
	if dt <= 0 {
		l.In = x
		return
	}
	if dt != l.dt || tau != l.tau {
		r := dt.Seconds() / tau.Seconds()
		l.dt, l.tau = dt, tau
		l.a = math.Exp(-r)
		l.b = (1 - l.a) / r
	}
	// Weights a, b−a and 1−b are all between 0 and 1 and add to 1.
	l.Out = l.a*l.Out + (l.b-l.a)*l.In + (1-l.b)*x
	l.In = x
}
