// Package sensorcheck finds sensors that cannot be right, from what their
// neighbours, the machine's state and physics say. It never corrects a value:
// it doubts it, with a sentence that a technician understands.
//
// It may import the standard library's pure packages, units, reading, phase,
// superheat and refrigerant. No clock, no I/O: time comes with the rows.
package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Code names a suspicion for machines; it is stable. Inputs that fail outright
// (open, short, out of range, sentinel) are bad by superheat.Signal already.
type Code uint8

// The suspicions.
const (
	Frozen                Code = iota + 1 // bit-identical while its neighbours move
	Moved                                 // stepped to another level between two samples and stayed
	BelowSaturation                       // pipe colder than wet gas can be
	DischargeBelowSuction                 // while running
	Drifted                               // no longer agrees with what it used to agree with
	NotAtAmbient                          // stopped for long, and not at the temperature of the room
	LooseClamp                            // reads the room instead of the pipe
	WorkImpossible                        // suction and discharge do not belong together
	CoilsDisagree                         // every coil of the group would be out of order at once
	NotEqualised                          // standing pressure does not belong to the temperatures around it
	TwinsDisagree                         // pressures of one header differ
	Noisy                                 // jumps about
	TooDeep                               // a suction that no such plant runs at
)

var codeNames = [...]string{"", "frozen", "moved", "below-saturation", "discharge-below-suction", "drifted", "not-at-ambient", "loose-clamp", "work-impossible",
	"coils-disagree", "not-equalised", "twins-disagree", "noisy", "too-deep"}

// String returns the stable name of c.
func (c Code) String() string { return codeNames[c] }

// Suspicion is one standing reason to doubt an input.
type Suspicion struct {
	Code  Code
	Point int            // index of the input in the site's points
	Since int64          // ns of event time
	Lean  superheat.Lean // which way the input is believed to be wrong
	Says  *evidence.Item // what it looks like, what to check, the numbers
}

// Input is one input; one without a Signal does not exist.
type Input struct {
	Point  int
	Signal *superheat.Signal
}

// Compressor is what exists of one compressor's inputs. Pressure is the
// suction pressure that its superheat is taken with.
type Compressor struct{ Pressure, Temperature, Discharge, Sump Input }

// Circuit is what exists of one circuit's inputs.
type Circuit struct{ CoilOutlet, Air Input }

// Line is what the checks need of a refrigerant.
type Line interface {
	Dew(units.Pascal) (units.Celsius, error)
	Bubble(units.Pascal) (units.Celsius, error)
	DewPressure(units.Celsius) (units.Pascal, error)
}

// Group is what the checker of one suction group looks at.
type Group struct {
	Line              Line
	Atmosphere        units.Pascal // pressure of the air that gauge readings were added to
	DischargePressure Input
	Compressors       []Compressor
	Circuits          []Circuit
}

// Now is what is known of the group in one row.
type Now struct {
	At         int64             // ns
	Ambient    float64           // °C, of the machine room; NaN when not known
	Phases     []phase.Phase     // of each compressor
	Superheat  []superheat.Value // of each compressor
	Told       []bool            // whether a signal tells of each that it runs
	Defrosting []bool            // of each circuit; nil when not known
}

// The pace of the checks: they judge minutes, so that every row would be a
// waste. Rows further apart are all judged. What is wrong at an instant (steps,
// pipes colder than wet gas) is looked for at the quick pace.
const (
	quickPace = int64(10 * time.Second)
	slowPace  = int64(time.Minute)
)

// quick says of a code that it belongs to the quick checks.
func (c Code) quick() bool {
	return c == Moved || c == BelowSaturation || c == DischargeBelowSuction
}

