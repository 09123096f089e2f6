package floodback

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

const (
	// resumeMargin is how far the margin must come back above zero before the
	// condition is interrupted: noise at the edge must not start the hold time
	// anew. K; common practice, no source.
	resumeMargin = 0.5
	// unreadMargin is how far below zero the margin of the gas estimate must be
	// where the reading itself has not come below: a shallow dip has to be read,
	// a deep one need not wait for a slow clamp. K; common practice, no source.
	unreadMargin = -0.5
	// dipMemory is how long short dips are remembered, and repeatedDips how many
	// hold times they have to add up to within it: about a quarter of the time.
	// Common practice, no source: what wets the oil is time and depth, whether in
	// one piece or in many.
	dipMemory    = 15 * time.Minute
	repeatedDips = 2
	// shownStep is by how much a lowest value has to fall before the evidence
	// that holds it is renewed: half of the last digit shown. K.
	shownStep = 0.05
)

// LeastReadings is how many readings in a row a hold time has at least: where
// they come each minute, one below the floor may be a swing or noise. Common
// practice, no source.
const LeastReadings = 3

// marginDetector follows the margin of a running compressor over its floor.
//
// Two series are told apart. The measured superheat, in the frame, is what
// states, events and records show. The estimate of the gas superheat, freed of
// the lag of sensor and pipe, decides when a dip begins and ends, for a slow
// clamp makes a dip both later and shallower. Where a dip turns, it overshoots by
// a kelvin or so.
type marginDetector struct {
	settings *Settings
	before   float64 // margin of the estimate at the frame before, K; NaN when not known
	below    int64   // ns that it has been below zero, beginning between two frames
	present  bool
	clear    int64 // ns that it has been above the clear margin
	wet      wetness
	dip      int64   // ns of the present dip
	short    float64 // ns of dips shorter than the hold time, forgotten over dipMemory
	repeated bool    // they add up to a floodback

	// Of the episode: a dip and those that follow before the clear time is over.
	low      float64         // lowest margin of the estimate, K; NaN: none
	lowGas   float64         // estimate at that moment, K
	shown    float64         // low when the evidence was put together
	worst    Severity        // worst grade
	grounds  []evidence.Item // of that grade
	evidence recentEvidence
}

func newMarginDetector(s *Settings, v Vapour) marginDetector {
	d := marginDetector{settings: s, before: math.NaN(), wet: newWetness(v, &s.Wet)}
	d.endEpisode()
	return d
}

// step writes the verdict by the margin and the severity by wetness.
func (d *marginDetector) step(x *frame.Frame, c *frame.Compressor, f *Finding) {
	f.Hold, f.ClearHold = d.settings.Hold.In(c.Phase), d.settings.ClearHold
	f.Hold = max(f.Hold, LeastReadings*time.Duration(c.Interval))
	switch {
	case c.Running == frame.No:
		// A stopped compressor has no superheat.
		d.endDip(x)
		d.wet.stop()
		d.before = math.NaN()
		f.Verdict = Clear
		return
	case c.Running == frame.Unset, !usable(c) && !readsHigh(c), math.IsNaN(float64(c.Margin)):
		d.before = math.NaN()
		f.Verdict = Unknown
		return
	}
	d.wet.step(x, c)
	if c.Phase == frame.Start {
		// What comes back in the first two minutes went there while it stood: a
		// flooded start.
		d.endDip(x)
		f.Verdict = Clear
		return
	}
	margin := d.wet.gas - float64(c.Floor)
	d.follow(x, margin)
	d.addUp(x, f.Hold, c.Signal == frame.Yes)
	switch {
	case margin < 0 && (c.Margin < 0 || margin < unreadMargin), d.present && margin < resumeMargin:
		if !d.present {
			f.Lasted = time.Duration(d.below)
		}
		d.present, d.clear = true, 0
		d.dip += x.Step
		if d.repeated {
			f.Hold = 0 // the dips before have held
		}
		if !(margin >= d.low) {
			d.low, d.lowGas = margin, d.wet.gas
		}
		f.Verdict = Present
		f.Severity = d.wet.severity(c)
		f.Immediate = f.Severity == Major
		f.Unsure = !c.Sure // of a machine that stands this is no superheat at all
		f.Evidence = d.describe(x, f.Severity)
	case !usable(c): // what reads high may not clear
		f.Verdict = Unknown
	case margin > float64(d.settings.ClearMargin):
		d.endDip(x)
		f.Verdict = Clear
		if d.repeated {
			f.Verdict = InDeadband // the next dip is due
		}
	default:
		d.present, d.clear = false, 0
		f.Verdict = InDeadband
	}
}

