package floodback

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// startDetector follows the oil while a compressor stands and in its first five
// minutes of running. Refrigerant goes to the coldest, lowest place: into oil
// that is hardly warmer than the standing dew temperature. When the machine
// starts it boils out again, which holds the oil near the dew temperature of
// the running machine, whatever the suction line reads.
//
// Without a sump temperature it finds nothing.
type startDetector struct {
	settings *Settings

	// Of the stop.
	ran      bool           // since the stop before
	standing filter.LowPass // sump − dew, K
	cold     int64          // ns with the oil as cold as the dew
	cool     int64          // ns with the oil hardly warmer
	unsafe   int64          // ns with the oil not safely warm
	atStart  float64        // standing at the end, K

	// Of the run.
	sump         filter.LowPass // °C
	dew          filter.LowPass // °C
	superheat    filter.LowPass // K
	sumpHigh     float64        // warmest sump of the first minute, °C
	dischargeLow float64        // coldest discharge, °C
	boiling      int64          // ns with the oil near dew
	wet          int64          // ns with the suction line near dew
	evidence     recentEvidence
}

// Common practice, no source.
const (
	minStop     = int64(60e9)  // ns; a shorter stop lets nothing migrate
	startSpan   = int64(300e9) // ns of running: the foam is gone after
	startNearby = int64(10e9)  // ns before the end of startSpan from which nothing new is awaited
	firstMinute = int64(60e9)  // ns of running
	settling    = int64(20e9)  // ns of running before sump and line are judged

	standingTau      = 60.0 // s
	startSumpTau     = 10.0 // s
	startDewTau      = 15.0 // s
	startGasTau      = 10.0 // s
	nearDewSuperheat = 3.0  // K of superheat and less is a line near dew
	coolTimes        = 2.5  // oil that is hardly warmer than dew needs so many times OilLimits.Long
	runningTimes     = 2.0  // oil that fell counts within so many times OilLimits.Boiling of the dew

	boilingFor         = int64(40e9) // ns
	wetFor             = int64(30e9) // ns
	notWarmOver        = 5.0         // K over the condensing dew: less is a discharge that has not warmed up
	notWarmRise        = 4.0         // K over the coldest discharge since the start: less is one that does not warm
	scoreNeeded        = 1.0
	scoreCritical      = 1.6
	scoreStandingLong  = 1.0
	scoreStandingCold  = 0.7
	scoreStandingCool  = 0.5
	scoreBoiling       = 0.6
	scoreSumpFell      = 0.3
	scoreLineWet       = 0.3
	scoreDischargeCold = 0.3
)

func (d *startDetector) step(x *frame.Frame, c *frame.Compressor, f *Finding) {
	f.Severity, f.ClearHold, f.Verdict = Warning, d.settings.ClearHold, Clear
	switch {
	case c.Running == frame.Unset:
		f.Verdict = Unknown
		return
	case c.Running == frame.No:
		d.stand(x, c)
		return
	}
	d.ran = true
	if !c.Whole || c.Stopped < minStop || c.RunningFor > startSpan {
		return
	}
	d.run(x, c)
	score := d.score(x, c)
	if score < scoreNeeded {
		if c.RunningFor <= startSpan-startNearby {
			f.Verdict = InDeadband
		}
		return
	}
	f.Verdict = Present
	if score >= scoreCritical {
		f.Severity = Critical
	}
	if d.evidence.due(x.At, f.Severity) {
		d.evidence.set(x.At, f.Severity, d.describe(x, c)...)
	}
	f.Evidence = d.evidence.items
}

// stand follows the oil of a stopped machine.
func (d *startDetector) stand(x *frame.Frame, c *frame.Compressor) {
	if d.ran { // a new stop
		d.ran, d.cold, d.cool, d.unsafe = false, 0, 0, 0
		d.standing.Reset()
	}
	l := &d.settings.Oil
	over := d.standing.Next(float64(c.Sump-c.Inlet.Dew), x.Step, standingTau)
	if over < float64(l.Cold) {
		d.cold += x.Step
	}
	if over < float64(l.Cool) {
		d.cool += x.Step
	}
	if over < float64(l.Safe) {
		d.unsafe += x.Step
	}
	d.atStart, d.sumpHigh, d.dischargeLow = over, math.NaN(), math.NaN()
	d.sump.Reset()
	d.dew.Reset()
	d.superheat.Reset()
	d.boiling, d.wet = 0, 0
	d.evidence.reset()
}

