// Package cause ranks circuits and causes for a floodback by evidence, and
// says what to check next.
//
// A Group follows the coils of one suction group all the time: superheat at
// the outlets, air, defrosts, and a day of summaries of how each coil usually
// runs. A Case gathers the evidence of one floodback of one compressor: who
// was wet or restarted, weighted by how deep the compressor's superheat was.
// The evidence is a view in numbers (view.go), the view is judged by named
// signs (signs.go), and the signs are added up by one table (table.go). What
// speaks for a circuit are clues with weights of their own (clues.go). There is
// no weight outside these two.
//
// It may import the standard library's pure packages and phase. No clock, no
// I/O.
package cause

import (
	"math"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
)

// Ranked is one candidate with its score, 0 to 1.
type Ranked struct {
	Name  string // circuit's name or contract's word for the cause
	Score float64
	Why   []evidence.Item // most telling first
}

const (
	tick   = int64(10e9) // ns between two looks at the coils
	second = int64(1e9)  // ns
	minute = 60 * second // ns
)

// Group follows the coils of one suction group between and during floodbacks.
// It is not safe for concurrent use.
type Group struct {
	coils   []coil
	inlets  []inlet
	now     int64
	calm    int64 // since when a compressor runs and dew is quiet; 0: it is not
	drawn   bool  // … for calmAfter: dew is down
	dew     mean  // delayed like a pipe's sensor
	dewSlow mean  // over three minutes
	drawing mean  // share of the compressors that run, ten minutes
	past    past  // dew and drawing
	wettest mean  // lowest superheat of the running compressors, ten minutes
	rise    rise
	earlier []dossier // by circuit: what earlier floodbacks told
	head    mean      // condensing dew over two minutes
	headDay mean      // … over half a day
}

// inlet is a compressor's suction as its neighbours see it.
type inlet struct {
	track
	running bool
	bouts   [boutsKept]int64 // when its last floodbacks began that no restart explains
	bout    int
}

// boutsKept floodbacks of three hours are enough to say that they come back.
const (
	boutsKept = 4
	boutsLast = 180 * minute
	restNear  = 25 * 60.0 // s
)

// NewGroup returns the tracker of a group's circuits.
func NewGroup(names []string, kinds []phase.DefrostKind) *Group {
	g := &Group{coils: make([]coil, len(names)), earlier: make([]dossier, len(names))}
	for i := range g.coils {
		g.coils[i] = newCoil(names[i], kinds[i])
	}
	return g
}

// Lags: a clamped sensor on a pipe follows within some 30 s, so dew is delayed
// as much before the two are compared. Common practice, no source.
const (
	pipeLag   = 30.0 // s
	calmAfter = 60 * second
	quietDew  = 1.5 // K between dew and its delayed value
)

// Observe takes the group's sample after phases have seen it. It allocates
// nothing once the number of compressors is known.
func (g *Group) Observe(x *frame.Frame, p *phase.Group) {
	passed := x.At - g.now
	if g.now != 0 && passed >= 0 && passed < tick {
		return
	}
	if passed < 0 || passed > 2*minute {
		passed = tick // a hole or a clock set back: what was before stands for little
		g.calm = 0
	}
	dt := float64(passed) / 1e9
	g.now = x.At
	if len(g.inlets) != len(x.Compressors) {
		g.inlets = make([]inlet, len(x.Compressors))
	}
	runs, drawing := false, 0.0
	for i := range g.inlets {
		if p.Compressors[i].Running() != phase.No {
			runs = true
			drawing += 1 / float64(len(g.inlets))
		}
	}
	g.drawing.take(drawing, dt, 600)
	g.dew.take(float64(x.Dew), dt, pipeLag)
	g.dewSlow.take(float64(x.Dew), dt, 180)
	g.head.take(float64(x.CondensingDew), dt, 120)
	switch {
	case !runs || !g.dew.known:
		g.calm, g.drawn = 0, false
	case g.calm == 0:
		g.calm = x.At
	case !g.drawn && x.At-g.calm >= calmAfter:
		g.drawn, g.dewSlow = true, mean{g.dew.value, true}
	}
	g.rise.take(x.At, runs, float64(x.Dew))
	calm := g.calm != 0 && x.At-g.calm >= calmAfter && math.Abs(float64(x.Dew)-g.dew.value) < quietDew
	if calm {
		g.headDay.take(float64(x.CondensingDew), dt, 12*3600)
	}
	g.wettest.take(g.lowestInlet(), dt, 600)
	undisturbed := true
	for i := range g.coils {
		g.coils[i].observe(x.At, dt, &x.Circuits[i], &p.Circuits[i], g, calm)
		undisturbed = undisturbed && g.coils[i].stage == phase.Refrigerating
	}
	for i := range g.inlets {
		in, c := &g.inlets[i], &x.Compressors[i]
		ns, _ := p.Compressors[i].For(x.At)
		in.running = p.Compressors[i].Running() == phase.Yes && ns > 2*minute
		if !in.running || !calm {
			in.pause()
			continue
		}
		in.take(x.At, dt, float64(c.Inlet.Temperature)-g.dew.value, undisturbed)
		if undisturbed {
			in.past.take(x.At, in.over.now(), nan, nan)
		}
	}
	if calm && undisturbed && x.At-g.calm >= 3*minute {
		g.past.take(x.At, g.dew.value, g.drawing.value, nan)
	}
}

// lowestInlet returns the lowest superheat of the running compressors.
func (g *Group) lowestInlet() float64 {
	low := nan
	for i := range g.inlets {
		if v := g.inlets[i].over.now(); g.inlets[i].running && !(low <= v) {
			low = v
		}
	}
	return low
}

// rise measures how fast the group's dew comes up once nothing draws any more:
// an expansion device that shuts lets it creep, an open one lets the high side
// blow through.
type rise struct {
	stopped int64
	from    float64
	mean    mean // K in the first two minutes
	n       int
}

func (r *rise) take(at int64, runs bool, dew float64) {
	switch {
	case runs || math.IsNaN(dew):
		r.stopped = 0
	case r.stopped == 0:
		r.stopped, r.from = at, dew
	case r.stopped > 0 && at-r.stopped >= 2*minute:
		r.mean.take(dew-r.from, 1, 4)
		r.n++
		r.stopped = -1 // counted
	}
}

// minuteAgo returns how high the superheat of a compressor stood in the last
// two minutes.
func (g *Group) minuteAgo(compressor int) float64 {
	if compressor >= len(g.inlets) {
		return nan
	}
	return g.inlets[compressor].highest()
}

// enter notes that a floodback of a compressor begins, and returns how many
// began in the hours before while no circuit had restarted.
func (g *Group) enter(compressor int, at int64) int {
	if compressor >= len(g.inlets) {
		return 0
	}
	in, n := &g.inlets[compressor], 0
	for _, t := range in.bouts {
		if t != 0 && t <= at && at-t < boutsLast {
			n++
		}
	}
	for i := range g.coils {
		if g.coils[i].isShut() || g.coils[i].ago(at) < restNear {
			return n
		}
	}
	in.bouts[in.bout%boutsKept] = at
	in.bout++
	return n
}
