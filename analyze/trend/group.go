// Package trend finds slow changes before they flood: it keeps one value a day
// of what shows them best (lowest superheat after defrosts, air above dew,
// length and peak of defrosts and others), draws a robust line through the days
// and gives notice when the line reaches its limit within a week.
//
// It may import the standard library's pure packages, evidence, filter, frame,
// reading and units. It must never import a package that detects. Time comes
// with the frames; memory is bounded by the days kept.
package trend

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

const dayNS = int64(24 * 3600e9)

// Common practice, no source.
const (
	interval     = int64(30e9)   // ns between two values of what runs steadily
	afterDefrost = int64(1800e9) // ns after a defrost in which a lowest superheat belongs to it
	superheatTau = 10.0          // s
	maxStep      = int64(60e9)   // ns that a superheat counts for
)

// Group follows the trends of one suction group. It is not safe for concurrent
// use.
type Group struct {
	name        string
	circuits    []circuit
	compressors []compressor
	next        int64
	floor       float64 // of pulldown, K
	notices     []Notice
	renewed     bool // since the last Observe
	takenUp     bool // days of an earlier run wait to be judged
}

type circuit struct {
	name   string
	series [InPulldown]series
	low    float64 // lowest superheat in the present pulldown, K; NaN when there was none
	stage  frame.Stage
}

type compressor struct {
	name      string
	series    [QuantityCount - InPulldown]series
	superheat filter.LowPass // K; reset while it is not running, not known or not to be believed
	low       float64        // lowest in the present pulldown, K
	phase     frame.Phase
}

// steady reports that a compressor runs steadily and its superheat is known.
func (c *compressor) steady() bool { return c.phase == frame.Steady && c.superheat.Known() }

// NewGroup returns the tracker of a group. floor is that of pulldown.
func NewGroup(name string, circuits, compressors []string, floor units.Kelvin) *Group {
	g := &Group{name: name, floor: float64(floor)}
	for _, name := range circuits {
		g.circuits = append(g.circuits, circuit{name: name, low: math.NaN()})
	}
	for _, name := range compressors {
		g.compressors = append(g.compressors, compressor{name: name, low: math.NaN()})
	}
	return g
}

// Notices returns the trends that reach their limit within a week. The slice is
// never changed; a later one may take its place.
func (g *Group) Notices() []Notice { return g.notices }

// Observe takes the group's frame after phase has written its part, and reports
// whether the notices were renewed since the last time. It allocates only when
// a day ends.
func (g *Group) Observe(x *frame.Frame) (renewed bool) {
	low := math.NaN()
	for i := range g.compressors {
		g.compressor(i, x)
		low = lesser(low, g.compressors[i].superheat.Value())
	}
	due := x.At >= g.next || g.next-x.At > interval
	if due {
		g.next = x.At + interval
	}
	for i := range g.circuits {
		g.circuit(i, x, low, due)
	}
	if due {
		g.twins(x.At)
	}
	if g.takenUp {
		g.takenUp = false
		g.renew()
	}
	renewed, g.renewed = g.renewed, false
	return renewed
}

// compressor follows one compressor.
func (g *Group) compressor(i int, x *frame.Frame) {
	c, y := &g.compressors[i], &x.Compressors[i]
	running := y.Phase == frame.Steady || y.Phase == frame.Pulldown || y.Phase == frame.Defrost
	if !running || y.Inlet.Quality != reading.Good || math.IsNaN(float64(y.Inlet.Superheat)) {
		c.superheat.Reset()
	} else {
		c.superheat.Update(float64(y.Inlet.Superheat), min(x.Step, maxStep), superheatTau)
	}
	switch {
	case y.Phase == frame.Pulldown:
		c.low = lesser(c.low, c.superheat.Value())
	case c.phase == frame.Pulldown && !math.IsNaN(c.low):
		g.enterFor(i, InPulldown, x.At, c.low)
		c.low = math.NaN()
	}
	c.phase = y.Phase
}

// circuit follows one circuit. low is the lowest superheat of the compressors.
func (g *Group) circuit(i int, x *frame.Frame, low float64, due bool) {
	c, y := &g.circuits[i], &x.Circuits[i]
	run := &y.Last
	sinceDefrost := x.At - run.Resumed
	inPulldown := y.Stage == frame.PullingDown ||
		y.Stage == frame.Refrigerating && run.Resumed != 0 && sinceDefrost >= 0 && sinceDefrost < afterDefrost
	switch {
	case inPulldown:
		c.low = lesser(c.low, low)
	case !math.IsNaN(c.low):
		g.enter(i, AfterDefrost, x.At, c.low)
		c.low = math.NaN()
	}
	if c.stage == frame.Defrosting && y.Stage != frame.Defrosting && run.Ended > run.Began && run.Began != 0 {
		g.enter(i, DefrostLength, x.At, float64(run.Ended-run.Began)/1e9)
		g.enter(i, DefrostPeak, x.At, float64(run.Peak))
		if !math.IsNaN(float64(run.Peak)) {
			g.enter(i, Plateau, x.At, run.Plateau)
		}
	}
	c.stage = y.Stage
	if due && y.Stage == frame.Refrigerating && !inPulldown && g.anySteady() {
		g.enter(i, Outlet, x.At, float64(y.CoilOutlet-x.Dew))
		g.enter(i, AirOverDew, x.At, float64(y.Air-x.Dew))
	}
}

func (g *Group) anySteady() bool {
	for i := range g.compressors {
		if g.compressors[i].steady() {
			return true
		}
	}
	return false
}

// twins compares each steady compressor with the mean of the others that run.
func (g *Group) twins(at int64) {
	sum, n := 0.0, 0
	for i := range g.compressors {
		if c := &g.compressors[i]; c.steady() {
			sum += c.superheat.Value()
			n++
		}
	}
	if n < 2 {
		return
	}
	for i := range g.compressors {
		if c := &g.compressors[i]; c.steady() {
			v := c.superheat.Value()
			g.enterFor(i, AgainstTwins, at, v-(sum-v)/float64(n-1))
		}
	}
}

func (g *Group) enter(i int, q Quantity, at int64, v float64) {
	if g.circuits[i].series[q].take(float64(at/dayNS), v, specs[q].fold) {
		g.renew()
	}
}

func (g *Group) enterFor(i int, q Quantity, at int64, v float64) {
	if g.compressors[i].series[q-InPulldown].take(float64(at/dayNS), v, specs[q].fold) {
		g.renew()
	}
}

// renew judges all lines: a day has ended.
func (g *Group) renew() {
	var list []Notice
	g.each(func(s *series, q Quantity, of Of) {
		l, days, ok := s.line()
		if !ok {
			return
		}
		if n, ok := judge(q, l, days, g.floor); ok {
			n.Group, n.Circuit, n.Compressor = of.Group, of.Circuit, of.Compressor
			list = append(list, n)
		}
	})
	g.notices, g.renewed = list, true
}

// each visits every series.
func (g *Group) each(visit func(s *series, q Quantity, of Of)) {
	for i := range g.circuits {
		for q := range InPulldown {
			visit(&g.circuits[i].series[q], q, Of{Group: g.name, Circuit: g.circuits[i].name, Quantity: q.Code()})
		}
	}
	for i := range g.compressors {
		for q := InPulldown; q < QuantityCount; q++ {
			visit(&g.compressors[i].series[q-InPulldown], q, Of{Group: g.name, Compressor: g.compressors[i].name, Quantity: q.Code()})
		}
	}
}

// lesser returns the smaller one that is known.
func lesser(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}
