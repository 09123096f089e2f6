package cause

import (
	"math"
	"slices"

	"dewgap/analyze/evidence"
)

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
	base   []baseline           // by circuit
	dew    float64              // of the group in the day before
	draws  float64              // share of its compressors that ran
	based  int64                // when that was looked up
	clues  [][clueCount]float64 // by circuit, weighted sum
	signs  [][signCount]float64 // … of what they say of the cause
	steady steadiness
	recurs int     // earlier floodbacks of the compressor in the last hours, no restart near
	ago    float64 // superheat a minute before the floodback; NaN not known

	deepest  float64 // weight of the moment that words speak of
	words    view
	now      float64           // weight of the newest moment
	told     [][]evidence.Item // what speaks for each circuit, in words
	circuits []Ranked
	causes   []Ranked
}

// NewCase returns an empty case of a group.
func NewCase(g *Group) Case {
	return Case{group: g, base: make([]baseline, len(g.coils)), clues: make([][clueCount]float64, len(g.coils)), signs: make([][signCount]float64, len(g.coils))}
}

// gatherEach is how often evidence is gathered, ns.
const gatherEach = 5 * second

// quiet is how long a floodback must have been over for the next to be another
// case. It must not be longer than the time that clears an event.
const quiet = 2 * minute

// Present takes one instant of a floodback and returns the ranking so far; the
// slices are never changed afterwards.
func (c *Case) Present(m Moment) (circuits, causes []Ranked) {
	if c.seen == 0 || m.At-c.seen > quiet || m.At < c.seen {
		c.remember()
		clear(c.clues)
		clear(c.signs)
		*c = Case{group: c.group, base: c.base, clues: c.clues, signs: c.signs, began: m.At, ago: c.group.minuteAgo(m.Compressor), recurs: c.group.enter(m.Compressor, m.At)}
	}
	c.seen = m.At
	if m.At >= c.next {
		c.next = m.At + gatherEach
		c.gather(&m)
	}
	if c.circuits == nil || m.At-c.worded >= 2*gatherEach {
		c.worded = m.At
		c.rank()
	}
	return c.circuits, c.causes
}

// dossier is what earlier floodbacks told of a circuit: a valve that was
// blamed this morning in steady running is no newcomer in tonight's pulldown.
type dossier struct {
	at    int64
	n     float64 // floodbacks by the circuit's score in them, fading
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
	for s := range signs {
		d.signs[s] = d.signs[s]*keep + signs[s]*score
	}
}

// part is how much earlier floodbacks count beside the present one.
func (d *dossier) part() float64 { return 0.5 * d.n / (d.n + 1) }

// remember enters what the case has told into the dossier of its circuit.
func (c *Case) remember() {
	if len(c.circuits) == 0 || c.weight < 0.5 {
		return
	}
	signs := c.own()
	c.group.earlier[c.top()].add(c.seen, c.circuits[0].Score, &signs)
}

// own returns the signs of this floodback alone.
func (c *Case) own() [signCount]float64 {
	top := c.top()
	if top < 0 {
		return [signCount]float64{}
	}
	signs := c.signs[top]
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
	if m.Floor > 0 && !math.IsNaN(m.Superheat) {
		depth = clamp((m.Floor - m.Superheat) / m.Floor)
	}
	w := 0.02 + depth*depth
	c.weight += w
	c.now = w
	for i := range g.coils {
		clues := g.clues(i, &c.base[i], c.began)
		for q := range clues {
			c.clues[i][q] += w * clues[q]
		}
	}
	top := c.top()
	for i := range g.coils {
		v := g.see(i, m, c)
		signs := read(&v)
		for s := range signs {
			c.signs[i][s] += w * signs[s]
		}
		if i == top && w >= c.deepest {
			c.deepest, c.words = w, v
		}
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
	most := 0.0
	for i := range c.clues {
		if b := blame(&c.clues[i]); best < 0 || b > most {
			best, most = i, b
		}
	}
	return best
}

// rank puts the evidence so far into order and words.
func (c *Case) rank() {
	g, w := c.group, max(c.weight, 1e-9)
	c.circuits = make([]Ranked, 0, len(c.clues))
	if c.told == nil || c.now >= 0.7*c.deepest { // words speak of when it was deep
		c.told = make([][]evidence.Item, len(c.clues))
		for i := range c.told {
			c.told[i] = evidence.Sentences(g.say(i, c))
		}
	}
	for i := range c.clues {
		c.circuits = append(c.circuits, Ranked{g.coils[i].name, math.Exp(blame(&c.clues[i]) / w), c.told[i]})
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
