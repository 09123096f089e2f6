package sensorcheck

import (
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
)

// When a mistake is named. Common practice, no source, where nothing else is
// stated.
const (
	ledgerMemory   = int64(30 * time.Minute) // behind the mean violations
	refutedAfter   = int64(3 * time.Minute)  // of impossible readings with the mistake put right
	maxRight       = 0.5                     // violations that remain with the mistake put right
	minWrong       = 1.0                     // violations of the reading as it is
	minGain        = 0.7                     // by which the mistake put right is better
	namedShare     = 0.5                     // of the likelihood of all mistakes that explain the reading
	softHold       = int64(10 * time.Minute) // where nothing is impossible, only unusual
	impossibleHold = int64(20 * time.Second)
	trustAfter     = int64(time.Hour)
	circuitHold    = int64(50 * time.Second)
	veryWrong      = 1.6 // violations that need no more than softHoldSoon
	softHoldSoon   = int64(2 * time.Minute)
	perViolation   = 3.0                    // log-likelihood that one violation costs
	lineHold       = int64(3 * time.Minute) // a slow clamp is late by as much
	ledgerForgives = 0.2                    // mean violation of an input that is right
)

// ledger follows every mistake about every input of a group.
type ledger struct {
	targets           []target
	hypotheses        []hypothesis
	now, fixed, tried quantities
	open              []doubt // by target
	named             []Misconfiguration
	heated            []bool  // of each circuit
	heatedAt          []int64 // ns; when that changed last; 0: never
	disturbed         int64   // ns; last start, stop, begin or end of a defrost that was seen; 0: none
}

// doubt is what is held against one target.
type doubt struct {
	impossible bool  // some law cannot hold with the value as it is read
	fine       int64 // ns of running in which it was as usual
	trusted    bool  // it was right before: a unit cannot become wrong
	held       int64 // ns of being impossible
	unusual    int64 // ns for which its violations have been as many as something impossible
	named      int   // position of the hypothesis that is named; −1: none
}

// isClosed reports whether nothing can be named of an input any more: it was right
// for long enough.
func (d *doubt) isClosed() bool { return d.trusted && d.named < 0 }

// closed reports whether that holds for all inputs.
func (l *ledger) closed() bool {
	for i := range l.open {
		if !l.open[i].isClosed() {
			return false
		}
	}
	return true
}

// isDoubtful reports whether an input has been impossible or unusual for long
// enough to name a mistake.
//
// A circuit may be shut by its thermostat without a signal: what its coil and
// its air read counts only where it is impossible for long.
func (d *doubt) isDoubtful(k inputKind) bool {
	if k == coil || k == coilInlet || k == air {
		return d.held >= circuitHold
	}
	if k == suctionLine {
		return d.held >= lineHold || d.unusual >= softHold
	}
	return d.held >= impossibleHold || d.unusual >= softHold
}

func (c *Checker) newLedger() {
	l := &c.ledger
	g := &c.group
	seen := map[*superheat.Signal]bool{}
	add := func(in Input, kind inputKind, index int) {
		if in.Signal == nil || seen[in.Signal] {
			return
		}
		seen[in.Signal] = true
		l.targets = append(l.targets, target{point: in.Point, kind: kind, index: index, in: in})
	}
	shared := len(g.Compressors) > 1
	for i := range g.Compressors {
		for j := range g.Compressors {
			shared = shared && g.Compressors[i].Pressure.Signal == g.Compressors[j].Pressure.Signal
		}
	}
	for i := range g.Compressors {
		index := i
		if shared {
			index = anyCompressor
		}
		add(g.Compressors[i].Pressure, suctionPressure, index)
		add(g.Compressors[i].Temperature, suctionLine, i)
		add(g.Compressors[i].Discharge, discharge, i)
	}
	add(g.DischargePressure, dischargePressure, anyCompressor)
	for i := range g.Circuits {
		add(g.Circuits[i].CoilOutlet, coil, i)
		add(g.Circuits[i].CoilInlet, coilInlet, i)
		add(g.Circuits[i].Air, air, i)
	}
	for i, t := range l.targets {
		mistakes := temperatureMistakes(t.in.Unit)
		if t.kind == suctionPressure || t.kind == dischargePressure {
			mistakes = pressureMistakes(t.in.Unit, g.Atmosphere)
		}
		for j, other := range l.targets {
			if code := exchange(t, other); code != "" && i != j {
				mistakes = append(mistakes, mistake{code: code, other: j, prior: rarerMistake})
			}
		}
		for _, m := range mistakes {
			if m.code == evidence.SignLost && t.kind == suctionLine {
				continue // a warm line behind a slow clamp looks the same
			}
			l.hypotheses = append(l.hypotheses, hypothesis{mistake: m, target: t})
		}
	}
	l.heated, l.heatedAt = make([]bool, len(g.Circuits)), make([]int64, len(g.Circuits))
	l.open = make([]doubt, len(l.targets))
	for i := range l.open {
		l.open[i].named = -1
	}
	l.now, l.fixed, l.tried = newQuantities(g), newQuantities(g), newQuantities(g)
}

