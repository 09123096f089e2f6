package floodback

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

const (
	// backBand is how far the margin must come back above zero before the
	// condition is interrupted: noise at the edge must not start the hold time
	// anew. Common practice, no source.
	backBand = 0.5 // K
	// aheadBelow is how far below zero the margin freed of its sensor's lag must
	// be where the reading itself has not come below: a shallow dip has to be
	// read, a deep one need not wait for a slow clamp. Common practice, no source.
	aheadBelow = -0.5 // K
	// lowestBy is how far a margin must have come up from its lowest for that to
	// be told beside it.
	lowestBy = 0.5 // K
	// refresh is how often the words of a lasting condition are renewed.
	refresh = int64(10e9)
)

// marginWatch watches the margin of a running compressor over its floor.
type marginWatch struct {
	settings *Settings
	before   float64 // margin of the moment before; NaN when not known
	below    int64   // ns that the margin has been below zero, from between two moments
	present  bool
	clear    int64    // ns that the margin has been above the clear margin
	low      lowest   // of the episode
	worst    Severity // of the episode
	why      []string // it was graded so
	evidence words
	wet      wetness
}

// lowest is the moment of an episode with the lowest margin.
type lowest struct {
	margin, floor float64
	phase         phase.Phase
	seen          bool
}

func newMarginWatch(s *Settings, v Vapour) marginWatch {
	return marginWatch{settings: s, before: math.NaN(), wet: newWetness(v, &s.Wet)}
}

// Step implements Detector: verdict by margin, severity by wetness.
func (d *marginWatch) Step(m *Moment, f *Finding) {
	f.Hold, f.ClearHold = d.settings.Hold.In(m.Phase), d.settings.ClearHold
	switch {
	case m.Running == phase.No:
		// A stopped compressor has no superheat.
		d.rest(m)
		d.wet.stop()
		d.before = math.NaN()
		f.Verdict = Clear
		return
	case m.Running == phase.Unset, !usable(m) && !hidesOnly(m), math.IsNaN(m.Margin):
		d.before = math.NaN()
		f.Verdict = CannotTell
		return
	}
	d.wet.step(m)
	if m.Phase == phase.Start {
		// What comes back in the first two minutes went there while it stood: a
		// flooded start.
		d.rest(m)
		f.Verdict = Clear
		return
	}
	margin := d.wet.superheat - m.Floor
	d.follow(m, margin)
	switch {
	case margin < 0 && (m.Margin < 0 || margin < aheadBelow), d.present && margin < backBand:
		if !d.present {
			f.Lasted = time.Duration(d.below)
		}
		d.present, d.clear = true, 0
		if !d.low.seen || margin < d.low.margin {
			d.low = lowest{margin, m.Floor, m.Phase, true}
		}
		f.Verdict = Present
		f.Severity = d.wet.severity(m)
		f.AtOnce = f.Severity == Major
		f.Unsure = m.Unsure // if it stands this is no superheat at all
		f.Evidence = d.say(m, margin, f.Severity)
	case !usable(m): // what reads high may not clear
		f.Verdict = CannotTell
	case margin > float64(d.settings.ClearMargin):
		d.rest(m)
		f.Verdict = Clear
	default:
		d.present, d.clear = false, 0
		f.Verdict = Between
	}
}

// follow counts how long the margin has been below zero, from where it went
// there on a straight line between two moments.
func (d *marginWatch) follow(m *Moment, margin float64) {
	switch {
	case margin >= 0:
		d.below = 0
	case d.before >= 0:
		d.below = int64(float64(m.Step) * margin / (margin - d.before))
	case d.before < 0:
		d.below += m.Step
	default: // nothing is known of the moment before
		d.below = 0
	}
	d.before = margin
}

// usable says whether the superheat may open or close anything: a value under
// suspicion does neither.
func usable(m *Moment) bool { return m.Quality == reading.Good }

// hidesOnly says that the superheat is suspected of reading too high (a loose
// clamp, a pressure that reads low): one that is below the floor all the same
// is the more so in truth, and no doubt may hide it. It may not clear one.
func hidesOnly(m *Moment) bool {
	return m.Quality == reading.Suspect && m.Lean == superheat.ReadsHigh
}

// rest ends a dip, and after the clear time the episode that it was part of.
func (d *marginWatch) rest(m *Moment) {
	d.present = false
	d.wet.rest()
	d.evidence.forget()
	if d.clear += m.Step; d.clear > int64(d.settings.ClearHold) {
		d.worst, d.why, d.low.seen = NoSeverity, nil, false
	}
}

// say tells the lowest margin so far and where it stands now, both smoothed and
// freed of the sensor's lag (the raw one may be above zero at the very instant),
// and what the worst grade of the episode stands on.
func (d *marginWatch) say(m *Moment, margin float64, sev Severity) []evidence.Item {
	if !d.evidence.due(m.At, sev) {
		return d.evidence.lines
	}
	// A grade outlives its signs a little: fewer of them say less.
	if why := d.wet.words(m); sev > d.worst || sev == d.worst && len(why) >= len(d.why) {
		d.worst, d.why = sev, why
	}
	low := &d.low
	headline := fmt.Sprintf("superheat %.1f K is %.1f K below the floor of %.0f K (%s)", m.Floor+margin, -margin, m.Floor, m.Phase)
	if margin > low.margin+lowestBy {
		headline = fmt.Sprintf("superheat came down to %.1f K, %.1f K below the floor of %.0f K (%s); last seen at %.1f K", low.floor+low.margin, -low.margin, low.floor, low.phase, m.Floor+margin)
	}
	return d.evidence.set(m.At, sev, append([]string{headline}, d.why...))
}

// words keeps the evidence of a lasting condition, so that it is put into
// words now and then and not at every moment.
type words struct {
	at    int64
	sev   Severity
	lines []evidence.Item
}

func (w *words) due(at int64, sev Severity) bool {
	return w.lines == nil || sev != w.sev || at-w.at >= refresh || at < w.at
}

func (w *words) set(at int64, sev Severity, lines []string) []evidence.Item {
	w.at, w.sev, w.lines = at, sev, evidence.Sentences(lines)
	return w.lines
}

func (w *words) forget() { w.lines = nil }
