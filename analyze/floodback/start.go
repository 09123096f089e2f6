package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/phase"
)

// startWatch looks at the oil while a compressor stands and at its first five
// minutes of running. Refrigerant goes to the coldest, lowest place: into oil
// that is hardly warmer than the standing dew temperature. When the machine
// starts it boils out again, which holds the oil near the dew temperature of
// the running machine, whatever the suction line reads.
//
// Without a sump temperature it cannot tell.
type startWatch struct {
	settings *Settings

	ran      bool           // since the last stop
	standing filter.LowPass // sump − dew while standing
	cold     int64          // ns of standing with the oil as cold as the dew
	cool     int64          // … with the oil hardly warmer
	unsafe   int64          // … with the oil below the mark of safety
	sump     filter.LowPass
	dew      filter.LowPass
	over     filter.LowPass // superheat
	atStart  float64
	top      float64 // warmest sump of the run's first minute
	hotLow   float64 // coldest discharge since the start
	boiling  int64   // ns of running with the oil near dew
	wet      int64   // ns of running with the line at dew
	evidence words
}

// Step implements Detector.
func (d *startWatch) Step(m *Moment, f *Finding) {
	f.Severity, f.ClearHold, f.Verdict = Warning, d.settings.ClearHold, Clear
	switch {
	case m.Running == phase.Unset:
		f.Verdict = CannotTell
		return
	case m.Running == phase.No:
		d.stand(m)
		return
	}
	d.ran = true
	if !m.Whole || m.Stopped < floodedStop || m.RunningFor > floodedSpan {
		return
	}
	d.run(m)
	score := d.weigh(m)
	if score < floodedNeeded {
		if m.RunningFor <= floodedSpan-int64(10e9) {
			f.Verdict = Between
		}
		return
	}
	f.Verdict = Present
	if score >= floodedCritical {
		f.Severity = Critical
	}
	if d.evidence.due(m.At, f.Severity) {
		d.evidence.set(m.At, f.Severity, d.say(m))
	}
	f.Evidence = d.evidence.lines
}

// stand watches the oil of a stopped machine.
func (d *startWatch) stand(m *Moment) {
	if d.ran { // the stop before is over
		d.ran, d.cold, d.cool, d.unsafe, d.standing = false, 0, 0, 0, filter.LowPass{}
	}
	over := d.standing.Update(m.SumpTemperature-m.Dew, m.Step, 60)
	if over < float64(d.settings.Oil.Cold) {
		d.cold += m.Step
	}
	if over < float64(d.settings.Oil.Cool) {
		d.cool += m.Step
	}
	if over < float64(d.settings.Oil.Safe) {
		d.unsafe += m.Step
	}
	d.atStart, d.top, d.hotLow = over, math.NaN(), math.NaN()
	d.sump, d.dew, d.over = filter.LowPass{}, filter.LowPass{}, filter.LowPass{}
	d.boiling, d.wet = 0, 0
	d.evidence.forget()
}

// run watches the first minutes of running.
func (d *startWatch) run(m *Moment) {
	sump := d.sump.Update(m.SumpTemperature, m.Step, 10)
	dew := d.dew.Update(m.Dew, m.Step, 15)
	if m.RunningFor < 60e9 && !(sump <= d.top) {
		d.top = sump
	}
	if !(m.DischargeTemperature >= d.hotLow) {
		d.hotLow = m.DischargeTemperature
	}
	if m.RunningFor > 20e9 && sump-dew < float64(d.settings.Oil.Boiling) {
		d.boiling += m.Step
	}
	if usable(m) && m.RunningFor > 20e9 && d.over.Update(m.Superheat, m.Step, 10) < floodedWet {
		d.wet += m.Step
	}
}

// weigh adds up the witnesses; floodedNeeded is enough. Weights are common
// practice, no source: the oil before the start weighs most, none is enough
// alone but oil that stood as cold as the dew for long, or hardly warmer for
// longer.
func (d *startWatch) weigh(m *Moment) float64 {
	score, l := 0.0, &d.settings.Oil
	switch {
	case d.cold > int64(l.Long), 2*d.cool > coolLong*int64(l.Long), d.unsafe > int64(l.Cooling) && d.atStart < float64(l.Cooled):
		score = 1
	case d.cold > int64(l.Standing):
		score = 0.7
	case d.cool > int64(l.Standing):
		score = 0.5
	default:
		return 0 // what boils now came while it ran
	}
	if d.boiling > 40e9 {
		score += 0.6
	}
	if d.top-d.sump.Value() > float64(l.Fall) && d.sump.Value()-d.dew.Value() < 2*float64(l.Boiling) {
		score += 0.3
	}
	if d.wet > 30e9 {
		score += 0.3
	}
	if m.RunningFor > 60e9 && m.DischargeTemperature-m.CondensingDew < 5 && m.DischargeTemperature-d.hotLow < 4 {
		score += 0.3 // it does not warm up
	}
	return score
}

func (d *startWatch) say(m *Moment) []string {
	lines := []string{fmt.Sprintf("started after %.0f min with signs of refrigerant in the oil", float64(m.Stopped)/60e9)}
	if !math.IsNaN(d.atStart) {
		lines = append(lines, fmt.Sprintf("the oil stood %.0f K above the dew temperature before the start; 10 K is the mark of safety", d.atStart))
	}
	if d.boiling > 0 {
		lines = append(lines, fmt.Sprintf("for %.0f s of running the oil has been within %.0f K of dew: refrigerant is boiling out of it", float64(d.boiling)/1e9, float64(d.settings.Oil.Boiling)))
	}
	if drop := d.top - d.sump.Value(); drop > float64(d.settings.Oil.Fall) {
		lines = append(lines, fmt.Sprintf("the sump has fallen %.0f K since the start", drop))
	}
	if d.wet > 30e9 {
		lines = append(lines, fmt.Sprintf("%.0f s of the first minutes with a suction line near dew", float64(d.wet)/1e9))
	}
	return lines
}

// Common practice, no source.
const (
	floodedWet      = 3.0          // K of superheat
	floodedStop     = int64(60e9)  // shortest stop
	floodedSpan     = int64(300e9) // of running: the foam is gone after
	floodedNeeded   = 1.0
	coolLong        = 5 // halves of the time that cold oil needs
	floodedCritical = 1.6
)