// exchange returns the code of two inputs whose places were exchanged; empty
// where that is no usual mistake.
func exchange(a, b target) evidence.Code {
	switch {
	case a.kind == suctionPressure && b.kind == dischargePressure, a.kind == dischargePressure && b.kind == suctionPressure:
		return evidence.PressuresExchanged
	case a.kind == suctionLine && b.kind == discharge && a.index == b.index, a.kind == discharge && b.kind == suctionLine && a.index == b.index:
		return evidence.LineAndDischargeExchanged
	case a.kind == coil && b.kind == air && a.index == b.index, a.kind == air && b.kind == coil && a.index == b.index:
		return evidence.CoilAndAirExchanged
	}
	return ""
}

func newQuantities(g *Group) quantities {
	n, m := len(g.Compressors), len(g.Circuits)
	list := func(n int) []float64 { return make([]float64, n) }
	return quantities{
		suction: list(n), line: list(n), hot: list(n), sump: list(n), slack: list(n), state: make([]machineState, n),
		outlet: list(m), inlet: list(m), air: list(m), cold: make([]bool, m), heated: make([]bool, m),
	}
}

// copyFrom makes q what other is.
func (q *quantities) copyFrom(other *quantities) {
	for _, pair := range [...][2][]float64{{q.suction, other.suction}, {q.line, other.line}, {q.hot, other.hot}, {q.sump, other.sump},
		{q.slack, other.slack}, {q.outlet, other.outlet}, {q.inlet, other.inlet}, {q.air, other.air}} {
		copy(pair[0], pair[1])
	}
	copy(q.state, other.state)
	copy(q.cold, other.cold)
	copy(q.heated, other.heated)
	q.high, q.ambient, q.stood, q.equal = other.high, other.ambient, other.stood, other.equal
}

// of returns what a target reads.
func (q *quantities) of(t target) float64 {
	return *q.at(t, max(t.index, 0))
}

// at returns where a target's quantity is kept, of the compressor or circuit i.
func (q *quantities) at(t target, i int) *float64 {
	switch t.kind {
	case suctionPressure:
		return &q.suction[i]
	case dischargePressure:
		return &q.high
	case suctionLine:
		return &q.line[i]
	case discharge:
		return &q.hot[i]
	case coil:
		return &q.outlet[i]
	case coilInlet:
		return &q.inlet[i]
	}
	return &q.air[i]
}

// set writes what a target would read.
func (q *quantities) set(t target, v float64) {
	if t.kind == suctionPressure && t.index == anyCompressor {
		for i := range q.suction {
			q.suction[i] = v
		}
		return
	}
	*q.at(t, max(t.index, 0)) = v
}

