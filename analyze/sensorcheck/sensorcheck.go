// Package sensorcheck finds inputs that cannot be right, from what their
// neighbours, the state of the machine and physics show. It never corrects a
// value: it marks the input as suspect, with evidence of what is wrong and of
// the misconfiguration that would explain it.
//
// It may import the standard library's pure packages, units, reading, evidence,
// filter, frame, superheat and refrigerant. It must never import a clock, I/O or
// a package that judges events: time comes with the frames.
package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// bias is which way an input is believed to be wrong.
type bias = superheat.Bias

// Anomaly is one standing reason to mistrust an input. Inputs that fail
// outright (open, short, out of range, sentinel) are bad by superheat.Signal.
type Anomaly struct {
	Code    evidence.Code
	Point   int            // index of the input in the site's points
	Since   int64          // ns of event time
	Bias    superheat.Bias // which way the input is believed to be wrong
	Message *evidence.Item // what is wrong, what would explain it, what to check
	// Conclusive reports that the input cannot ever have been right: what was
	// found with it before is as wrong.
	Conclusive bool
}

// describe sets the message: the values of the anomaly and what explains it.
func (a *Anomaly) describe(values []evidence.Value, explanation ...evidence.Value) {
	message := evidence.New(a.Code, append(values, explanation...)...)
	a.Message = &message
}

// Input is one input; one without a Signal does not exist.
type Input struct {
	Point  int
	Signal *superheat.Signal
	Unit   units.Unit // that the site file reads it in; zero where not known
}

// Compressor is what exists of one compressor's inputs. Pressure is the
// suction pressure that its superheat is taken with.
type Compressor struct{ Pressure, Temperature, Discharge, Sump Input }

// Circuit is what exists of one circuit's inputs.
type Circuit struct{ CoilOutlet, CoilInlet, Air Input }

// Fluid is what the checks need of a refrigerant.
type Fluid interface {
	Dew(units.Pascal) (units.Celsius, error)
	Bubble(units.Pascal) (units.Celsius, error)
	DewPressure(units.Celsius) (units.Pascal, error)
}

// Group is what the checker of one suction group looks at.
type Group struct {
	Fluid             Fluid
	Atmosphere        units.Pascal // pressure of the air that gauge readings were added to
	DischargePressure Input
	Compressors       []Compressor
	Circuits          []Circuit
}

// The checks judge minutes: to run them at every row would be a waste. Rows
// further apart are all judged. What is wrong at an instant (steps, lines colder
// than wet gas) is looked for at the quick pace.
const (
	quickPace = int64(10 * time.Second)
	slowPace  = int64(time.Minute)
)

// isQuick reports whether an anomaly belongs to the checks of the quick pace.
func isQuick(code evidence.Code) bool {
	switch code {
	case evidence.Moved, evidence.PressureStepped, evidence.BelowSaturation, evidence.AllBelowSaturation, evidence.DischargeBelowSuction,
		evidence.Misconfigured, evidence.PressureMisconfigured, evidence.DoesNotRespond:
		return true
	}
	return false
}

// IsCertain reports whether an anomaly needs no time to be sure of: the reading
// cannot be.
func IsCertain(code evidence.Code) bool {
	return code == evidence.Misconfigured || code == evidence.PressureMisconfigured
}

// Checker looks after one suction group.
type Checker struct {
	group    Group
	glide    float64 // K, the largest at usual suction; 0 for a pure fluid
	vapour   Vapour  // nil where the refrigerant has no such table
	standing []Anomaly
	next     []Anomaly // of this row, until it becomes standing

	inputs        []input        // every analogue input
	lineSteps     []lineStep     // of every suction line
	pressureSteps []pressureStep // of every suction pressure
	responses     []response     // of every suction pressure
	turns         turns
	compressors   []compressor
	drifts        []drift
	coils         coilMeans
	standstill    standstill
	plateau       plateau
	reversed      timer
	ledger        ledger

	defrosting []bool
	changed    int64 // ns; last time a compressor started or stopped, or a defrost began or ended
	last       int64 // ns; of the quick checks
	slowLast   int64 // ns; of the slow checks
	watched    int64 // ns watched since the last quick checks
	slowWatch  int64 // ns watched since the last slow checks
	begun      bool

	after, others []float64 // scratch
}

