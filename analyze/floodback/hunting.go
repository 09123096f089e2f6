package floodback

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// huntingDetector follows the turning points of the superheat in steady
// running: a hunt is a row of even swings. Staging and thermostats swing
// unevenly, defrosts are no steady running, and pulse valves are faster than
// Shortest.
//
// Turning points seen with too few readings in a period may be those of
// another, faster swing: then nothing is known.
type huntingDetector struct {
	limits    *HuntingLimits
	superheat filter.LowPass // K
	interval  filter.LowPass // between readings, s
	rising    bool
	extreme   turn // highest or lowest since the last turn
	turns     [maxTurns]turn
	n         int // turns remembered
	present   bool
	evidence  recentEvidence
}

type turn struct {
	at    int64
	value float64 // K
}

// Common practice, no source.
const (
	maxTurns    = 24
	huntHold    = time.Minute      // the cycles themselves are the hold
	huntClear   = 10 * time.Minute // longer than any period
	huntTau     = 5.0              // s; noise
	intervalTau = 60.0             // s
	huntReturn  = 0.75             // share of Swing to come back by before a turn counts
	huntFresh   = 1.5              // periods since the last turn after which a hunt is over
)

// wanted returns the number of turning points in the cycles wanted.
func (d *huntingDetector) wanted() int { return min(2*d.limits.Cycles+1, maxTurns) }

func (d *huntingDetector) step(x *frame.Frame, c *frame.Compressor, f *Finding) {
	f.Severity, f.Hold, f.ClearHold = Notice, huntHold, huntClear
	switch {
	case c.Running == frame.No:
		d.reset()
		f.Verdict = Clear
		return
	case c.Running == frame.Unset || !usable(c):
		f.Verdict = Unknown
		return
	case c.Phase != frame.Steady:
		d.reset()
		f.Verdict = Clear
		return
	}
	if x.Step > 0 {
		d.interval.Update(float64(x.Step)/1e9, x.Step, intervalTau)
	}
	d.follow(turn{x.At, d.superheat.Next(float64(c.Inlet.Superheat), x.Step, huntTau)})
	period, swing, even := d.pattern(x.At)
	if even && swing > float64(d.limits.Swing) && period < float64(d.limits.Samples)*d.interval.Value() {
		d.present = false
		f.Verdict = Unknown
		return
	}
	d.present = even && swing > float64(d.limits.Swing)
	if !d.present {
		d.evidence.reset()
		f.Verdict = Clear
		return
	}
	f.Verdict = Present
	low := d.lowest()
	if low < c.Floor {
		f.Severity = Warning
	}
	if d.evidence.due(x.At, f.Severity) {
		d.evidence.set(x.At, f.Severity,
			evidence.New(evidence.SuperheatSwings, evidence.Difference("swing", units.Kelvin(swing)), evidence.Duration("period", time.Duration(period*1e9))),
			evidence.New(evidence.SwingLows, evidence.Difference("smoothed_low", low), evidence.Difference("floor", c.Floor)))
	}
	f.Evidence = d.evidence.items
}

func (d *huntingDetector) reset() {
	d.superheat.Reset()
	d.n, d.present = 0, false
	d.evidence.reset()
}

// follow finds turning points: the value has come back by a good part of the
// smallest swing.
func (d *huntingDetector) follow(now turn) {
	if d.n == 0 {
		d.extreme, d.rising = now, true
		d.turns[0], d.n = now, 1
		return
	}
	if d.rising == (now.value > d.extreme.value) {
		d.extreme = now
		return
	}
	if math.Abs(now.value-d.extreme.value) < float64(d.limits.Swing)*huntReturn {
		return
	}
	if d.n == d.wanted() {
		copy(d.turns[:], d.turns[1:d.n])
		d.n--
	}
	d.turns[d.n] = d.extreme
	d.n++
	d.rising = !d.rising
	d.extreme = now
}

// pattern returns the period in s and the mean swing in K of the remembered
// turns, and whether they make an even oscillation that still goes on.
func (d *huntingDetector) pattern(at int64) (period, swing float64, even bool) {
	if d.n < d.wanted() {
		return
	}
	var sum, squares float64
	for i := 2; i < d.n; i++ {
		p := float64(d.turns[i].at-d.turns[i-2].at) / 1e9
		sum += p
		squares += p * p
		swing += math.Abs(d.turns[i].value - d.turns[i-1].value)
	}
	n := float64(d.n - 2)
	period, swing = sum/n, swing/n
	spread := math.Sqrt(max(0, squares/n-period*period))
	fresh := float64(at-d.turns[d.n-1].at)/1e9 < huntFresh*period
	l := d.limits
	return period, swing, fresh && period >= l.Shortest.Seconds() && period <= l.Longest.Seconds() && spread < l.Uneven*period
}

// lowest returns the lowest of the remembered turns.
func (d *huntingDetector) lowest() units.Kelvin {
	low := math.Inf(1)
	for i := range d.n {
		low = min(low, d.turns[i].value)
	}
	return units.Kelvin(low)
}
