package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Common practice, no source, where nothing else is said.
const (
	movedLeast    = 3.0              // K
	movedInterval = 10 * time.Second // polled more slowly, a true change is a step, too …
	movedFar      = 6.0              // K; … but for a rise of a dry pipe as large as this
	movedSparse   = 30 * time.Second
	movedWait     = 4 * time.Minute // until a step that stayed is believed to be the sensor's
	movedReason   = 3 * time.Minute // a start, stop or defrost this near explains a step
	movedDry      = 5.0             // K of superheat; a step that lands nearer to dew may be wet gas arriving
	restStep      = 4.0             // K; of a pipe that stands
	leapLeast     = 8.0             // K up, …
	leapInterval  = 5 * time.Second // … within this: no pipe does it; …
	leapSudden    = 2 * time.Second // … nor within this, whatever starts or stops
	movedStays    = 0.35            // share of the step by which the level may have moved since
	// quickest is the time constant of the quickest sensor on a pipe (bare NTC
	// on copper 5 to 15 s, shared trade notes, less for caution): wet gas that
	// arrives at once cannot be seen faster.
	quickest     = 2.0              // s
	wetShare     = 0.3              // of the glide by which wet gas lies below dew: it is never mostly liquid
	quickSlack   = 2.0              // K
	dischargeDue = 10 * time.Minute // by when a discharge line has followed (lag 1 to 5 min, shared trade notes)
	coilIsDry    = 3.0              // K of superheat at its outlet
	dischargeBy  = 0.4              // share of the pipe's step that it must have followed by at least
)

// moved follows the sudden steps of one pipe's temperature.
type moved struct {
	in         Input
	compressor int
	judged     int64 // At of the last step looked at
	waiting    time.Duration
	standing   bool
	step       superheat.Step
	dew        float64 // when the step was seen; a pipe moves with its dew
	hot        float64 // discharge temperature when the step was seen
	witnessed  bool    // … and it has not followed
}

