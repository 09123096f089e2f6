package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Common practice, no source.
const (
	pressureStepWait = 7 * time.Minute // by when lines and coils have followed a true step of dew
	forgetPressure   = 24 * time.Hour  // when the new level is taken for true
	minDewStep       = 3.0             // K
	followedBy       = 0.25            // share of the step that one witness must have followed by
	atmosphereBy     = 0.08            // share of an atmosphere by which a step may differ from one
)

// pressureStep follows the sudden steps of one suction pressure: a true one
// takes lines and coils along, and comes with a start, a stop or a defrost.
type pressureStep struct {
	in       Input
	judged   int64 // At of the last step looked at
	step     superheat.Step
	dewStep  float64   // K
	before   []float64 // °C of the witnesses when the step was seen
	sharp    bool      // one atmosphere at once: no start or stop explains it
	waiting  bool
	standing bool
}

// checkPressureSteps finds transmitters that were changed or set anew.
func (c *Checker) checkPressureSteps(x *frame.Frame) {
	for i := range c.pressureSteps {
		s := &c.pressureSteps[i]
		pressure, ok := known(s.in, x.At)
		if !ok {
			s.waiting = false
			continue
		}
		if found := s.in.Signal.Step(); found.At != s.judged {
			s.judged = found.At
			if s.standing && math.Abs(found.To-s.step.From) < stepReturns*math.Abs(s.step.Size()) {
				s.standing = false
				continue
			}
			c.beginPressureStep(s, found, x)
		}
		age := time.Duration(x.At - s.step.At)
		if s.waiting && (c.changed > s.step.At && !s.sharp || math.Abs(pressure-s.step.To) > stepStays*math.Abs(s.step.Size())) {
			s.waiting = false
		}
		if s.waiting && age >= pressureStepWait {
			s.waiting, s.standing = false, c.nothingFollowed(s, x)
		}
		if age > forgetPressure {
			s.standing = false
		}
		if !s.standing {
			continue
		}
		if a := c.raise(evidence.PressureStepped, s.in.Point, biasOf(s.step.Size()), s.step.At); a != nil {
			likely := evidence.TransmitterChanged
			if c.isAtmosphere(s.step) {
				likely = evidence.GaugeAndAbsoluteSwap
			}
			a.describe([]evidence.Value{evidence.Pressure("from", units.Pascal(s.step.From)), evidence.Pressure("to", units.Pascal(s.step.To)),
				evidence.Difference("dew_step", units.Kelvin(s.dewStep)), evidence.Part("likely", likely)})
		}
	}
}

// beginPressureStep looks at a new step, and waits for what follows it where
// nothing explains it.
func (c *Checker) beginPressureStep(s *pressureStep, found superheat.Step, x *frame.Frame) {
	dewStep := float64(c.dewOf(units.Pascal(found.To)).Above(c.dewOf(units.Pascal(found.From))))
	interval, calm, atmosphere := s.in.Signal.Interval(), found.At-c.changed > int64(stepReason), c.isAtmosphere(found)
	s.sharp = atmosphere && interval <= stepInterval
	unexplained := s.sharp || calm && (atmosphere && interval <= farStepInterval || allSignalled(x) && interval <= stepInterval)
	if s.waiting = unexplained && math.Abs(dewStep) >= minDewStep; s.waiting {
		s.step, s.dewStep, s.standing = found, dewStep, false
		s.before = witnesses(x, s.before)
	}
}

// isAtmosphere reports whether a step is as large as what gauge and absolute
// pressure differ by: the air at the site, or the standard atmosphere.
func (c *Checker) isAtmosphere(step superheat.Step) bool {
	size := math.Abs(step.Size())
	return math.Abs(size/float64(c.group.Atmosphere)-1) < atmosphereBy || math.Abs(size/float64(units.StandardAtmosphere)-1) < atmosphereBy
}

// witnesses writes the temperatures that follow the dew, in °C: the lines of
// compressors that run or may run, and the coil outlets that are not being
// defrosted; NaN for the others.
func witnesses(x *frame.Frame, to []float64) []float64 {
	to = to[:0]
	for i := range x.Compressors {
		line := math.NaN()
		if k := &x.Compressors[i]; runs(k.Phase) || !isSignalled(k) {
			line = float64(k.Inlet.Temperature)
		}
		to = append(to, line)
	}
	for i := range x.Circuits {
		outlet := math.NaN()
		if k := &x.Circuits[i]; !isDefrosting(k) {
			outlet = float64(k.CoilOutlet)
		}
		to = append(to, outlet)
	}
	return to
}

// nothingFollowed reports whether there are witnesses and none has gone along
// with a step of the dew.
func (c *Checker) nothingFollowed(s *pressureStep, x *frame.Frame) bool {
	c.after = witnesses(x, c.after)
	witnessed := false
	for i, before := range s.before {
		share := (c.after[i] - before) / s.dewStep
		if !isKnown(share) {
			continue
		}
		if witnessed = true; share > followedBy {
			return false
		}
	}
	return witnessed
}