// Checker looks after one suction group.
type Checker struct {
	group    Group
	standing []Suspicion
	next     []Suspicion
	inputs   []frozen  // each analogue input
	moved    []moved   // each pipe
	shifts   []shifted // each suction pressure
	machines []machine // each compressor
	drifts   []drift
	coils    coilWatch
	rest     restWatch
	reversed since
	vapour   Vapour  // nil where the refrigerant has no such table
	glide    float64 // K, the largest at usual suction; 0 for a pure fluid

	frosting []bool
	changed  int64 // ns; last time a compressor started or stopped, or a defrost began or ended
	last     int64
	slowLast int64
	begun    bool

	after, others []float64 // scratch
}

// machine is what is followed of one compressor.
type machine struct {
	running   bool
	turned    int64 // ns; last start or stop
	dew       mean
	wet, deep since // below saturation, and far below it
	off, room since // standing; reading as the room does
	twin      since // pressure away from the others'
	vacuum    since // running deeper than such plants run
	work      work
}

// New returns the checker of a group.
func New(g Group) *Checker {
	c := &Checker{group: g, glide: glideOf(g.Line)}
	c.machines, c.frosting = make([]machine, len(g.Compressors)), make([]bool, len(g.Circuits))
	seen := map[*superheat.Signal]bool{}
	add := func(in Input, kind inputKind, compressor int) {
		if in.Signal == nil || seen[in.Signal] {
			return
		}
		seen[in.Signal] = true
		c.inputs = append(c.inputs, frozen{in: in, kind: kind, compressor: compressor})
		switch {
		case kind == pipe:
			c.moved = append(c.moved, moved{in: in, compressor: compressor})
		case kind == pressure && in.Signal != g.DischargePressure.Signal:
			c.shifts = append(c.shifts, shifted{in: in})
		}
	}
	for i, k := range g.Compressors {
		add(k.Pressure, pressure, -1)
		add(k.Temperature, pipe, i)
		add(k.Discharge, discharge, i)
		add(k.Sump, sump, i)
	}
	add(g.DischargePressure, pressure, -1)
	for _, k := range g.Circuits {
		add(k.CoilOutlet, coil, -1)
		add(k.Air, air, -1)
	}
	c.drifts = newDrifts(g)
	c.vapour, _ = g.Line.(Vapour)
	c.coils.outlets, c.coils.airs = make([]mean, len(g.Circuits)), make([]mean, len(g.Circuits))
	for i := range c.machines {
		c.machines[i].work.mean = math.NaN()
	}
	return c
}

// glideOf returns the largest glide at usual suction.
func glideOf(line Line) (most float64) {
	for t := units.Celsius(-40); t <= 0 && line != nil; t += 10 {
		if p, err := line.DewPressure(t); err == nil {
			if bubble, err := line.Bubble(p); err == nil {
				most = max(most, float64(t.Above(bubble)))
			}
		}
	}
	return most
}

// Due says whether Observe would look at a row of that time.
func (c *Checker) Due(at int64) bool { return !c.begun || at-c.last >= quickPace }

// Observe looks at one row and returns the standing suspicions; the slice is
// valid until the next call. It marks the signals concerned as doubted, and
// clears them when nothing is held against them any more.
func (c *Checker) Observe(now *Now) []Suspicion {
	if !c.Due(now.At) {
		return c.standing
	}
	dt, slow := lasted(now.At, c.last, c.begun), lasted(now.At, c.slowLast, c.begun)
	slowDue := !c.begun || now.At-c.slowLast >= slowPace
	c.begun, c.last = true, now.At
	c.noteChanges(now)
	c.next = c.next[:0]
	c.checkMoved(now)
	c.checkShifted(now)
	c.checkSaturation(now, dt)
	if slowDue {
		c.slowLast = now.At
		c.checkFrozen(now, slow)
		c.checkDrift(now, slow)
		c.checkStopped(now, slow)
		c.checkWork(now, slow)
		c.checkCoils(now, slow)
		c.checkRest(now, slow)
		c.checkTwins(now, slow)
		c.checkNoise(now, slow)
		c.checkDepth(now, slow)
	} else {
		for i := range c.standing {
			if !c.standing[i].Code.quick() {
				c.next = append(c.next, c.standing[i])
			}
		}
	}
	c.settle()
	return c.standing
}