func (c *Checker) checkMoved(now *Now) {
	for i := range c.moved {
		m := &c.moved[i]
		x, ok := known(m.in, now.At)
		if !ok {
			m.waiting = 0
			continue
		}
		v := &now.Superheat[m.compressor]
		dew := float64(v.DelayedDew)
		if s := m.in.Signal.Step(); s.At != m.judged {
			m.judged = s.At
			if m.standing {
				// Back where it was, or a change that says nothing of the doubt.
				m.standing = math.Abs(s.To-m.step.From) >= 0.5*math.Abs(m.step.Size())
			} else {
				c.newStep(m, s, now)
			}
		}
		age := time.Duration(now.At - m.step.At)
		along := dew - m.dew // a pipe moves with its dew; a standing one does not
		if math.IsNaN(along) {
			along = 0
		}
		if m.waiting > 0 && (c.changed > m.step.At || math.Abs(x-m.step.To-along) > movedStays*math.Abs(m.step.Size())) {
			m.waiting, m.standing = 0, false
		}
		if m.waiting > 0 && age >= m.waiting {
			if m.standing = true; m.waiting == dischargeDue {
				m.standing, m.witnessed = c.gasStayed(m, now), true
			}
			m.waiting = 0
		}
		if forget := movedForget(m); age > forget {
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

// stands says that a compressor is told to stand: its pipe has no reason to
// change at once.
func (c *Checker) stands(m *moved, now *Now) bool {
	return now.Phases[m.compressor] == phase.Off && m.compressor < len(now.Told) && now.Told[m.compressor]
}

// newStep looks at a step that has not been looked at: of a pipe that stands,
// of one that leaps, of one that runs undisturbed.
func (c *Checker) newStep(m *moved, s superheat.Step, now *Now) {
	dew, interval := float64(now.Superheat[m.compressor].Dew), m.in.Signal.Interval()
	calm := s.At-c.changed > int64(movedReason)
	m.step, m.dew, m.witnessed, m.waiting = s, dew, false, 0
	hot, ok := known(c.group.Compressors[m.compressor].Discharge, now.At)
	if m.hot = hot; !ok {
		m.hot = math.NaN()
	}
	switch {
	case c.stands(m, now):
		if calm && math.Abs(s.Size()) >= restStep && interval <= movedInterval {
			m.dew, m.waiting = math.NaN(), movedWait
		}
	case s.Size() >= leapLeast && s.From-dew > movedDry && (interval <= leapSudden ||
		interval <= leapInterval && s.At-c.machines[m.compressor].turned > int64(movedReason)):
		m.standing = true
	case settled(now.Phases[m.compressor]) && calm:
		m.waiting, m.standing = c.judgeStep(m, s, dew)
	}
}

// movedForget returns the age at which the new level is taken for true, unless
// something else speaks. A doubt that could hide floodback ends sooner.
func movedForget(m *moved) time.Duration {
	if m.step.Size() > 0 || m.witnessed {
		return 24 * time.Hour
	}
	return 4 * time.Hour
}

// judgeStep returns how long a step must stay to be believed the sensor's (0:
// it is none), and whether it is to be doubted from now on.
func (c *Checker) judgeStep(m *moved, s superheat.Step, dew float64) (wait time.Duration, doubt bool) {
	size, interval := s.Size(), m.in.Signal.Interval()
	over := s.From - dew // K, of the level before
	_, hot := known(c.group.Compressors[m.compressor].Discharge, s.At)
	witness := hot || c.coilsMeasured()
	if math.Abs(size) < movedLeast || over <= movedDry {
		return 0, false
	}
	if wet := over + wetShare*c.glide; size < 0 && -size > wet*(1-math.Exp(-interval.Seconds()/quickest))+quickSlack {
		// Faster than wet gas can do it; the witness has the last word.
		if witness {
			return dischargeDue, true
		}
		return movedWait, true
	}
	if s.To-dew > movedDry {
		if interval <= movedInterval || (size >= movedFar && interval <= movedSparse) {
			return movedWait, false
		}
		return 0, false
	}
	if witness && -size >= movedFar {
		return dischargeDue, false
	}
	return 0, false
}

// gasStayed says that the gas has not become wet, whatever the pipe reads: its
// discharge temperature has not followed, or, where that is not measured, every
// coil of the group is dry.
func (c *Checker) gasStayed(m *moved, now *Now) bool {
	if _, hot := known(c.group.Compressors[m.compressor].Discharge, now.At); hot {
		return c.dischargeStayed(m, now)
	}
	for i := range c.group.Circuits {
		x, ok := known(c.group.Circuits[i].CoilOutlet, now.At)
		if !ok || x-float64(now.Superheat[m.compressor].Dew) < coilIsDry {
			return false
		}
	}
	return c.coilsMeasured()
}

// coilsMeasured says that every circuit has a coil outlet temperature.
func (c *Checker) coilsMeasured() bool {
	for i := range c.group.Circuits {
		if c.group.Circuits[i].CoilOutlet.Signal == nil {
			return false
		}
	}
	return len(c.group.Circuits) > 0
}

// dischargeStayed says that the discharge temperature has not followed a step
// of the pipe: it loses 1.0 to 1.25 K for each kelvin of superheat (shared
// trade notes), so that the gas has not changed.
func (c *Checker) dischargeStayed(m *moved, now *Now) bool {
	hot, ok := known(c.group.Compressors[m.compressor].Discharge, now.At)
	return ok && !math.IsNaN(m.hot) && (hot-m.hot)/m.step.Size() < dischargeBy
}

const (
	shiftWait   = 7 * time.Minute // by when pipes and coils have followed a true step of the dew
	shiftForget = 24 * time.Hour
	shiftLeast  = 3.0  // K of dew
	shiftBy     = 0.25 // share of the step that one of them must have followed by
	shiftAtmos  = 0.08 // share of an atmosphere by which a step may differ from one
)

// shifted follows the sudden steps of one suction pressure: a true one takes
// pipes and coils along, and comes with a start, a stop or a defrost.
type shifted struct {
	in       Input
	judged   int64
	waiting  bool
	standing bool
	sharp    bool // one atmosphere in an instant: no start or stop explains it
	step     superheat.Step
	dew      float64   // K; size of the step
	before   []float64 // °C of the witnesses when it was seen
}

// witnesses are temperatures that follow the dew: the pipes of running
// compressors and the coil outlets that are not being defrosted.
func (c *Checker) witnesses(now *Now, to []float64) []float64 {
	to = to[:0]
	for i := range c.group.Compressors {
		x := math.NaN()
		if told := i < len(now.Told) && now.Told[i]; runs(now.Phases[i]) || !told {
			x = float64(now.Superheat[i].Temperature)
		}
		to = append(to, x)
	}
	for i := range c.group.Circuits {
		x, ok := known(c.group.Circuits[i].CoilOutlet, now.At)
		if !ok || (i < len(now.Defrosting) && now.Defrosting[i]) {
			x = math.NaN()
		}
		to = append(to, x)
	}
	return to
}

func (c *Checker) checkShifted(now *Now) {
	for i := range c.shifts {
		s := &c.shifts[i]
		x, ok := known(s.in, now.At)
		if !ok {
			s.waiting = false
			continue
		}
		if st := s.in.Signal.Step(); st.At != s.judged {
			s.judged = st.At
			if s.standing && math.Abs(st.To-s.step.From) < 0.5*math.Abs(s.step.Size()) {
				s.standing = false
				continue
			}
			from, err := c.group.Line.Dew(units.Pascal(st.From))
			to, err2 := c.group.Line.Dew(units.Pascal(st.To))
			interval, calm := s.in.Signal.Interval(), st.At-c.changed > int64(movedReason)
			s.sharp = c.oneAtmosphere(st) && interval <= movedInterval
			s.waiting = err == nil && err2 == nil && math.Abs(float64(to-from)) >= shiftLeast && (s.sharp ||
				calm && c.oneAtmosphere(st) && interval <= movedSparse || calm && c.allTold(now) && interval <= movedInterval)
			if s.waiting {
				s.step, s.dew, s.standing = st, float64(to-from), false
				s.before = c.witnesses(now, s.before)
			}
		}
		if s.waiting && (c.changed > s.step.At && !s.sharp || math.Abs(x-s.step.To) > movedStays*math.Abs(s.step.Size())) {
			s.waiting = false
		}
		if s.waiting && now.At-s.step.At >= int64(shiftWait) {
			s.waiting, s.standing = false, c.nobodyFollowed(s, now)
		}
		if s.standing && now.At-s.step.At > int64(shiftForget) {
			s.standing = false
		}
		if s.standing {
			c.hold(Moved, s.in.Point, leanOf(s.step.Size()), s.step.At, func() string {
				what := "a transmitter that was changed or set anew"
				if c.oneAtmosphere(s.step) {
					what = "gauge and absolute pressure mixed up from that moment (the step is one atmosphere)"
				}
				return fmt.Sprintf("this looks like %s (%+.2f bar between two samples, %+.1f K of dew, and no pipe followed, nor did anything start, stop or defrost); check transmitter, scale and setting",
					what, s.step.Size()/1e5, s.dew)
			})
		}
	}
}

// oneAtmosphere says that a step is as large as what gauge and absolute
// pressure differ by.
func (c *Checker) oneAtmosphere(s superheat.Step) bool {
	size := math.Abs(s.Size())
	return math.Abs(size/float64(c.group.Atmosphere)-1) < shiftAtmos || math.Abs(size/float64(units.StandardAtmosphere)-1) < shiftAtmos
}

// allTold says that no compressor can have started or stopped unseen.
func (c *Checker) allTold(now *Now) bool {
	for i := range c.group.Compressors {
		if i >= len(now.Told) || !now.Told[i] {
			return false
		}
	}
	return true
}

// nobodyFollowed says that no witness has gone along with a step of the dew.
func (c *Checker) nobodyFollowed(s *shifted, now *Now) bool {
	c.after = c.witnesses(now, c.after)
	heard := false
	for i, before := range s.before {
		share := (c.after[i] - before) / s.dew
		if math.IsNaN(share) {
			continue
		}
		if heard = true; share > shiftBy {
			return false
		}
	}
	return heard
}
