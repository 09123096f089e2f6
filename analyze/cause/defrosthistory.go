package cause

import (
	"slices"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// defrostHistory remembers the last defrosts of a circuit.
type defrostHistory struct {
	all [defrostsKept]frame.DefrostRun
	n   int // seen so far
}

const defrostsKept = 8

// update enters a defrost that goes on or has ended.
func (h *defrostHistory) update(run *frame.DefrostRun) {
	if run.Ended <= run.Began || run.Began == 0 {
		return
	}
	if h.n == 0 || h.nth(0).Began != run.Began {
		h.n++
	}
	*h.nth(0) = *run
}

// nth returns the i-th defrost before the newest.
func (h *defrostHistory) nth(i int) *frame.DefrostRun { return &h.all[(h.n-1-i)%defrostsKept] }

// kept returns how many defrosts nth has.
func (h *defrostHistory) kept() int { return min(h.n, defrostsKept) }

// usual returns the medians of length and plateau, s, of the defrosts before
// the newest; NaN when there were none.
func (h *defrostHistory) usual() (length, plateau float64) {
	var l, p [defrostsKept]float64
	n := 0
	for i := 1; i < h.kept(); i++ {
		run := h.nth(i)
		l[n], p[n] = run.Length(), run.Plateau
		n++
	}
	slices.Sort(l[:n])
	slices.Sort(p[:n])
	return filter.Median(l[:n]), filter.Median(p[:n])
}