// compressor is what is followed of one compressor.
type compressor struct {
	running bool
	turned  int64          // ns; last start or stop
	dew     filter.LowPass // °C; of two minutes
	wet     timer          // below wet gas of any quality
	deep    timer          // below dew by more than the uncertainty, within the glide
	stopped timer          // with all others
	ambient timer          // runs, while its line reads as the room does
	apart   timer          // its pressure is away from the others'
	vacuum  timer          // runs deeper than such plants run
	work    work

	on       frame.Tristate // as signals or sure inference have it
	onSince  int64          // ns
	turnSeen bool           // the change at onSince was seen
}

// New returns the checker of a group.
func New(g Group) *Checker {
	c := &Checker{group: g, glide: glideOf(g.Fluid)}
	c.compressors, c.defrosting = make([]compressor, len(g.Compressors)), make([]bool, len(g.Circuits))
	seen := map[*superheat.Signal]bool{}
	add := func(in Input, kind inputKind, compressor int) {
		if in.Signal == nil || seen[in.Signal] {
			return
		}
		seen[in.Signal] = true
		c.inputs = append(c.inputs, input{Input: in, kind: kind, compressor: compressor})
		switch kind {
		case suctionLine:
			c.lineSteps = append(c.lineSteps, lineStep{in: in, compressor: compressor})
		case suctionPressure:
			c.pressureSteps = append(c.pressureSteps, pressureStep{in: in})
			c.responses = append(c.responses, response{in: in})
		}
	}
	for i, k := range g.Compressors {
		add(k.Pressure, suctionPressure, anyCompressor)
		add(k.Temperature, suctionLine, i)
		add(k.Discharge, discharge, i)
		add(k.Sump, sump, i)
	}
	add(g.DischargePressure, dischargePressure, anyCompressor)
	for _, k := range g.Circuits {
		add(k.CoilOutlet, coil, anyCompressor)
		add(k.CoilInlet, coilInlet, anyCompressor)
		add(k.Air, air, anyCompressor)
	}
	c.turns.previous, c.turns.before = make([]float64, 2*len(g.Compressors)+1), make([]float64, 2*len(g.Compressors)+1)
	c.drifts = newDrifts(g)
	c.vapour, _ = g.Fluid.(Vapour)
	c.coils.reset(len(g.Circuits))
	c.newLedger()
	return c
}

// glideOf returns the largest glide at usual suction, in K.
func glideOf(fluid Fluid) (most float64) {
	for t := units.Celsius(-40); t <= 0 && fluid != nil; t += 10 {
		if p, err := fluid.DewPressure(t); err == nil {
			if bubble, err := fluid.Bubble(p); err == nil {
				most = max(most, float64(t.Above(bubble)))
			}
		}
	}
	return most
}

// Observe takes the next frame, phases filled in, and returns the standing
// anomalies; the slice is valid until the next call. It marks the inputs
// concerned as suspect, and clears them when nothing is held against them.
func (c *Checker) Observe(x *frame.Frame) []Anomaly {
	c.watched += x.Step
	c.slowWatch += x.Step
	if c.begun && x.At-c.last < quickPace {
		return c.standing
	}
	slow := !c.begun || x.At-c.slowLast >= slowPace
	c.begun, c.last = true, x.At
	c.noteChanges(x)
	c.followNoise(x)
	c.next = c.next[:0]
	c.checkLineSteps(x)
	c.checkPressureSteps(x)
	c.checkSaturation(x, c.watched)
	c.checkReversed(x, c.watched)
	c.checkLedger(x, c.watched, slow)
	c.watched = 0
	if slow {
		dt := c.slowWatch
		c.slowLast, c.slowWatch = x.At, 0
		c.checkFrozen(x, dt)
		c.checkDrift(x, dt)
		c.checkAmbient(x, dt)
		c.checkWork(x, dt)
		c.checkCoils(x, dt)
		c.checkStandstill(x, dt)
		c.checkPlateau(x, dt)
		c.checkTwins(x, dt)
		c.checkNoise(x, dt)
		c.checkDepth(x, dt)
	} else {
		for i := range c.standing {
			if !isQuick(c.standing[i].Code) {
				c.next = append(c.next, c.standing[i])
			}
		}
	}
	c.checkResponse(x)
	c.publish()
	return c.standing
}

