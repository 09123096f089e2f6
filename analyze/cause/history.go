package cause

import "math"

// history is what earlier floodbacks showed of a circuit: a valve that was
// found stuck this morning in steady running is no newcomer in tonight's
// pulldown.
type history struct {
	at      int64   // end of the last one
	n       float64 // floodbacks by the circuit's score in them, fading
	degrees degrees // sum of theirs, fading alike
}

// Common practice, no source.
const (
	historyTau   = float64(24 * 60 * minute) // ns
	historyKeeps = 0.8                       // of itself at each further floodback
	historyPart  = 0.5                       // of the evidence at most
)

// add enters a floodback that ended at a time, with the circuit's score in it.
func (h *history) add(at int64, score float64, d *degrees) {
	keep := historyKeeps
	if h.at != 0 && at > h.at {
		keep *= math.Exp(-float64(at-h.at) / historyTau)
	}
	h.at = at
	h.n = h.n*keep + score
	for f := range d {
		h.degrees[f] = h.degrees[f]*keep + d[f]*score
	}
}

// part returns how much earlier floodbacks count beside the present one, 0 to
// historyPart.
func (h *history) part() float64 { return historyPart * h.n / (h.n + 1) }

// blend returns the degrees of the present floodback blended with those before.
func (h *history) blend(now degrees) degrees {
	if h.n == 0 {
		return now
	}
	part := h.part()
	for f := range now {
		now[f] += part * (h.degrees[f]/h.n - now[f])
	}
	return now
}