// run follows the first minutes of running.
func (d *startDetector) run(x *frame.Frame, c *frame.Compressor) {
	sump := d.sump.Next(float64(c.Sump), x.Step, startSumpTau)
	dew := d.dew.Next(float64(c.Inlet.Dew), x.Step, startDewTau)
	if c.RunningFor < firstMinute && !(sump <= d.sumpHigh) {
		d.sumpHigh = sump
	}
	if !(float64(c.Discharge) >= d.dischargeLow) {
		d.dischargeLow = float64(c.Discharge)
	}
	if c.RunningFor <= settling {
		return
	}
	if sump-dew < float64(d.settings.Oil.Boiling) {
		d.boiling += x.Step
	}
	if usable(c) && d.superheat.Next(float64(c.Inlet.Superheat), x.Step, startGasTau) < nearDewSuperheat {
		d.wet += x.Step
	}
}

// score adds up the signs; scoreNeeded is enough. The oil before the start
// counts most, and nothing else is enough alone.
func (d *startDetector) score(x *frame.Frame, c *frame.Compressor) float64 {
	score, l := 0.0, &d.settings.Oil
	switch {
	case d.cold > int64(l.Long), float64(d.cool) > coolTimes*float64(l.Long), d.unsafe > int64(l.Cooling) && d.atStart < float64(l.Cooled):
		score = scoreStandingLong
	case d.cold > int64(l.Standing):
		score = scoreStandingCold
	case d.cool > int64(l.Standing):
		score = scoreStandingCool
	default:
		return 0 // what boils now came while it ran
	}
	if d.boiling > boilingFor {
		score += scoreBoiling
	}
	if d.sumpFall() > float64(l.Fall) && d.sump.Value()-d.dew.Value() < runningTimes*float64(l.Boiling) {
		score += scoreSumpFell
	}
	if d.wet > wetFor {
		score += scoreLineWet
	}
	if d.dischargeCold(x, c) {
		score += scoreDischargeCold
	}
	return score
}

// sumpFall returns what the sump fell since its warmest in the first minute, K.
func (d *startDetector) sumpFall() float64 { return d.sumpHigh - d.sump.Value() }

// dischargeCold reports whether the discharge has not warmed up a minute after
// the start and does not warm now.
func (d *startDetector) dischargeCold(x *frame.Frame, c *frame.Compressor) bool {
	return c.RunningFor > firstMinute && c.Discharge-x.CondensingDew < notWarmOver && float64(c.Discharge)-d.dischargeLow < notWarmRise
}

func (d *startDetector) describe(x *frame.Frame, c *frame.Compressor) []evidence.Item {
	l := &d.settings.Oil
	items := []evidence.Item{evidence.New(evidence.FloodedStart, evidence.Duration("stopped", time.Duration(c.Stopped)))}
	if !math.IsNaN(d.atStart) {
		items = append(items, evidence.New(evidence.OilBeforeStart,
			evidence.Difference("smoothed_oil_over_dew", units.Kelvin(d.atStart)), evidence.Difference("safe_oil_over_dew", l.Safe)))
	}
	if d.boiling > 0 {
		items = append(items, evidence.New(evidence.OilBoiling,
			evidence.Duration("boiling", time.Duration(d.boiling)), evidence.Difference("boiling_over_dew", l.Boiling)))
	}
	if fall := d.sumpFall(); fall > float64(l.Fall) {
		items = append(items, evidence.New(evidence.SumpFell, evidence.Difference("sump_fall", units.Kelvin(fall))))
	}
	if d.wet > wetFor {
		items = append(items, evidence.New(evidence.LineWetAtStart, evidence.Duration("near_dew", time.Duration(d.wet))))
	}
	if d.dischargeCold(x, c) {
		items = append(items, evidence.New(evidence.DischargeNotWarm, evidence.Difference("discharge_over_condensing", c.Discharge.Above(x.CondensingDew))))
	}
	return items
}
