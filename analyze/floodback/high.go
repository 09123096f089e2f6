package floodback

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
)

// Limits of the way to overheating.
const (
	highSuperheat = 30.0  // K; a scroll guideline's upper limit (shared trade notes)
	highDischarge = 107.0 // °C at the line, 225 °F (shared trade notes)
	// hotSuperheat is the superheat below which a hot discharge has another
	// reason (pressure ratio, valves): usual readings reach 25 K. Common practice.
	hotSuperheat = 25.0 // K
	highHold     = 20 * time.Minute
	highBack     = 3.0 // K
)

// highWatch watches for superheat and discharge heat that dry the oil film.
type highWatch struct {
	settings Settings
	over     smooth
	hot      smooth
	present  bool
	evidence words
}

// Step implements Detector.
func (d *highWatch) Step(m *Moment, f *Finding) {
	f.Severity, f.Hold, f.ClearHold = Notice, highHold, 10*time.Minute
	switch {
	case m.Running == phase.No:
		d.present, d.over, d.hot = false, smooth{}, smooth{}
		d.evidence.forget()
		f.Verdict = Clear
		return
	case m.Running == phase.NotKnown || !usable(m) && math.IsNaN(m.DischargeTemperature):
		f.Verdict = CannotTell
		return
	case m.Phase == phase.Start:
		f.Verdict = CannotTell
		return
	}
	over := math.NaN()
	if usable(m) {
		over = d.over.take(m.Superheat, m.Step, 60)
	}
	hot := d.hot.take(m.DischargeTemperature, m.Step, 60)
	back := 0.0
	if d.present {
		back = highBack
	}
	switch {
	case hot > highDischarge-back && !(over < hotSuperheat-back):
		f.Severity, f.Verdict = Warning, Present
		f.Hold = 10 * time.Minute
		if hot > highDischarge+15 {
			f.Severity = Critical
		}
	case over > highSuperheat-back:
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
		lines := []string{fmt.Sprintf("superheat %.0f K, discharge %.0f °C: gas too hot to cool and lubricate", over, hot)}
		if math.IsNaN(hot) {
			lines[0] = fmt.Sprintf("superheat %.0f K: gas too hot to cool and lubricate", over)
		}
		d.evidence.set(m.At, f.Severity, lines)
	}
	f.Evidence = d.evidence.lines
}
