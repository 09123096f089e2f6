package refrigerant

import "math"

// splineSlopes returns the slopes at the knots of the cubic spline through
// (x, y) whose first and last knots are no knots, so that its second
// derivative has no step anywhere. x rises; it takes four points or more.
func splineSlopes(x, y []float64) []float64 {
	last := len(x) - 1
	work := make([]float64, 5*len(x)) // one allocation: a fluid has hundreds of splines
	slice := func(n int) (s []float64) { s, work = work[:n:n], work[n:]; return s }
	h, secant := slice(last), slice(last)
	for i := range last {
		h[i] = x[i+1] - x[i]
		secant[i] = (y[i+1] - y[i]) / h[i]
	}
	// A tridiagonal system: below·m[i-1] + on·m[i] + above·m[i+1] = m.
	below, on, above := slice(last+1), slice(last+1), slice(last+1)
	m := make([]float64, last+1)
	on[0], above[0] = h[1], h[0]+h[1]
	m[0] = ((h[0]+2*(h[0]+h[1]))*h[1]*secant[0] + h[0]*h[0]*secant[1]) / (h[0] + h[1])
	for i := 1; i < last; i++ {
		below[i], on[i], above[i] = h[i], 2*(h[i-1]+h[i]), h[i-1]
		m[i] = 3 * (h[i]*secant[i-1] + h[i-1]*secant[i])
	}
	a, b := h[last-1], h[last-2]
	below[last], on[last] = a+b, b
	m[last] = ((a+2*(a+b))*b*secant[last-1] + a*a*secant[last-2]) / (a + b)
	for i := 1; i <= last; i++ {
		w := below[i] / on[i-1]
		on[i] -= w * above[i-1]
		m[i] -= w * m[i-1]
	}
	m[last] /= on[last]
	for i := last - 1; i >= 0; i-- {
		m[i] = (m[i] - above[i]*m[i+1]) / on[i]
	}
	return m
}

// keepMonotone brings slopes within three times the smaller of the adjacent
// secants, which is enough for each piece to be monotone (Fritsch, Carlson,
// SIAM J. Numer. Anal. 17:238, 1980). It changes nothing where the data are
// smooth.
func keepMonotone(x, y, m []float64) {
	secant := func(i int) float64 { return (y[i+1] - y[i]) / (x[i+1] - x[i]) }
	for i := range m {
		left, right := secant(max(i-1, 0)), secant(min(i, len(x)-2))
		if left*right <= 0 || m[i]*left <= 0 {
			m[i] = 0
			continue
		}
		limit := 3 * math.Min(math.Abs(left), math.Abs(right))
		m[i] = math.Copysign(math.Min(math.Abs(m[i]), limit), m[i])
	}
}

// hermite returns the weights of value and slope at both ends of a unit
// interval, at u from 0 to 1.
func hermite(u float64) (value0, slope0, value1, slope1 float64) {
	u2, v := u*u, 1-u
	return (1 + 2*u) * v * v, u * v * v, u2 * (3 - 2*u), u2 * (u - 1)
}

// hermiteSlope returns the derivatives of hermite's weights.
func hermiteSlope(u float64) (value0, slope0, value1, slope1 float64) {
	return 6 * u * (u - 1), 1 + u*(3*u-4), 6 * u * (1 - u), u * (3*u - 2)
}

// series is a quantity on a grid of 1 K with its spline.
type series struct{ values, slopes []float64 }

func newSeries(values []float64) series {
	x := make([]float64, len(values))
	for i := range x {
		x[i] = float64(i)
	}
	return series{values, splineSlopes(x, values)}
}

// at returns the value at x steps from the first.
func (s series) at(x float64) float64 {
	i := min(int(x), len(s.values)-2)
	v0, s0, v1, s1 := hermite(x - float64(i))
	return v0*s.values[i] + s0*s.slopes[i] + v1*s.values[i+1] + s1*s.slopes[i+1]
}
