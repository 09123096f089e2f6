// Package cause ranks circuits and causes for a floodback by evidence, and
// says what to check next.
//
// A Group follows the coils of one suction group all the time: superheat at
// the outlets, air, defrosts, and a day of summaries of how each coil usually
// runs. A Case gathers the evidence of one floodback of one compressor: who
// was wet or restarted, weighted by how deep the compressor's superheat was.
// The evidence is a view in numbers (view.go), the view is judged by named
// signs (signs.go), and the signs are added up by one table (table.go). There
// is no weight outside that table.
//
// It may import the standard library's pure packages and phase. No clock, no
// I/O.
package cause

import (
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
	tick   = int64(5e9)  // ns between two looks at the coils
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
}

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
func (g *Group) Observe(x *phase.Sample, p *phase.Group) {
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
	g.dew.take(x.Dew, dt, pipeLag)
	g.dewSlow.take(x.Dew, dt, 180)
	g.head.take(x.CondensingDew, dt, 120)
	switch {
	case !runs || !g.dew.known:
		g.calm, g.drawn = 0, false
	case g.calm == 0:
		g.calm = x.At
	case !g.drawn && x.At-g.calm >= calmAfter:
		g.drawn, g.dewSlow = true, mean{g.dew.value, true}
	}
	g.rise.take(x.At, runs, x.Dew)
	calm := g.calm != 0 && x.At-g.calm >= calmAfter && math.Abs(x.Dew-g.dew.value) < quietDew
	if calm {
		g.headDay.take(x.CondensingDew, dt, 12*3600)
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
		in.take(x.At, dt, c.SuctionTemperature-g.dew.value, undisturbed)
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

// Moment is what a Case needs to know of its compressor at one instant.
type Moment struct {
	At         int64
	Compressor int     // index in the group
	Superheat  float64 // K
	Floor      float64 // K
	// LiquidAtMost is the share by mass that the discharge temperature allows; NaN not known.
	LiquidAtMost float64
	Hunts        bool // the superheat oscillates
}

// Case is the evidence gathered during one floodback of one compressor.
type Case struct {
	group  *Group
	began  int64
	seen   int64
	next   int64
	worded int64
	weight float64
	base   []baseline // by circuit
	dew    float64    // of the group in the day before
	draws  float64    // share of its compressors that ran
	based  int64      // when that was looked up
	blame  []float64  // by circuit, weighted sum
	signs  [signCount]float64
	steady steadiness
	ago    float64 // superheat a minute before the floodback; NaN not known

	deepest  float64 // weight of the moment that words speak of
	words    view
	now      float64    // weight of the newest moment
	told     [][]string // what speaks for each circuit, in words
	circuits []Ranked
	causes   []Ranked
}

// NewCase returns an empty case of a group.
func NewCase(g *Group) Case {
	return Case{group: g, base: make([]baseline, len(g.coils)), blame: make([]float64, len(g.coils))}
}

// quiet is how long a floodback must have been over for the next to be another
// case. It must not be longer than the time that clears an event.
const quiet = 2 * minute

// Present takes one instant of a floodback and returns the ranking so far; the
// slices are never changed afterwards.
func (c *Case) Present(m Moment) (circuits, causes []Ranked) {
	if c.seen == 0 || m.At-c.seen > quiet || m.At < c.seen {
		c.remember()
		clear(c.blame)
		*c = Case{group: c.group, base: c.base, blame: c.blame, began: m.At, ago: c.group.minuteAgo(m.Compressor)}
	}
	c.seen = m.At
	if m.At >= c.next {
		c.next = m.At + tick
		c.gather(&m)
	}
	if c.circuits == nil || m.At-c.worded >= 2*tick {
		c.worded = m.At
		c.rank()
	}
	return c.circuits, c.causes
}

// dossier is what earlier floodbacks told of a circuit: a valve that was
// blamed this morning in steady running is no newcomer in tonight's pulldown.
type dossier struct {
	at    int64
	n     float64 // floodbacks, fading
	blame float64 // sum of the circuit's scores in them
	signs [signCount]float64
}

// fade is how fast a dossier is forgotten: common practice, no source.
const fade = float64(24 * 60 * minute)

func (d *dossier) add(at int64, score float64, signs *[signCount]float64) {
	keep := 0.8
	if d.at != 0 && at > d.at {
		keep *= math.Exp(-float64(at-d.at) / fade)
	}
	d.at = at
	d.n = d.n*keep + score
	d.blame = d.blame*keep + score
	for s := range signs {
		d.signs[s] = d.signs[s]*keep + signs[s]*score
	}
}

// part is how much earlier floodbacks count beside the present one.
func (d *dossier) part() float64 { return 0.5 * d.n / (d.n + 1) }

// remember enters what the case has told into the dossiers.
func (c *Case) remember() {
	if len(c.circuits) == 0 || c.weight < 0.5 {
		return
	}
	signs := c.own()
	for i := range c.group.coils {
		for _, r := range c.circuits[:1] {
			if r.Name == c.group.coils[i].name {
				c.group.earlier[i].add(c.seen, r.Score, &signs)
			}
		}
	}
}

// own returns the signs of this floodback alone.
func (c *Case) own() [signCount]float64 {
	signs := c.signs
	for s := range signs {
		signs[s] /= max(c.weight, 1e-9)
	}
	return signs
}

// gather adds the evidence of one instant. A floodback that lasts for hours
// just below the floor and once goes down to dew is judged by the latter.
func (c *Case) gather(m *Moment) {
	g := c.group
	c.steady.take(m.Superheat)
	if c.based == 0 || m.At-c.based >= slotLength && !c.knowsPast() {
		c.based = m.At
		g.lookBack(c.base, m.At)
		c.dew, _ = g.past.middle(m.At, 0.5, overOf)
		c.draws, _ = g.past.middle(m.At, 0.5, gapOf)
	}
	depth := 0.0
	if m.Floor > 0 {
		depth = clamp((m.Floor - m.Superheat) / m.Floor)
	}
	w := 0.02 + depth*depth
	c.weight += w
	c.now = w
	for i := range g.coils {
		c.blame[i] += w * g.blame(i, &c.base[i], c.began)
	}
	top := c.top()
	if top < 0 {
		return
	}
	v := g.see(top, m, c)
	signs := read(&v)
	for s := range signs {
		c.signs[s] += w * signs[s]
	}
	if w >= c.deepest {
		c.deepest, c.words = w, v
	}
}

// knowsPast says whether enough was seen before this floodback; else what is
// seen during it has to do.
func (c *Case) knowsPast() bool {
	for i := range c.base {
		if c.base[i].slots < 6 && c.group.coils[i].known {
			return false
		}
	}
	return true
}

func (c *Case) top() int {
	best := -1
	for i := range c.blame {
		if best < 0 || c.blame[i] > c.blame[best] {
			best = i
		}
	}
	return best
}

// rank puts the evidence so far into order and words.
func (c *Case) rank() {
	g, w := c.group, max(c.weight, 1e-9)
	c.circuits = make([]Ranked, 0, len(c.blame))
	if c.told == nil || c.now >= 0.7*c.deepest { // words speak of when it was deep
		c.told = make([][]string, len(c.blame))
		for i := range c.told {
			c.told[i] = g.say(i, c)
		}
	}
	for i, b := range c.blame {
		c.circuits = append(c.circuits, Ranked{g.coils[i].name, math.Exp(sharpness * b / w), c.told[i]})
	}
	share(c.circuits)
	own := c.own()
	signs := own
	if top := c.top(); top >= 0 && g.earlier[top].n > 0 {
		d := &g.earlier[top]
		part := d.part()
		for s := range signs {
			signs[s] += part * (d.signs[s]/d.n - signs[s])
		}
	}
	c.causes = weigh(&signs, &own, c.words.outlet)
}

// sharpness turns a difference of blame into odds: 1 is e⁴, 55 to 1.
const sharpness = 4.0

// share scales scores to a sum of 1 and sorts them, best first.
func share(r []Ranked) {
	total := 0.0
	for i := range r {
		total += r[i].Score
	}
	for i := range r {
		r[i].Score /= total
	}
	slices.SortStableFunc(r, func(a, b Ranked) int {
		switch {
		case a.Score > b.Score:
			return -1
		case a.Score < b.Score:
			return 1
		}
		return 0
	})
}
