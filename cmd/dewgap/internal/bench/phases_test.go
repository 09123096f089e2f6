package bench

import (
	"fmt"
	"strings"
	"time"

	"dewgap/analyze/frame"
)

// forgiven is how far from an edge of the truth a phase may still be the
// neighbour's: the end of pulldown follows a load that no input measures.
const forgiven = 2 * time.Minute

// confusion is hours by true and found phase.
type confusion [frame.PhaseCount][frame.PhaseCount]float64

func (m *confusion) add(o *confusion) {
	for i := range m {
		for j := range m[i] {
			m[i][j] += o[i][j]
		}
	}
}

// take scores the phases found for machine k.
func (m *confusion) take(c *Comparison, k int, found func(row int) frame.Phase) {
	type edge struct {
		at       time.Time
		from, to frame.Phase
	}
	var edges []edge
	for i := 1; i < len(c.times); i++ {
		if a, b := c.truth[i-1][k].Phase, c.truth[i][k].Phase; a != b {
			edges = append(edges, edge{c.times[i], a, b})
		}
	}
	first := 0
	for i, at := range c.times {
		dt := 0.0
		if i+1 < len(c.times) {
			dt = min(c.times[i+1].Sub(at), longestStep).Hours()
		}
		want, said := c.truth[i][k].Phase, found(i)
		for first < len(edges) && edges[first].at.Before(at.Add(-forgiven)) {
			first++
		}
		for j := first; j < len(edges) && !edges[j].at.After(at.Add(forgiven)); j++ {
			if said == edges[j].from || said == edges[j].to {
				said = want
			}
		}
		m[want][said] += dt
	}
}

// mixed lists the phases that were taken for others for long, "" when
// none was.
func (m *confusion) mixed() string {
	const long = 0.2 // h
	var parts []string
	for want := range m {
		for said, hours := range m[want] {
			if said != want && hours >= long {
				parts = append(parts, fmt.Sprintf("%s found %s %.1f", frame.Phase(want), frame.Phase(said), hours))
			}
		}
	}
	return strings.Join(parts, ", ")
}

// F1 is the harmonic mean of a phase's recall and precision; how long it
// really was, in hours, comes with it.
func (m *confusion) F1(p frame.Phase) (f1, hours float64) {
	var fp, fn float64
	for q := range frame.Phase(frame.PhaseCount) {
		if q != p {
			fn += m[p][q]
			fp += m[q][p]
		}
	}
	tp := m[p][p]
	return 2 * tp / max(2*tp+fp+fn, 1e-12), tp + fn
}

// MacroF1 is the mean F1 over the phases that really occurred.
func (m *confusion) MacroF1() float64 {
	sum, n := 0.0, 0
	for p := frame.Off; p <= frame.Steady; p++ {
		if f1, hours := m.F1(p); hours > 0 {
			sum += f1
			n++
		}
	}
	return sum / float64(max(n, 1))
}