// checkLedger asks every hypothesis about what is read now, and raises what
// cannot be.
func (c *Checker) checkLedger(x *frame.Frame, dt int64, slow bool) {
	l := &c.ledger
	if l.closed() {
		l.named = l.named[:0]
		return
	}
	c.read(x, &l.now)
	l.putRight()
	wanted := slow
	for i, t := range l.targets {
		d := &l.open[i]
		if d.isClosed() {
			continue
		}
		v := c.judge(l.asRead(i), t)
		if v.laws == 0 {
			continue // nothing is known: what stands remains
		}
		if !d.trusted && v.sum <= ledgerForgives && c.judgedRunning(t) {
			d.fine += dt
			d.trusted = d.fine >= trustAfter
		}
		if d.isClosed() {
			d.impossible, d.held, d.unusual = false, 0, 0
			continue
		}
		d.impossible = v.impossible
		if d.held += dt; !v.impossible {
			d.held = 0
		}
		switch {
		case v.sum >= veryWrong:
			d.unusual += softHold / softHoldSoon * dt
			wanted = true
		case v.impossible || v.sum >= minWrong:
			d.unusual += dt
			wanted = true
		default:
			d.unusual = max(d.unusual-dt, 0)
		}
		wanted = wanted || d.named >= 0
	}
	if wanted {
		for i := range l.hypotheses {
			if h := &l.hypotheses[i]; !h.refuted && !l.open[l.position(h.target.point)].isClosed() {
				c.follow(h, dt)
			}
		}
	}
	l.named = l.named[:0]
	for i := range l.targets {
		c.nameMistake(i, x)
	}
	slices.SortStableFunc(l.named, func(a, b Misconfiguration) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		}
		return 0
	})
}

// judgedRunning reports whether a machine runs that a target's input belongs to.
func (c *Checker) judgedRunning(t target) bool {
	q := &c.ledger.now
	switch t.kind {
	case suctionLine, discharge:
		return q.state[t.index].runsNow()
	}
	return slices.ContainsFunc(q.state, machineState.runsNow)
}

// follow enters what is read now as evidence for or against a hypothesis.
func (c *Checker) follow(h *hypothesis, dt int64) {
	l := &c.ledger
	if h.refuted {
		return
	}
	own := l.position(h.target.point)
	asRead := c.judge(l.asRead(own), h.target)
	if asRead.laws == 0 {
		return
	}
	l.tried.copyFrom(&l.fixed)
	if !l.apply(h, &l.tried) {
		h.refuted = h.weight == 0 || isKnown(l.now.of(h.target))
		return
	}
	put := c.judge(&l.tried, h.target)
	if h.remap == nil {
		other := c.judge(&l.tried, l.targets[h.other])
		put.sum, put.impossible = put.sum+other.sum, put.impossible || other.impossible
	}
	if put.impossible {
		if h.against += dt; h.against >= refutedAfter {
			h.refuted = true
		}
	}
	h.weight = min(h.weight+max(dt, 1), ledgerMemory)
	share := float64(max(dt, 1)) / float64(h.weight)
	h.wrong += (asRead.sum - h.wrong) * share
	h.right += (put.sum - h.right) * share
	h.strange += (put.strange - h.strange) * share
}

// position returns the position of the target at a point.
func (l *ledger) position(point int) int {
	return slices.IndexFunc(l.targets, func(t target) bool { return t.point == point })
}

// putRight writes what the inputs read with every mistake that is named put
// right: a mistake about one input shows in the laws of its neighbours, and is
// not theirs.
func (l *ledger) putRight() {
	l.fixed.copyFrom(&l.now)
	for i := range l.open {
		if n := l.open[i].named; n >= 0 {
			l.apply(&l.hypotheses[n], &l.fixed)
		}
	}
}

// apply writes what is read with a mistake put right.
func (l *ledger) apply(h *hypothesis, to *quantities) (ok bool) {
	if h.remap == nil {
		a, b := h.target, l.targets[h.other]
		to.set(a, l.now.of(b))
		to.set(b, l.now.of(a))
		return true
	}
	v := h.remap(l.now.of(h.target))
	if !isKnown(v) {
		return false
	}
	to.set(h.target, v)
	return true
}

// asRead returns what the inputs read with every named mistake put right but
// that about target i.
func (l *ledger) asRead(i int) *quantities {
	n := l.open[i].named
	if n < 0 {
		return &l.fixed
	}
	l.tried.copyFrom(&l.fixed)
	l.tried.set(l.targets[i], l.now.of(l.targets[i]))
	if h := &l.hypotheses[n]; h.remap == nil {
		l.tried.set(l.targets[h.other], l.now.of(l.targets[h.other]))
	}
	return &l.tried
}
