package commissioning

import (
	"math"
	"time"

	"dewgap/analyze/frame"
)

// Trace is one compressor through a cycle, for plots: so many equal stretches
// of time, with the lowest superheat of each, so that no dip is hidden. NaN
// where nothing was known.
type Trace struct {
	Compressor  string
	Lowest      []float32 // superheat, K
	Highest     []float32
	Uncertainty []float32
	Floor       []float32
	Dew, Pipe   []float32 // °C
	Phase       []frame.Phase
}

const (
	traceLength = 400
	traceMargin = int64(15 * time.Minute)
)

// trace cuts a cycle with a quarter of an hour before and after into stretches.
func (j *judge) trace(out *Cycle, c cycle) {
	t := j.track
	first := t.rowAt(t.at[c.from] - traceMargin)
	last := min(t.rowAt(t.at[c.to]+traceMargin), len(t.at)-1)
	step := max((t.at[last]-t.at[first])/traceLength, int64(time.Second))
	n := int((t.at[last]-t.at[first])/step) + 1
	for i := range n {
		out.Times = append(out.Times, instant(t.at[first]+int64(i)*step))
	}
	out.Coil = means(t, t.circuits[c.circuit].coil, first, last, step, n)
	for i := range t.machines {
		m := &t.machines[i]
		if m.group != t.circuits[c.circuit].group {
			continue
		}
		tr := Trace{
			Compressor: m.name, Dew: means(t, m.dew, first, last, step, n), Pipe: means(t, m.pipe, first, last, step, n),
			Uncertainty: means(t, m.uncertainty, first, last, step, n),
			Lowest:      unknowns(n), Highest: unknowns(n), Floor: unknowns(n), Phase: make([]frame.Phase, n),
		}
		for row := first; row <= last; row++ {
			b := int((t.at[row] - t.at[first]) / step)
			tr.Phase[b], tr.Floor[b] = m.phase[row], m.floor[row]
			if s := m.superheat[row]; known(s) {
				if !(s >= tr.Lowest[b]) {
					tr.Lowest[b] = s
				}
				if !(s <= tr.Highest[b]) {
					tr.Highest[b] = s
				}
			}
		}
		out.Traces = append(out.Traces, tr)
	}
}

func means(t *Track, x []float32, first, last int, step int64, n int) []float32 {
	sums, counts := make([]float32, n), make([]float32, n)
	for row := first; row <= last; row++ {
		if known(x[row]) {
			b := int((t.at[row] - t.at[first]) / step)
			sums[b] += x[row]
			counts[b]++
		}
	}
	for i := range sums {
		sums[i] /= counts[i] // 0/0: NaN
	}
	return sums
}

func unknowns(n int) []float32 {
	x := make([]float32, n)
	for i := range x {
		x[i] = float32(math.NaN())
	}
	return x
}
