package cause

import (
	"cmp"
	"math"
	"slices"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// Diagnosis is the evidence gathered during one floodback of one compressor.
type Diagnosis struct {
	group      *Group
	compressor int // index in the group

	began      int64
	last       int64 // newest instant of the floodback
	nextGather int64
	ranked     int64 // when it was ranked last

	base      []baseline // by circuit
	based     int64      // when base was looked up
	usualDew  float64    // of the group in the day before, °C
	usualRun  float64    // share of its compressors that ran in the day before
	ran       float64    // how long the compressor had run when it began, s; NaN not known
	starts    int        // earlier floodbacks of the compressor within its start, in the last hours
	recurs    int        // earlier floodbacks of the compressor, no restart near
	minuteAgo float64    // superheat shortly before the floodback, K; NaN not known

	weight          float64           // sum of the weights of all instants
	newest          float64           // weight of the newest instant
	circuitFeatures []circuitDegrees  // by circuit, weighted sums
	features        []degrees         // by circuit, weighted sums
	superheat       filter.Spread     // of the compressor
	deepest         float64           // weight of the deepest instant
	outletMeasured  bool              // of the likeliest circuit at that instant
	why             [][]evidence.Item // by circuit, as found when it was deep
	circuits        []Ranked
	causes          []Ranked
}

// NewDiagnosis returns the diagnosis of a compressor, by its index in the
// group; it has no evidence yet.
func NewDiagnosis(g *Group, compressor int) Diagnosis {
	n := len(g.coils)
	return Diagnosis{group: g, compressor: compressor, base: make([]baseline, n), circuitFeatures: make([]circuitDegrees, n), features: make([]degrees, n)}
}

// Common practice, no source.
const (
	gatherEvery = 5 * second
	rankEvery   = 2 * gatherEvery
	// betweenFloodbacks is how long a floodback must have been over for the next
	// to be another. It must not be longer than the time that clears an event.
	betweenFloodbacks = 2 * minute
	shallowWeight     = 0.02 // of an instant at the floor; one at dew has 1 more
	minWeight         = 0.5  // of a diagnosis that is remembered
	stillDeep         = 0.7  // share of the deepest instant's weight from which reasons are renewed
	enoughPast        = 6    // summaries of a coil, an hour
)

// Update takes one instant of the floodback and returns the ranking so far; the
// slices are never changed afterwards. liquidAtMost is the share by mass that
// the discharge temperature allows, NaN not known; hunts reports that the
// compressor's superheat oscillates.
func (c *Diagnosis) Update(x *frame.Frame, liquidAtMost float64, hunts bool) (circuits, causes []Ranked) {
	if c.last == 0 || x.At-c.last > betweenFloodbacks || x.At < c.last {
		c.remember()
		c.begin(x)
	}
	c.last = x.At
	if x.At >= c.nextGather {
		c.nextGather = x.At + gatherEvery
		c.gather(x, liquidAtMost, hunts)
	}
	if c.circuits == nil || x.At-c.ranked >= rankEvery {
		c.ranked = x.At
		c.rank()
	}
	return c.circuits, c.causes
}

// begin forgets the floodback before.
func (c *Diagnosis) begin(x *frame.Frame) {
	g, at := c.group, x.At
	ran := nan // without a signal no start is known
	if m := &x.Compressors[c.compressor]; m.Signal == frame.Yes {
		ran = float64(m.RunningFor) / 1e9
	}
	clear(c.circuitFeatures)
	clear(c.features)
	*c = Diagnosis{
		group: g, compressor: c.compressor, base: c.base, circuitFeatures: c.circuitFeatures, features: c.features,
		began: at, minuteAgo: g.highestBefore(c.compressor), recurs: g.beginBout(c.compressor, at),
		ran: ran, starts: g.beginStart(c.compressor, at, ran),
	}
}

// remember enters the diagnosis into the history of its likeliest circuit.
func (c *Diagnosis) remember() {
	if len(c.circuits) == 0 || c.weight < minWeight {
		return
	}
	d := c.own()
	c.group.histories[c.likeliest()].add(c.last, c.circuits[0].Score, &d)
}

// own returns the degrees of this floodback alone, of its likeliest circuit.
func (c *Diagnosis) own() degrees {
	top := c.likeliest()
	if top < 0 {
		return degrees{}
	}
	d := c.features[top]
	for f := range d {
		d[f] /= max(c.weight, 1e-9)
	}
	return d
}

// gather adds the evidence of one instant. A floodback that lasts for hours
// just below the floor and once goes down to dew is judged by the latter.
func (c *Diagnosis) gather(x *frame.Frame, liquidAtMost float64, hunts bool) {
	g := c.group
	superheat, floor := float64(x.Compressors[c.compressor].Inlet.Superheat), float64(x.Compressors[c.compressor].Floor)
	c.superheat.Update(superheat)
	if c.based == 0 || x.At-c.based >= summaryLength && !c.knowsPast() {
		c.based = x.At
		g.lookBack(c.base, x.At)
		c.usualDew, _ = g.past.quantile(x.At, 0.5, groupDew)
		c.usualRun, _ = g.past.quantile(x.At, 0.5, groupRunning)
	}
	depth := 0.0
	if floor > 0 && !math.IsNaN(superheat) {
		depth = filter.Clamp((floor - superheat) / floor)
	}
	w := shallowWeight + depth*depth
	c.weight += w
	c.newest = w
	for i := range g.coils {
		d := g.circuitDegrees(i, &c.base[i], c.began)
		for f := range d {
			c.circuitFeatures[i][f] += w * d[f]
		}
	}
	top := c.likeliest()
	for i := range g.coils {
		v := g.extract(i, x, c, liquidAtMost, hunts)
		d := v.degrees()
		for f := range d {
			c.features[i][f] += w * d[f]
		}
		if i == top && w >= c.deepest {
			c.deepest, c.outletMeasured = w, v.outlet
		}
	}
}

// knowsPast reports whether enough was seen before this floodback; else what is
// seen during it has to do.
func (c *Diagnosis) knowsPast() bool {
	for i := range c.base {
		if c.base[i].summaries < enoughPast && c.group.coils[i].measured {
			return false
		}
	}
	return true
}

// likeliest returns the index of the likeliest circuit; −1 when there is none.
func (c *Diagnosis) likeliest() int {
	best := -1
	most := 0.0
	for i := range c.circuitFeatures {
		if odds := c.circuitFeatures[i].logOdds(); best < 0 || odds > most {
			best, most = i, odds
		}
	}
	return best
}

// rank puts circuits and causes into order, with their reasons.
func (c *Diagnosis) rank() {
	g, w := c.group, max(c.weight, 1e-9)
	c.circuits = make([]Ranked, 0, len(g.coils))
	if c.why == nil || c.newest >= stillDeep*c.deepest {
		c.why = make([][]evidence.Item, len(g.coils))
		for i := range c.why {
			c.why[i] = g.circuitReasons(i, &c.base[i])
		}
	}
	for i := range g.coils {
		c.circuits = append(c.circuits, Ranked{g.coils[i].name, math.Exp(c.circuitFeatures[i].logOdds() / w), c.why[i]})
	}
	normalize(c.circuits)
	own := c.own()
	all := own
	if top := c.likeliest(); top >= 0 {
		all = g.histories[top].blend(own)
	}
	c.causes = score(&all, &own, c.outletMeasured)
}

// normalize scales scores to a sum of 1 and sorts them, highest first.
func normalize(r []Ranked) {
	total := 0.0
	for i := range r {
		total += r[i].Score
	}
	for i := range r {
		r[i].Score /= total
	}
	slices.SortStableFunc(r, func(a, b Ranked) int { return cmp.Compare(b.Score, a.Score) })
}
