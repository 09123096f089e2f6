package phase

import "math"

// lag is a first-order low-pass in event time. Its zero value knows nothing.
type lag struct {
	value float64
	known bool
}

// take enters x after dt seconds, with time constant tau seconds; NaN is
// ignored.
func (l *lag) take(x, dt, tau float64) {
	switch {
	case math.IsNaN(x):
	case !l.known:
		l.value, l.known = x, true
	default:
		l.value += (x - l.value) * dt / (tau + dt)
	}
}

func (l *lag) now() float64 {
	if !l.known {
		return math.NaN()
	}
	return l.value
}

// middle follows the median of positive numbers: it steps up or down by a
// share of itself, so that what is rare and large does not move it.
type middle struct{ value float64 }

func (m *middle) take(x float64) {
	const share = 0.01
	switch {
	case m.value < 0.05: // nothing known, or all alike
		m.value = x
	case x > m.value:
		m.value *= 1 + share
	default:
		m.value /= 1 + share
	}
}

// spread is the standard deviation that belongs to a median |x|, in bounds.
func (m *middle) spread(least, most float64) float64 {
	if m.value == 0 {
		return 1.5 * least
	}
	return min(max(m.value/0.6745, least), most)
}

// trailStep is the spacing of a trail and trailLength its number of points:
// two minutes and a half of history.
const (
	trailStep   = int64(5e9)
	trailLength = 32
)

// trail remembers the recent past of one quantity at 5 s spacing; each point
// is the mean of its 5 s, so that fast sampling lowers the noise.
type trail struct {
	at     [trailLength]int64
	value  [trailLength]float64
	next   int
	sum    float64
	n      int
	bucket int64
}

func (t *trail) take(at int64, x float64) {
	if math.IsNaN(x) {
		return
	}
	b := at / trailStep
	if b != t.bucket && t.n > 0 {
		t.at[t.next], t.value[t.next] = t.bucket*trailStep+trailStep/2, t.sum/float64(t.n)
		t.next = (t.next + 1) % trailLength
		t.sum, t.n = 0, 0
	}
	t.bucket = b
	t.sum += x
	t.n++
}

// now returns the newest whole point; NaN when there is none.
func (t *trail) now() float64 {
	i := (t.next + trailLength - 1) % trailLength
	if t.at[i] == 0 {
		return math.NaN()
	}
	return t.value[i]
}

// highest returns the greatest value of the last span ns before at; NaN when
// nothing is remembered of it.
func (t *trail) highest(at, span int64) float64 {
	best := math.NaN()
	for i := range t.at {
		if t.at[i] == 0 || at-t.at[i] > span {
			continue
		}
		if math.IsNaN(best) || t.value[i] > best {
			best = t.value[i]
		}
	}
	return best
}

// ago returns the point nearest to span ns before at, within 10 s or a third
// of span; NaN when there is none.
func (t *trail) ago(at, span int64) float64 {
	want := at - span
	best, miss := math.NaN(), max(int64(10e9), span/3)
	for i := range t.at {
		if t.at[i] == 0 {
			continue
		}
		d := t.at[i] - want
		if d < 0 {
			d = -d
		}
		if d <= miss {
			best, miss = t.value[i], d
		}
	}
	return best
}

func (t *trail) forget() { *t = trail{} }
