package filter

import "math"

// historyPoints is the number of points that a History keeps.
const historyPoints = 32

// History remembers the recent past of one quantity at an even spacing; each
// point is the mean of its interval, so that fast sampling lowers the noise.
// With 5 s of spacing it reaches back two minutes and a half. The zero value is
// empty.
type History struct {
	Spacing int64 // ns; 0 is DefaultSpacing
	at      [historyPoints]int64
	value   [historyPoints]float64
	next    int
	sum     float64
	n       int
	bucket  int64
}

// DefaultSpacing is the spacing of a History that states none, ns.
const DefaultSpacing = int64(5e9)

func (h *History) spacing() int64 {
	if h.Spacing == 0 {
		return DefaultSpacing
	}
	return h.Spacing
}

// Update enters x at a time in ns; NaN is passed over.
func (h *History) Update(at int64, x float64) {
	if math.IsNaN(x) {
		return
	}
	spacing := h.spacing()
	b := at / spacing
	if b != h.bucket && h.n > 0 {
		h.at[h.next], h.value[h.next] = h.bucket*spacing+spacing/2, h.sum/float64(h.n)
		h.next = (h.next + 1) % historyPoints
		h.sum, h.n = 0, 0
	}
	h.bucket = b
	h.sum += x
	h.n++
}

// Newest returns the newest whole point; NaN when there is none.
func (h *History) Newest() float64 {
	i := (h.next + historyPoints - 1) % historyPoints
	if h.at[i] == 0 {
		return math.NaN()
	}
	return h.value[i]
}

// Highest returns the greatest point of the last span ns before at; NaN when
// there is none.
func (h *History) Highest(at, span int64) float64 {
	best := math.NaN()
	for i := range h.at {
		if h.at[i] == 0 || at-h.at[i] > span {
			continue
		}
		if math.IsNaN(best) || h.value[i] > best {
			best = h.value[i]
		}
	}
	return best
}

// Ago returns the point nearest to span ns before at, within two spacings or a
// third of span; NaN when there is none.
func (h *History) Ago(at, span int64) float64 {
	want := at - span
	best, miss := math.NaN(), max(2*h.spacing(), span/3)
	for i := range h.at {
		if h.at[i] == 0 {
			continue
		}
		d := h.at[i] - want
		if d < 0 {
			d = -d
		}
		if d <= miss {
			best, miss = h.value[i], d
		}
	}
	return best
}

// Reset forgets everything but the spacing.
func (h *History) Reset() { *h = History{Spacing: h.Spacing} }