// lasted returns the time from one look to the next, in ns; 0 after a gap, in
// which nothing has lasted.
func lasted(at, last int64, begun bool) int64 {
	if !begun || at-last > int64(10*time.Minute) {
		return 0
	}
	return at - last
}

func (c *Checker) noteChanges(now *Now) {
	for i, p := range now.Phases {
		if on := runs(p); on != c.machines[i].running {
			c.machines[i].running, c.changed, c.machines[i].turned = on, now.At, now.At
		}
	}
	for i, d := range now.Defrosting {
		if d != c.frosting[i] {
			c.frosting[i], c.changed = d, now.At
		}
	}
}

// runs says whether a compressor is known to run, steadily enough to be judged.
func runs(p phase.Phase) bool { return p != phase.Off && p != phase.Unknown }

func settled(p phase.Phase) bool { return runs(p) && p != phase.Start }

// surelyRuns says that a compressor has settled, not only by a guess that its
// own pipe went into: a standing one's pipe warms.
func (c *Checker) surelyRuns(i int, now *Now) bool {
	if !settled(now.Phases[i]) {
		return false
	}
	if i < len(now.Told) && now.Told[i] {
		return true
	}
	hot, ok := known(c.group.Compressors[i].Discharge, now.At)
	return ok && hot-float64(now.Superheat[i].Temperature) > hotBy
}

// hotBy is what a running machine's discharge is hotter than its suction by.
// Common practice, no source.
const hotBy = 25.0 // K

// hold keeps a suspicion standing, or begins it; say is called only then.
func (c *Checker) hold(code Code, point int, lean superheat.Lean, from int64, say func() string) {
	for i := range c.next {
		if c.next[i].Code == code && c.next[i].Point == point {
			return
		}
	}
	for i := range c.standing {
		if c.standing[i].Code == code && c.standing[i].Point == point {
			c.next = append(c.next, c.standing[i])
			return
		}
	}
	c.next = append(c.next, Suspicion{Code: code, Point: point, Lean: lean, Since: from, Says: &evidence.Item{Code: evidence.Sentence, Text: code.String() + ": " + say()}})
}

// keep keeps a suspicion standing that stands already.
func (c *Checker) keep(code Code, point int) {
	for i := range c.next {
		if c.next[i].Code == code && c.next[i].Point == point {
			return
		}
	}
	for i := range c.standing {
		if c.standing[i].Code == code && c.standing[i].Point == point {
			c.next = append(c.next, c.standing[i])
		}
	}
}

// settle makes the suspicions of this row the standing ones and tells the signals.
func (c *Checker) settle() {
	c.standing, c.next = c.next, c.standing
	if len(c.standing)+len(c.next) == 0 {
		return
	}
	for i := range c.inputs {
		in := &c.inputs[i].in
		says, lean := (*evidence.Item)(nil), superheat.Lean(0)
		for j := range c.standing {
			if c.standing[j].Point == in.Point {
				if says == nil {
					says, lean = c.standing[j].Says, c.standing[j].Lean
				} else if lean != c.standing[j].Lean {
					lean = 0 // they do not agree
				}
			}
		}
		in.Signal.Doubt(says, lean)
	}
}

// since counts how long a condition has held.
type since struct{ held int64 }

func (s *since) take(holds bool, dt int64) time.Duration {
	if !holds {
		s.held = 0
	} else {
		s.held += dt
	}
	return time.Duration(s.held)
}

// known returns what an input says now, doubted or not.
func known(in Input, at int64) (float64, bool) {
	if in.Signal == nil {
		return 0, false
	}
	v, q, _ := in.Signal.Now(at)
	return v, q == reading.Good || q == reading.Suspect
}

// leanOf returns which way a reading is wrong that is off by error.
func leanOf(error float64) superheat.Lean {
	if error < 0 {
		return superheat.ReadsLow
	}
	return superheat.ReadsHigh
}
