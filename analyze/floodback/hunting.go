package floodback

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/filter"
	"dewgap/analyze/phase"
)

// huntingWatch follows the turning points of the superheat in steady running:
// a hunt is a row of even swings. Staging and thermostats swing unevenly,
// defrosts are no steady running, and pulse valves are faster than Shortest.
//
// Turning points seen with too few readings in a period may be those of
// another, faster swing: then it cannot tell.
type huntingWatch struct {
	limits   *HuntingLimits
	value    filter.LowPass
	step     filter.LowPass // between readings, s
	rising   bool
	extreme  float64 // since the last turn
	extremeT int64
	turns    [mostTurns]turn
	n        int
	present  bool
	evidence words
}

type turn struct {
	at    int64
	value float64
}

const (
	mostTurns  = 24
	huntHold   = time.Minute      // the cycles themselves are the hold; common practice
	huntClear  = 10 * time.Minute // longer than any period; common practice
	huntTau    = 5.0              // s; noise
	huntReturn = 0.75             // share of Swing to come back by before a turn is believed
	huntFresh  = 1.5              // periods since the last turn after which a hunt is over
)

func newHuntingWatch(s *Settings) huntingWatch { return huntingWatch{limits: &s.Hunting} }

// wanted is the number of turning points of the cycles wanted.
func (d *huntingWatch) wanted() int { return min(2*d.limits.Cycles+1, mostTurns) }

// Step implements Detector.
func (d *huntingWatch) Step(m *Moment, f *Finding) {
	f.Severity, f.Hold, f.ClearHold = Notice, huntHold, huntClear
	switch {
	case m.Running == phase.No:
		d.forget()
		f.Verdict = Clear
		return
	case m.Running == phase.Unset || !usable(m):
		f.Verdict = CannotTell
		return
	case m.Phase != phase.Steady:
		d.forget()
		f.Verdict = Clear
		return
	}
	if m.Step > 0 {
		d.step.Update(float64(m.Step)/1e9, m.Step, 60)
	}
	d.follow(m.At, d.value.Update(m.Superheat, m.Step, huntTau))
	period, swing, even := d.pattern(m.At)
	if even && swing > float64(d.limits.Swing) && period < float64(d.limits.Samples)*d.step.Value() {
		d.present = false
		f.Verdict = CannotTell
		return
	}
	d.present = even && swing > float64(d.limits.Swing)
	if !d.present {
		d.evidence.forget()
		f.Verdict = Clear
		return
	}
	f.Verdict = Present
	low := d.lowest()
	if low < m.Floor {
		f.Severity = Warning
	}
	if d.evidence.due(m.At, f.Severity) {
		d.evidence.set(m.At, f.Severity, []string{
			fmt.Sprintf("superheat swings by %.1f K with a period of %.0f s", swing, period),
			fmt.Sprintf("lowest %.1f K against a floor of %.0f K", low, m.Floor),
		})
	}
	f.Evidence = d.evidence.lines
}

func (d *huntingWatch) forget() {
	d.value, d.n, d.present = filter.LowPass{}, 0, false
	d.evidence.forget()
}

// follow finds turning points: the value has come back by a good part of the
// smallest swing.
func (d *huntingWatch) follow(at int64, x float64) {
	if d.n == 0 {
		d.extreme, d.extremeT, d.rising = x, at, true
		d.turns[0], d.n = turn{at, x}, 1
		return
	}
	if d.rising == (x > d.extreme) {
		d.extreme, d.extremeT = x, at
		return
	}
	if math.Abs(x-d.extreme) < float64(d.limits.Swing)*huntReturn {
		return
	}
	if d.n == d.wanted() {
		copy(d.turns[:], d.turns[1:d.n])
		d.n--
	}
	d.turns[d.n] = turn{d.extremeT, d.extreme}
	d.n++
	d.rising = !d.rising
	d.extreme, d.extremeT = x, at
}

// pattern returns period and mean swing of the remembered turns, and whether
// they make an even oscillation that still goes on.
func (d *huntingWatch) pattern(at int64) (period, swing float64, even bool) {
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

func (d *huntingWatch) lowest() float64 {
	low := math.Inf(1)
	for i := range d.n {
		low = min(low, d.turns[i].value)
	}
	return low
}
