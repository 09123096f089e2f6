package refrigerant

import (
	"math"
	"sort"
)

const zeroCelsius = 273.15 // K

// curve is a saturation line: 1/T against ln p, which is almost straight, by
// a monotone cubic in each piece.
type curve struct {
	low, high float64 // Pa
	knots     []knot
	celsius   []float64 // at the knots
	// piece has, for each of equal parts of ln p, the piece that its lower end
	// is in; it makes finding a piece one look and one comparison.
	piece   []uint16
	perUnit float64 // parts of one unit of ln p
}

// knot is the lower end of a piece: 1/T = c0 + c1 u + c2 u² + c3 u³ with u the
// distance in ln p.
type knot struct{ lnP, c0, c1, c2, c3 float64 }

const maxParts = 4096

// newCurve makes the curve through the points; both columns rise.
func newCurve(celsius, pascal []float64) *curve {
	n := len(celsius)
	x, y := make([]float64, n), make([]float64, n)
	narrowest := math.Inf(1)
	for i := range n {
		x[i], y[i] = math.Log(pascal[i]), 1/(celsius[i]+zeroCelsius)
		if i > 0 {
			narrowest = math.Min(narrowest, x[i]-x[i-1])
		}
	}
	m := splineSlopes(x, y)
	keepMonotone(x, y, m)
	c := &curve{low: pascal[0], high: pascal[n-1], celsius: celsius, knots: make([]knot, n)}
	for i := range n - 1 {
		h := x[i+1] - x[i]
		secant := (y[i+1] - y[i]) / h
		c.knots[i] = knot{x[i], y[i], m[i], (3*secant - 2*m[i] - m[i+1]) / h, (m[i] + m[i+1] - 2*secant) / (h * h)}
	}
	c.knots[n-1] = knot{lnP: x[n-1], c0: y[n-1]}
	parts := min(int((x[n-1]-x[0])/narrowest)+2, maxParts)
	c.perUnit = float64(parts-1) / (x[n-1] - x[0])
	c.piece = make([]uint16, parts)
	for i, k := 0, 0; i < parts; i++ {
		for k < n-2 && x[k+1] <= x[0]+float64(i)/c.perUnit {
			k++
		}
		c.piece[i] = uint16(k)
	}
	return c
}

// covers is false for NaN.
func (c *curve) covers(pascal float64) bool { return pascal >= c.low && pascal <= c.high }

func (c *curve) temperatures() (low, high float64) { return c.celsius[0], c.celsius[len(c.celsius)-1] }

// at returns the piece that pascal is in and the distance from its lower end.
func (c *curve) at(pascal float64) (k *knot, u float64) {
	x := math.Log(pascal)
	i := int(c.piece[min(max(0, int((x-c.knots[0].lnP)*c.perUnit)), len(c.piece)-1)])
	for i < len(c.knots)-2 && x >= c.knots[i+1].lnP {
		i++
	}
	k = &c.knots[i]
	return k, x - k.lnP
}

func (k *knot) value(u float64) float64 { return k.c0 + u*(k.c1+u*(k.c2+u*k.c3)) }
func (k *knot) slope(u float64) float64 { return k.c1 + u*(2*k.c2+u*3*k.c3) }

// temperature returns °C at a pressure that the curve covers.
func (c *curve) temperature(pascal float64) float64 {
	k, u := c.at(pascal)
	return 1/k.value(u) - zeroCelsius
}

// slope returns dT/dp in K/Pa.
func (c *curve) slope(pascal float64) float64 {
	k, u := c.at(pascal)
	y := k.value(u)
	return -k.slope(u) / (y * y * pascal)
}

// pressure returns Pa at a temperature within temperatures. It inverts the
// same cubic, by Newton's method kept inside the piece.
func (c *curve) pressure(celsius float64) float64 {
	i := sort.SearchFloat64s(c.celsius, celsius)
	if celsius == c.celsius[i] {
		return math.Exp(c.knots[i].lnP)
	}
	k, next := &c.knots[i-1], &c.knots[i]
	y, low, high := 1/(celsius+zeroCelsius), 0.0, next.lnP-k.lnP
	u := high * (k.c0 - y) / (k.c0 - next.c0)
	for range 50 {
		excess := k.value(u) - y
		if excess > 0 {
			low = u
		} else {
			high = u
		}
		step := u - excess/k.slope(u)
		if !(step > low && step < high) {
			step = (low + high) / 2
		}
		if math.Abs(step-u) < 1e-15 {
			break
		}
		u = step
	}
	return math.Exp(k.lnP + u)
}