// noteChanges notes when a compressor starts or stops, a defrost begins or ends.
func (c *Checker) noteChanges(x *frame.Frame) {
	for i := range x.Compressors {
		if on := runs(x.Compressors[i].Phase); on != c.compressors[i].running {
			c.compressors[i].running, c.changed, c.compressors[i].turned = on, x.At, x.At
		}
	}
	for i := range x.Circuits {
		if d := isDefrosting(&x.Circuits[i]); d != c.defrosting[i] {
			c.defrosting[i], c.changed = d, x.At
		}
	}
}

// raise keeps an anomaly standing, or begins it. It returns the anomaly only
// where it begins, to be described; nil where it stands, and where a guess would
// begin against a pressure that does not respond.
func (c *Checker) raise(code evidence.Code, point int, b bias, from int64) *Anomaly {
	if find(c.next, code, point) != nil {
		return nil
	}
	if a := find(c.standing, code, point); a != nil {
		c.next = append(c.next, *a)
		return nil
	}
	if guessesPressure(code) && c.isMute(point) {
		return nil
	}
	c.next = append(c.next, Anomaly{Code: code, Point: point, Bias: b, Since: from})
	return &c.next[len(c.next)-1]
}

// retain keeps an anomaly standing that stands already.
func (c *Checker) retain(code evidence.Code, point int) {
	if a := find(c.standing, code, point); a != nil && find(c.next, code, point) == nil {
		c.next = append(c.next, *a)
	}
}

// find returns the anomaly of that code and input; nil where there is none.
func find(list []Anomaly, code evidence.Code, point int) *Anomaly {
	for i := range list {
		if list[i].Code == code && list[i].Point == point {
			return &list[i]
		}
	}
	return nil
}

// publish makes the anomalies of this row the standing ones and marks the
// signals.
func (c *Checker) publish() {
	c.standing, c.next = c.next, c.standing
	if len(c.standing)+len(c.next) == 0 {
		return
	}
	for i := range c.inputs {
		in := &c.inputs[i].Input
		message, b := (*evidence.Item)(nil), bias(0)
		for j := range c.standing {
			a := &c.standing[j]
			switch {
			case a.Point != in.Point:
			case message == nil:
				message, b = a.Message, a.Bias
			case b != a.Bias:
				b = 0 // they contradict each other
			}
		}
		in.Signal.Doubt(message, b)
	}
}

// Disproves returns what shows that a superheat of the two inputs has read too
// low for as long as they have been read, so that no floodback found with it was
// one; nil where nothing does.
func (c *Checker) Disproves(pressure, line int) *evidence.Item {
	for i := range c.standing {
		a := &c.standing[i]
		if a.Conclusive && (a.Point == pressure && a.Bias == superheat.ReadsHigh || a.Point == line && a.Bias == superheat.ReadsLow) {
			return a.Message
		}
	}
	return nil
}

// suspect reports whether an anomaly stands against an input.
func (c *Checker) suspect(point int) bool {
	for i := range c.standing {
		if c.standing[i].Point == point {
			return true
		}
	}
	return false
}

// timer counts how long a condition has held, in ns of watched time.
type timer struct{ held int64 }

func (t *timer) update(holds bool, dt int64) time.Duration {
	if !holds {
		t.held = 0
	} else {
		t.held += dt
	}
	return time.Duration(t.held)
}

// known returns what an input reads, suspect or not.
func known(in Input, at int64) (float64, bool) {
	v, q, _ := in.Signal.Now(at)
	return v, q == reading.Good || q == reading.Suspect
}

// biasOf returns which way a reading is wrong that is off by error.
func biasOf(error float64) bias {
	if error < 0 {
		return superheat.ReadsLow
	}
	return superheat.ReadsHigh
}

func isKnown(x float64) bool { return !math.IsNaN(x) }
