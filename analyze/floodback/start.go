package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/phase"
)

// What makes a start a flooded one. Common practice, no source, but for the
// sump, where the shared trade notes give 5 K.
const (
	floodedSump   = 6.0 // K of sump over standing dew before the start
	floodedDrop   = 4.0 // K that the sump falls as its foam boils
	floodedSpan   = int64(300e9)
	floodedOff    = int64(60e9)
	floodedNeeded = 1.0
)

// startWatch looks at the oil while a compressor stands and at its first five
// minutes of running: refrigerant that went into the oil boils out of it.
type startWatch struct {
	settings Settings
	standing smooth // sump − dew while standing, over 2 min
	atStart  float64
	sumpTop  float64
	hotLow   float64
	wet      int64
	cold     smooth
	score    float64
	evidence words
	judged   bool
}

// Step implements Detector.
func (d *startWatch) Step(m *Moment, f *Finding) {
	f.Severity, f.ClearHold = Warning, d.settings.ClearHold
	f.Verdict = Clear
	switch {
	case m.Running == phase.NotKnown:
		f.Verdict = CannotTell
		return
	case m.Running == phase.No:
		// Only oil that has stood tells: a machine just stopped is warm.
		d.standing.take(m.SumpTemperature-m.Dew, m.Step, 60)
		d.judged, d.score, d.wet, d.cold = false, 0, 0, smooth{}
		d.evidence.forget()
		d.sumpTop, d.hotLow, d.atStart = math.NaN(), math.NaN(), d.standing.value
		if !d.standing.known {
			d.atStart = math.NaN()
		}
		return
	case !m.Whole || m.Stopped < floodedOff || m.RunningFor > floodedSpan:
		d.standing = smooth{}
		return
	}
	if !(m.SumpTemperature <= d.sumpTop) && m.RunningFor < 60e9 && !math.IsNaN(m.SumpTemperature) {
		d.sumpTop = m.SumpTemperature
	}
	if !math.IsNaN(m.DischargeTemperature) && !(m.DischargeTemperature >= d.hotLow) {
		d.hotLow = m.DischargeTemperature
	}
	cold := d.cold.take(m.Superheat, m.Step, 10)
	if usable(m) && m.RunningFor > 20e9 && cold < 3 {
		d.wet += m.Step
	}
	d.score = d.weigh(m)
	if d.score < floodedNeeded {
		f.Verdict = Between
		if m.RunningFor > floodedSpan-10e9 {
			f.Verdict = Clear
		}
		return
	}
	f.Verdict = Present
	if d.score > 1.6 {
		f.Severity = Critical
	}
	f.Hold = 0
	if d.evidence.due(m.At, f.Severity) {
		d.evidence.set(m.At, f.Severity, d.say(m))
	}
	f.Evidence = d.evidence.lines
}

// weigh adds up the witnesses: 1 is enough.
func (d *startWatch) weigh(m *Moment) float64 {
	score := 0.0
	if !math.IsNaN(d.atStart) && m.Stopped > 600e9 {
		switch {
		case d.atStart < floodedSump:
			score += 0.8
		case d.atStart < floodedSump+4:
			score += 0.4
		}
	}
	if drop := d.sumpTop - m.SumpTemperature; drop > floodedDrop {
		score += 0.5 * min(2, drop/floodedDrop)
	}
	if d.wet > 30e9 {
		score += 0.4 * min(2, float64(d.wet)/60e9)
	}
	if m.RunningFor > 60e9 && !math.IsNaN(d.hotLow) {
		if m.DischargeTemperature-m.CondensingDew < 5 && m.DischargeTemperature-d.hotLow < 4 {
			score += 0.4 // it does not warm up
		}
	}
	return score
}

func (d *startWatch) say(m *Moment) []string {
	lines := []string{fmt.Sprintf("started after %.0f min with signs of refrigerant in the oil", float64(m.Stopped)/60e9)}
	if !math.IsNaN(d.atStart) {
		lines = append(lines, fmt.Sprintf("the oil stood %.0f K above the dew temperature before the start", d.atStart))
	}
	if drop := d.sumpTop - m.SumpTemperature; drop > floodedDrop {
		lines = append(lines, fmt.Sprintf("the sump has fallen %.0f K since the start", drop))
	}
	if d.wet > 30e9 {
		lines = append(lines, fmt.Sprintf("%.0f s of the first minutes with a suction line near dew", float64(d.wet)/1e9))
	}
	return lines
}
