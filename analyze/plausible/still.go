package plausible

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/superheat"
)

type inputKind uint8

const (
	pressure inputKind = iota
	pipe
	discharge
	sump
	coil
	air
)

// patience is how long an input of each kind may be bit-identical while its
// neighbour moves: sumps and rooms are slow, a coil rests while its ice melts.
// Common practice, no source.
var patience = [...]time.Duration{
	pressure: 10 * time.Minute, pipe: 10 * time.Minute, discharge: 20 * time.Minute,
	sump: time.Hour, coil: 45 * time.Minute, air: 90 * time.Minute,
}

const (
	frozenSamples = 10  // identical samples at the least
	frozenUsual   = 4   // times the longest run that the input showed before
	frozenMove    = 3.0 // K that the neighbour must have moved meanwhile
)

// frozen follows how long one input has not changed while its machine ran.
type frozen struct {
	in         Input
	kind       inputKind
	compressor int
	run        int64 // Since of the signal's present run
	held       int64 // ns of the run in which it should have moved
	longest    int64 // ns; longest such run that ended in a change
	low, high  float64
}

func (c *Checker) checkFrozen(now *Now, dt int64) {
	for i := range c.frozen {
		f := &c.frozen[i]
		s := f.in.Signal.Stillness()
		neighbour, moving := c.neighbour(f, now)
		if _, ok := known(f.in, now.At); !ok {
			f.held = 0
			continue
		}
		if s.Since != f.run {
			f.longest = max(f.longest, f.held)
			f.run, f.held, f.low, f.high = s.Since, 0, neighbour, neighbour
			continue
		}
		if !moving {
			continue
		}
		f.held += dt
		if f.held == 0 || math.IsNaN(f.low) {
			f.low, f.high = neighbour, neighbour
		}
		f.low, f.high = min(f.low, neighbour), max(f.high, neighbour)
		limit := max(int64(patience[f.kind]), frozenUsual*f.longest)
		if f.held < limit || s.Count < frozenSamples || f.high-f.low < frozenMove {
			continue
		}
		held, moved := time.Duration(f.held), f.high-f.low
		c.hold(Frozen, f.in.Point, 0, s.Since, func() string {
			return fmt.Sprintf("this looks like a value that is no longer measured (not one digit changed in %d min while its neighbour moved by %.1f K); check whether the device still updates it, and the probe",
				int(held.Minutes()), moved)
		})
	}
}

// neighbour returns what should make an input move, and whether it should now.
func (c *Checker) neighbour(f *frozen, now *Now) (float64, bool) {
	for i := range now.Superheat {
		if f.compressor >= 0 && f.compressor != i || !settled(now.Phases[i]) {
			continue
		}
		x := float64(now.Superheat[i].DewNow)
		if f.kind == pressure {
			x = float64(now.Superheat[i].Temperature)
		}
		if !math.IsNaN(x) {
			return x, true
		}
	}
	return math.NaN(), false
}

// moved follows the sudden steps of one input.
type moved struct {
	in         Input
	kind       inputKind
	compressor int
	judged     int64 // At of the last step looked at
	waiting    bool
	standing   bool
	step       superheat.Step
	dew        float64 // when the step was seen; a pipe moves with its dew
}

const (
	movedLeast    = 3.0              // K
	movedInterval = 10 * time.Second // polled more slowly, a true change is a step, too
	movedWait     = 4 * time.Minute  // until a step that stayed is believed to be the sensor's
	movedReason   = 3 * time.Minute  // a start, stop or defrost this near explains a step
	movedForget   = 2 * time.Hour    // after which the new level is taken for true, unless something else speaks
	movedDry      = 5.0              // K of superheat; a step that lands nearer to dew is wet gas arriving
	movedStays    = 0.35             // share of the step by which the level may have moved since
)

func (c *Checker) checkMoved(now *Now) {
	for i := range c.moved {
		m := &c.moved[i]
		// Pressures step with stages; oil and discharge say too little here.
		if m.kind != pipe {
			continue
		}
		x, ok := known(m.in, now.At)
		if !ok {
			m.waiting = false
			continue
		}
		v := &now.Superheat[m.compressor]
		s := m.in.Signal.Step()
		if s.At != m.judged {
			m.judged = s.At
			if m.standing && math.Abs(s.To-m.step.From) < 0.5*math.Abs(m.step.Size()) {
				m.standing = false // back where it was
				continue
			}
			m.waiting = math.Abs(s.Size()) >= movedLeast && m.in.Signal.Interval() <= movedInterval &&
				settled(now.Phases[m.compressor]) && s.At-c.changed > int64(movedReason) &&
				s.To-float64(v.Dew) > movedDry && s.From-float64(v.Dew) > movedDry
			if m.waiting {
				m.step, m.dew, m.standing = s, float64(v.Dew), false
			}
		}
		if m.waiting && (c.changed > m.step.At || math.Abs(x-m.step.To-(float64(v.Dew)-m.dew)) > movedStays*math.Abs(m.step.Size())) {
			m.waiting = false
		}
		if m.waiting && now.At-m.step.At >= int64(movedWait) {
			m.waiting, m.standing = false, true
		}
		if m.standing && now.At-m.step.At > int64(movedForget) {
			m.standing = false
		}
		if m.standing {
			step := m.step
			c.hold(Moved, m.in.Point, leanOf(step.Size()), step.At, func() string {
				return fmt.Sprintf("this looks like a sensor that was moved, swapped or came loose (%+.1f K between two samples, from %.1f to %.1f °C, while nothing started, stopped or defrosted); check clamp, insulation and wiring",
					step.Size(), step.From, step.To)
			})
		}
	}
}
