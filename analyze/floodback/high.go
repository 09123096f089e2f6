package floodback

import (
	"math"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// highDetector finds superheat and discharge heat that dry the oil film.
type highDetector struct {
	limits    *HighLimits
	superheat filter.LowPass // K
	discharge filter.LowPass // °C
	present   bool
	evidence  recentEvidence
}

// Common practice, no source.
const (
	highTau  = 60.0 // s; heat that harms lasts
	highBack = 3.0  // K to come back before the condition is interrupted
)

func (d *highDetector) step(x *frame.Frame, c *frame.Compressor, f *Finding) {
	l := d.limits
	f.Severity, f.Hold, f.ClearHold = Notice, l.SuperheatHold, l.DischargeHold
	switch {
	case c.Running == frame.No:
		d.present = false
		d.superheat.Reset()
		d.discharge.Reset()
		d.evidence.reset()
		f.Verdict = Clear
		return
	case c.Running == frame.Unset, c.Phase == frame.Start,
		!usable(c) && math.IsNaN(float64(c.Discharge)):
		f.Verdict = Unknown
		return
	}
	superheat := math.NaN()
	if usable(c) {
		superheat = d.superheat.Next(float64(c.Inlet.Superheat), x.Step, highTau)
	}
	discharge := d.discharge.Next(float64(c.Discharge), x.Step, highTau)
	back := 0.0
	if d.present {
		back = highBack
	}
	switch {
	case discharge > float64(l.Discharge)-back && !(superheat < float64(l.HotSuperheat)-back):
		f.Verdict, f.Severity, f.Hold = Present, Warning, l.DischargeHold
		if discharge > float64(l.Discharge)+float64(l.Critical) {
			f.Severity = Critical
		}
	case superheat > float64(l.Superheat)-back:
		f.Verdict = Present
	default:
		f.Verdict = Clear
	}
	d.present = f.Verdict == Present
	if !d.present {
		d.evidence.reset()
		return
	}
	if d.evidence.due(x.At, f.Severity) {
		d.evidence.set(x.At, f.Severity, describeHigh(superheat, discharge))
	}
	f.Evidence = d.evidence.items
}

func describeHigh(superheat, discharge float64) evidence.Item {
	k, c := evidence.Difference("mean_superheat", units.Kelvin(superheat)), evidence.Temperature("mean_discharge", units.Celsius(discharge))
	switch {
	case math.IsNaN(discharge):
		return evidence.New(evidence.HighSuperheat, k)
	case math.IsNaN(superheat):
		return evidence.New(evidence.HighDischarge, c)
	}
	return evidence.New(evidence.HighSuperheatAndDischarge, k, c)
}
