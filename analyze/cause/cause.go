// Package cause ranks circuits and causes for a floodback by evidence, and
// says what to check next.
//
// It may import the standard library's pure packages and phase. No clock, no
// I/O. Nothing is hidden in weights that are not in the table of this package.
package cause

import (
	"fmt"
	"math"
	"slices"

	"dewgap/analyze/phase"
)

// Ranked is one candidate with its score, 0 to 1.
type Ranked struct {
	Name  string // circuit's name or contract's word for the cause
	Score float64
	Why   []string // evidence in words, most telling first
}

const (
	tick     = int64(5e9)
	wetBelow = 3.0 // K of coil superheat over the group's dew: the outlet is wet or nearly (common practice)
	recently = 15 * 60.0
)

// Group follows the coils of one suction group between floodbacks.
type Group struct {
	names []string
	kinds []phase.DefrostKind
	coils []coil
	next  int64
	dew   mean // an hour
	now   float64
}

type coil struct {
	over    mean // superheat at the outlet, 20 s
	usual   mean // … an hour
	wet     float64
	known   bool
	swing   mean // mean |deviation| over ten minutes
	slow    mean // two minutes
	resumed int64
	stage   phase.Stage
	gap     float64 // air − dew against before, K
	last    phase.Episode
	before  float64 // superheat before the last defrost
	lengths mean    // of defrosts, s
	counted int64
}

type mean struct {
	value float64
	known bool
}

func (m *mean) take(x, dt, tau float64) {
	switch {
	case math.IsNaN(x):
	case !m.known:
		m.value, m.known = x, true
	default:
		m.value += (x - m.value) * dt / (tau + dt)
	}
}

// NewGroup returns the tracker of a group's circuits.
func NewGroup(names []string, kinds []phase.DefrostKind) *Group {
	return &Group{names: names, kinds: kinds, coils: make([]coil, len(names))}
}

// Observe takes the group's sample after phases have seen it. It allocates
// nothing.
func (g *Group) Observe(x *phase.Sample, p *phase.Group) {
	if x.At < g.next && g.next-x.At <= tick {
		return
	}
	g.next = x.At + tick
	const dt = 5.0
	g.now = x.Dew
	g.dew.take(x.Dew, dt, 3600)
	for i := range g.coils {
		c, from := &g.coils[i], &p.Circuits[i]
		c.stage, _ = from.Stage()
		c.last = from.Last
		c.resumed = from.Last.Resumed
		over := x.Circuits[i].CoilOutlet - x.Dew
		c.known = !math.IsNaN(over)
		c.over.take(over, dt, 20)
		c.gap = x.Circuits[i].Air - x.Dew - from.Gap()
		c.before = from.Before.Superheat()
		cooling := c.stage == phase.Refrigerating || c.stage == phase.PullingDown
		c.wet = 0
		if cooling && c.known {
			c.wet = min(max((wetBelow+1-c.over.value)/2, 0), 1)
		}
		if c.stage == phase.Refrigerating {
			c.usual.take(over, dt, 3600)
			c.slow.take(over, dt, 300)
			c.swing.take(math.Abs(c.over.value-c.slow.value), dt, 600)
		}
		if c.last.Ended > c.last.Began && c.counted != c.last.Ended {
			c.counted = c.last.Ended
			c.lengths.take(float64(c.last.Ended-c.last.Began)/1e9, 1, 3)
		}
	}
}

// Case is the evidence gathered during one floodback of one compressor.
type Case struct {
	group    *Group
	began    int64
	seen     int64
	ticks    float64
	scores   []float64
	wet      []float64
	sum      [featureCount]float64
	next     int64
	circuits []Ranked
	causes   []Ranked
	worded   int64
}

// NewCase returns an empty case of a group.
func NewCase(g *Group) Case {
	return Case{group: g, scores: make([]float64, len(g.names)), wet: make([]float64, len(g.names))}
}

// quiet is how long a floodback must have been over for the next to be another case.
const quiet = int64(120e9)

// Present takes one instant of a floodback. wetFor is how long the line has
// been at dew, hunts whether the superheat is hunting. It returns the ranking
// so far; the slices stay valid and unchanged until they are renewed.
func (c *Case) Present(at int64, hunts bool) (circuits, causes []Ranked) {
	if c.seen == 0 || at-c.seen > quiet || at < c.seen {
		*c = Case{group: c.group, scores: c.scores, wet: c.wet, began: at}
		clear(c.scores)
		clear(c.wet)
	}
	c.seen = at
	if at >= c.next {
		c.next = at + tick
		c.gather(at, hunts)
	}
	if c.circuits == nil || at-c.worded >= 2*tick {
		c.worded = at
		c.rank(at)
	}
	return c.circuits, c.causes
}

// gather adds the evidence of one instant.
func (c *Case) gather(at int64, hunts bool) {
	g := c.group
	c.ticks++
	for i := range g.coils {
		k := &g.coils[i]
		s := 0.02
		ago := float64(at-k.resumed) / 1e9
		if k.resumed != 0 && ago < 3600 && (k.stage == phase.PullingDown || k.stage == phase.Refrigerating) {
			w := 0.5
			if !k.known {
				w = 1
			}
			s += w * math.Exp(-ago/recently)
		}
		if k.known && (k.stage == phase.Refrigerating || k.stage == phase.PullingDown) {
			s += k.wet
			s += 0.3 * min(max((6-k.over.value)/6, 0), 1)
			s += 0.25 * min(k.swing.value/4, 1)
		}
		if !k.known && k.stage == phase.StageUnknown {
			s += 0.1
		}
		c.scores[i] += s
		c.wet[i] += k.wet
	}
	top := c.top()
	if top < 0 {
		return
	}
	for f := range featureCount {
		c.sum[f] += g.feature(f, top, c, at, hunts)
	}
}

func (c *Case) top() int {
	best := -1
	for i := range c.scores {
		if best < 0 || c.scores[i] > c.scores[best] {
			best = i
		}
	}
	return best
}

// rank puts the evidence so far into order and words.
func (c *Case) rank(at int64) {
	g := c.group
	total := 0.0
	for _, s := range c.scores {
		total += s
	}
	c.circuits, c.causes = make([]Ranked, 0, len(c.scores)), nil
	if total > 0 {
		for i, s := range c.scores {
			c.circuits = append(c.circuits, Ranked{g.names[i], s / total, g.say(i, c, at)})
		}
		slices.SortStableFunc(c.circuits, byScore)
	}
	var f [featureCount]float64
	for i := range f {
		f[i] = c.sum[i] / max(c.ticks, 1)
	}
	c.causes = score(&f)
}

func byScore(a, b Ranked) int {
	switch {
	case a.Score > b.Score:
		return -1
	case a.Score < b.Score:
		return 1
	}
	return 0
}

// say puts what speaks for circuit i into words.
func (g *Group) say(i int, c *Case, at int64) []string {
	k := &g.coils[i]
	var lines []string
	if c.ticks > 0 && c.wet[i]/c.ticks > 0.3 {
		lines = append(lines, fmt.Sprintf("its coil outlet is %.1f K above dew: liquid leaves the coil", k.over.value))
	}
	if ago := float64(at-k.resumed) / 6e10; k.resumed != 0 && ago < 60 {
		lines = append(lines, fmt.Sprintf("it went back to refrigeration %.0f min ago", ago))
	}
	if k.swing.value > 1.5 {
		lines = append(lines, fmt.Sprintf("its coil superheat swings by about %.0f K", 3*k.swing.value))
	}
	if !k.known {
		lines = append(lines, "its coil outlet temperature is not measured; it would tell")
	}
	return lines
}