// follow counts how long the margin has been below zero, from where it went
// there on a straight line between two frames.
func (d *marginDetector) follow(x *frame.Frame, margin float64) {
	switch {
	case margin >= 0:
		d.below = 0
	case d.before >= 0:
		d.below = int64(float64(x.Step) * margin / (margin - d.before))
	case d.before < 0:
		d.below += x.Step
	default: // nothing is known of the frame before
		d.below = 0
	}
	d.before = margin
}

// addUp adds a dip that is over to those remembered, where it was shorter than the
// hold time: a longer one has opened an event by itself. Where no signal shows that
// the compressor runs, short dips are mostly those of short stops.
func (d *marginDetector) addUp(x *frame.Frame, hold time.Duration, signalled bool) {
	if d.short > 0 {
		d.short -= d.short * min(1, float64(x.Step)/float64(dipMemory))
	}
	if !d.present && d.dip > 0 {
		if signalled && d.dip < int64(hold) {
			d.short += float64(d.dip)
		}
		d.dip = 0
	}
	d.repeated = d.short >= repeatedDips*float64(hold) && hold > 0
}

// usable reports whether the superheat may open or close anything: a suspect
// value does neither.
func usable(c *frame.Compressor) bool { return c.Inlet.Quality == reading.Good }

// readsHigh reports whether the superheat is suspected of reading too high (a
// loose clamp, a pressure that reads low). If such a reading is below the
// floor, so is the gas: it may open an event, and may not close one.
func readsHigh(c *frame.Compressor) bool {
	return c.Inlet.Quality == reading.Suspect && c.Inlet.Bias == superheat.ReadsHigh
}

// endDip ends a dip, and after the clear time the episode that it was part of.
func (d *marginDetector) endDip(x *frame.Frame) {
	d.present = false
	d.wet.reset()
	d.evidence.reset()
	if d.clear += x.Step; d.clear > int64(d.settings.ClearHold) {
		d.endEpisode()
	}
}

func (d *marginDetector) endEpisode() {
	d.worst, d.grounds = NoSeverity, nil
	d.low, d.lowGas, d.shown = math.NaN(), math.NaN(), math.NaN()
}

// describe returns the lowest estimate of the episode and what its worst grade
// stands on. Superheat, margin and floor of the event are figures of the
// measured series, which package alert takes from the states.
func (d *marginDetector) describe(x *frame.Frame, sev Severity) []evidence.Item {
	if !d.evidence.due(x.At, sev) && d.low > d.shown-shownStep {
		return d.evidence.items
	}
	// A grade outlives its signs for some seconds: fewer of them do not replace
	// the full list.
	if g := d.wet.grounds(); sev > d.worst || sev == d.worst && len(g) >= len(d.grounds) {
		d.worst, d.grounds = sev, g
	}
	d.shown = d.low
	gas := max(0, d.lowGas) // gas is never below its dew: what is, is overshoot of the estimate
	estimate := evidence.New(evidence.GasSuperheatEstimate, evidence.Difference("gas_superheat", units.Kelvin(gas)))
	items := append([]evidence.Item{estimate}, d.grounds...)
	if d.repeated {
		items = append(items, evidence.New(evidence.RepeatedDips, evidence.Duration("below", time.Duration(d.short)), evidence.Duration("within", dipMemory)))
	}
	d.evidence.set(x.At, sev, items...)
	return d.evidence.items
}
