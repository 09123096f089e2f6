package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/phase"
)

// highWatch watches for superheat and discharge heat that dry the oil film.
type highWatch struct {
	limits   *HighLimits
	over     filter.LowPass
	hot      filter.LowPass
	present  bool
	evidence words
}

// Common practice, no source.
const (
	highTau  = 60.0 // s; heat that harms lasts
	highBack = 3.0  // K to come back before the condition is interrupted
)

func newHighWatch(s *Settings) highWatch { return highWatch{limits: &s.High} }

// Step implements Detector.
func (d *highWatch) Step(m *Moment, f *Finding) {
	l := d.limits
	f.Severity, f.Hold, f.ClearHold = Notice, l.SuperheatHold, l.DischargeHold
	switch {
	case m.Running == phase.No:
		d.present, d.over, d.hot = false, filter.LowPass{}, filter.LowPass{}
		d.evidence.forget()
		f.Verdict = Clear
		return
	case m.Running == phase.Unset, m.Phase == phase.Start,
		!usable(m) && math.IsNaN(m.DischargeTemperature):
		f.Verdict = CannotTell
		return
	}
	over := math.NaN()
	if usable(m) {
		over = d.over.Update(m.Superheat, m.Step, highTau)
	}
	hot := d.hot.Update(m.DischargeTemperature, m.Step, highTau)
	back := 0.0
	if d.present {
		back = highBack
	}
	switch {
	case hot > float64(l.Discharge)-back && !(over < float64(l.HotSuperheat)-back):
		f.Verdict, f.Severity, f.Hold = Present, Warning, l.DischargeHold
		if hot > float64(l.Discharge)+float64(l.Critical) {
			f.Severity = Critical
		}
	case over > float64(l.Superheat)-back:
		f.Verdict = Present
	default:
		f.Verdict = Clear
	}
	d.present = f.Verdict == Present
	if !d.present {
		d.evidence.forget()
		return
	}
	if d.evidence.due(m.At, f.Severity) {
		d.evidence.set(m.At, f.Severity, []string{d.say(over, hot)})
	}
	f.Evidence = d.evidence.lines
}

func (d *highWatch) say(over, hot float64) string {
	switch {
	case math.IsNaN(hot):
		return fmt.Sprintf("superheat %.0f K: gas too hot to cool and lubricate", over)
	case math.IsNaN(over):
		return fmt.Sprintf("discharge %.0f °C: too hot to lubricate", hot)
	}
	return fmt.Sprintf("superheat %.0f K, discharge %.0f °C: gas too hot to cool and lubricate", over, hot)
}
