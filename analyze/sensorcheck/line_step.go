package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Common practice, no source, where nothing else is stated.
const (
	minStep         = 3.0              // K, of a line that runs undisturbed
	minStandingStep = 4.0              // K, of a line that stands
	farStep         = 6.0              // K, of a dry line's rise or of a fall to dew
	minLeap         = 8.0              // K up within leapInterval: no line does it
	leapInterval    = 5 * time.Second  // away from starts and stops
	leapAlways      = 2 * time.Second  // whatever starts or stops
	stepInterval    = 10 * time.Second // polled more slowly, a true change is a step, too
	farStepInterval = 30 * time.Second // for a rise of farStep
	stepWait        = 4 * time.Minute  // until a step that stayed is believed to be the sensor's
	stepReason      = 3 * time.Minute  // a start, stop or defrost this near explains a step
	dryStep         = 5.0              // K of superheat; a step that lands nearer to dew may be wet gas arriving
	stepStays       = 0.35             // share of the step by which the level may have moved since
	stepReturns     = 0.5              // share of the step within which a level counts as back where it was
	// quickestTau is of the quickest sensor on a pipe (bare NTC on copper 5 to
	// 15 s, less for caution; from memory): wet gas that arrives at once cannot be
	// seen faster.
	quickestTau    = 2.0              // s
	wetShare       = 0.3              // of the glide by which wet gas lies below dew: it is never mostly liquid
	quickSlack     = 2.0              // K
	dischargeWait  = 10 * time.Minute // by when a discharge line has followed (its lag is 1 to 5 min; from memory)
	dryCoil        = 3.0              // K of superheat at its outlet
	dischargeShare = 0.4              // of the line's step that the discharge must have followed by
	forgetRise     = 24 * time.Hour   // when the new level is taken for true
	forgetFall     = 4 * time.Hour    // the same for a fall that no witness contradicts: it could hide floodback
)

// lineStep follows the sudden steps of one suction line's temperature.
type lineStep struct {
	in         Input
	compressor int
	judged     int64 // At of the last step looked at
	step       superheat.Step
	dew        float64       // °C when the step was seen; NaN where the line does not move with it
	discharge  float64       // °C when the step was seen
	wait       time.Duration // until the step is judged; 0: it is not waited for
	standing   bool
	witnessed  bool // a witness shows that the gas did not change
}

// checkLineSteps finds sensors that were moved or came loose.
func (c *Checker) checkLineSteps(x *frame.Frame) {
	for i := range c.lineSteps {
		s := &c.lineSteps[i]
		line, ok := known(s.in, x.At)
		if !ok {
			s.wait = 0
			continue
		}
		k := &x.Compressors[s.compressor]
		if found := s.in.Signal.Step(); found.At != s.judged {
			s.judged = found.At
			if s.standing {
				s.standing = math.Abs(found.To-s.step.From) >= stepReturns*math.Abs(s.step.Size())
			} else {
				c.beginLineStep(s, found, k)
			}
		}
		along := float64(k.Inlet.DelayedDew) - s.dew // a line moves with its dew
		if !isKnown(along) {
			along = 0
		}
		if s.wait > 0 && (c.changed > s.step.At || math.Abs(line-s.step.To-along) > stepStays*math.Abs(s.step.Size())) {
			s.wait, s.standing = 0, false
		}
		age := time.Duration(x.At - s.step.At)
		if s.wait > 0 && age >= s.wait {
			if s.standing = true; s.wait == dischargeWait {
				s.standing, s.witnessed = c.gasUnchanged(s, x), true
			}
			s.wait = 0
		}
		if age > s.forgetAfter() {
			s.standing = false
		}
		if !s.standing {
			continue
		}
		if a := c.raise(evidence.Moved, s.in.Point, biasOf(s.step.Size()), s.step.At); a != nil {
			a.describe([]evidence.Value{evidence.Difference("step", units.Kelvin(s.step.Size())),
				evidence.Temperature("from", units.Celsius(s.step.From)), evidence.Temperature("to", units.Celsius(s.step.To))})
		}
	}
}

// beginLineStep looks at a new step: of a line that stands, of one that leaps,
// of one that runs undisturbed.
func (c *Checker) beginLineStep(s *lineStep, found superheat.Step, k *frame.Compressor) {
	dew, interval := float64(k.Inlet.Dew), s.in.Signal.Interval()
	calm := found.At-c.changed > int64(stepReason)
	s.step, s.dew, s.discharge, s.wait, s.witnessed = found, dew, float64(k.Discharge), 0, false
	switch {
	case surelyStands(k):
		if calm && math.Abs(found.Size()) >= minStandingStep && interval <= stepInterval {
			s.dew, s.wait = math.NaN(), stepWait
		}
	case found.Size() >= minLeap && found.From-dew > dryStep && (interval <= leapAlways ||
		interval <= leapInterval && found.At-c.compressors[s.compressor].turned > int64(stepReason)):
		s.standing = true
	case isSettled(k.Phase) && calm:
		s.wait, s.standing = c.judgeLineStep(s, isKnown(float64(k.Discharge)) || c.coilsMeasured())
	}
}

// forgetAfter returns the age at which the new level is taken for true, unless
// something else contradicts it.
func (s *lineStep) forgetAfter() time.Duration {
	if s.step.Size() > 0 || s.witnessed {
		return forgetRise
	}
	return forgetFall
}

// judgeLineStep returns how long a step of a running line must stay to be
// believed the sensor's (0: it is none), and whether it is suspect from now on.
// witness reports that discharge or coils can decide.
func (c *Checker) judgeLineStep(s *lineStep, witness bool) (wait time.Duration, suspect bool) {
	size, interval := s.step.Size(), s.in.Signal.Interval()
	before := s.step.From - s.dew // K of superheat
	if math.Abs(size) < minStep || before <= dryStep {
		return 0, false
	}
	// Within an interval wet gas moves the quickest sensor by this share.
	reach := (before + wetShare*c.glide) * (1 - math.Exp(-interval.Seconds()/quickestTau))
	switch after := s.step.To - s.dew; {
	case -size > reach+quickSlack && witness:
		return dischargeWait, true
	case -size > reach+quickSlack:
		return stepWait, true
	case after > dryStep && (interval <= stepInterval || size >= farStep && interval <= farStepInterval):
		return stepWait, false
	case after <= dryStep && witness && -size >= farStep:
		return dischargeWait, false
	}
	return 0, false
}

// gasUnchanged reports whether the gas has not become wet, whatever the line
// reads: its discharge has not followed, or, where that is not measured, every
// coil of the group is dry. A discharge loses 1.0 to 1.25 K for each kelvin of
// superheat (from memory).
func (c *Checker) gasUnchanged(s *lineStep, x *frame.Frame) bool {
	k := &x.Compressors[s.compressor]
	if now := float64(k.Discharge); isKnown(now) {
		return (now-s.discharge)/s.step.Size() < dischargeShare
	}
	for i := range x.Circuits {
		if !(x.Circuits[i].CoilOutlet.Above(k.Inlet.Dew) >= dryCoil) {
			return false
		}
	}
	return c.coilsMeasured()
}

// coilsMeasured reports whether every circuit has a coil outlet temperature.
func (c *Checker) coilsMeasured() bool {
	for i := range c.group.Circuits {
		if c.group.Circuits[i].CoilOutlet.Signal == nil {
			return false
		}
	}
	return len(c.group.Circuits) > 0
}
