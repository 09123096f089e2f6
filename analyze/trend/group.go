package trend

import (
	"math"

	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
)

const (
	tick    = int64(30e9) // ns between two looks at what runs steadily
	dayNS   = int64(24 * 3600e9)
	soonest = int64(1800e9) // ns after a defrost in which a lowest superheat belongs to it
)

// Group follows the trends of one suction group. It is not safe for concurrent
// use.
type Group struct {
	name     string
	circuits []circuit
	machines []machine
	names    names
	next     int64
	floor    float64
	notices  []Notice
	renewed  bool // since the last Observe
	takenUp  bool // days of an earlier run wait to be judged
}

type names struct{ circuits, compressors []string }

type circuit struct {
	series [InPulldown]series
	low    float64 // lowest superheat in the present pulldown; NaN when there was none
	stage  phase.Stage
}

type machine struct {
	series   [QuantityCount - InPulldown]series
	fast     float64 // superheat over ten seconds; NaN not known
	low      float64 // lowest in the present pulldown
	phase    phase.Phase
	usable   bool
	steady   bool
	observed int64
}

// Compressor is what one compressor shows at an instant.
type Compressor struct {
	Phase     phase.Phase
	Superheat float64 // K; NaN when not known or not to be believed
	Floor     float64 // K, of pulldown
}

// NewGroup returns the tracker of a group.
func NewGroup(name string, circuits, compressors []string) *Group {
	g := &Group{name: name, names: names{circuits, compressors}, floor: math.NaN()}
	g.circuits = make([]circuit, len(circuits))
	for i := range g.circuits {
		g.circuits[i].low = math.NaN()
	}
	g.machines = make([]machine, len(compressors))
	for i := range g.machines {
		g.machines[i].fast, g.machines[i].low = math.NaN(), math.NaN()
	}
	return g
}

// Notices returns what the trends say. The slice is never changed; a later one
// may take its place.
func (g *Group) Notices() []Notice { return g.notices }

// Compressor takes what compressor i shows at an instant. Call it for each
// before Observe.
func (g *Group) Compressor(i int, at int64, x Compressor) {
	m := &g.machines[i]
	dt := min(max(float64(at-m.observed)*1e-9, 0), 60)
	m.observed = at
	m.steady = x.Phase == phase.Steady
	running := m.steady || x.Phase == phase.Pulldown || x.Phase == phase.Defrost
	if !running || math.IsNaN(x.Superheat) {
		m.fast, m.usable = math.NaN(), false
	} else if m.usable = true; math.IsNaN(m.fast) {
		m.fast = x.Superheat
	} else {
		m.fast += (x.Superheat - m.fast) * dt / (10 + dt)
	}
	g.floor = x.Floor
	switch {
	case x.Phase == phase.Pulldown:
		m.low = lesser(m.low, m.fast)
	case m.phase == phase.Pulldown && !math.IsNaN(m.low):
		g.enterFor(i, InPulldown, at, m.low)
		m.low = math.NaN()
	}
	m.phase = x.Phase
}

// Observe takes the group's sample after phases have seen it, and tells whether
// the notices were renewed since the last time. It allocates only when a day
// ends.
func (g *Group) Observe(x *frame.Frame, p *phase.Group) (renewed bool) {
	low := math.NaN()
	for i := range g.machines {
		if g.machines[i].usable {
			low = lesser(low, g.machines[i].fast)
		}
	}
	look := x.At >= g.next || g.next-x.At > tick
	if look {
		g.next = x.At + tick
	}
	for i := range g.circuits {
		g.circuit(i, x, &p.Circuits[i], low, look)
	}
	if look {
		g.twins(x.At)
	}
	if g.takenUp {
		g.takenUp = false
		g.renew()
	}
	renewed, g.renewed = g.renewed, false
	return renewed
}

// circuit follows one circuit.
func (g *Group) circuit(i int, x *frame.Frame, from *phase.Circuit, low float64, look bool) {
	c := &g.circuits[i]
	stage, _ := from.Stage()
	e := &from.Last
	inPulldown := stage == phase.PullingDown || e.Resumed != 0 && x.At-e.Resumed >= 0 && x.At-e.Resumed < soonest && stage == phase.Refrigerating
	switch {
	case inPulldown:
		c.low = lesser(c.low, low)
	case !math.IsNaN(c.low):
		g.enter(i, AfterDefrost, x.At, c.low)
		c.low = math.NaN()
	}
	if c.stage == phase.Defrosting && stage != phase.Defrosting && e.Ended > e.Began && e.Began != 0 {
		g.enter(i, DefrostLength, x.At, float64(e.Ended-e.Began)/1e9)
		g.enter(i, DefrostPeak, x.At, float64(e.Peak))
		if !math.IsNaN(float64(e.Peak)) {
			g.enter(i, Plateau, x.At, e.Plateau)
		}
	}
	c.stage = stage
	if look && stage == phase.Refrigerating && !inPulldown && g.anySteady() {
		g.enter(i, Outlet, x.At, float64(x.Circuits[i].CoilOutlet-x.Dew))
		g.enter(i, AirOverDew, x.At, float64(x.Circuits[i].Air-x.Dew))
	}
}

func (g *Group) anySteady() bool {
	for i := range g.machines {
		if g.machines[i].usable && g.machines[i].steady {
			return true
		}
	}
	return false
}

// twins compares each steady compressor with the mean of the others that run.
func (g *Group) twins(at int64) {
	sum, n := 0.0, 0
	for i := range g.machines {
		if m := &g.machines[i]; m.usable && m.steady {
			sum += m.fast
			n++
		}
	}
	if n < 2 {
		return
	}
	for i := range g.machines {
		if m := &g.machines[i]; m.usable && m.steady {
			g.enterFor(i, AgainstTwins, at, m.fast-(sum-m.fast)/float64(n-1))
		}
	}
}

func (g *Group) enter(i int, q Quantity, at int64, v float64) {
	if g.circuits[i].series[q].take(float64(at/dayNS), v, specs[q].fold) {
		g.renew()
	}
}

func (g *Group) enterFor(i int, q Quantity, at int64, v float64) {
	if g.machines[i].series[q-InPulldown].take(float64(at/dayNS), v, specs[q].fold) {
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
			visit(&g.circuits[i].series[q], q, Of{Group: g.name, Circuit: g.names.circuits[i], Quantity: q.Code()})
		}
	}
	for i := range g.machines {
		for q := InPulldown; q < QuantityCount; q++ {
			visit(&g.machines[i].series[q-InPulldown], q, Of{Group: g.name, Compressor: g.names.compressors[i], Quantity: q.Code()})
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
