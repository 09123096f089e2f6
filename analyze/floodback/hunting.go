package floodback

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
)

// What makes swings a hunt. Shared trade notes, §11 (common practice): at least
// four cycles, 20 to 600 s, even periods, swings of more than 2 K.
const (
	huntSwing    = 2.0 // K peak to peak
	huntCycles   = 5
	huntShortest = 20.0  // s
	huntLongest  = 600.0 // s
	huntUneven   = 0.3   // coefficient of variation of the periods
	huntTurns    = 2 * huntCycles
)

// huntingWatch follows the turning points of the superheat in steady running.
type huntingWatch struct {
	value    smooth
	rising   bool
	extreme  float64 // since the last turn
	extremeT int64
	turns    [huntTurns]turn
	n        int
	present  bool
	evidence words
}

type turn struct {
	at    int64
	value float64
}

// Step implements Detector.
func (d *huntingWatch) Step(m *Moment, f *Finding) {
	f.Severity, f.Hold, f.ClearHold = Notice, time.Minute, 10*time.Minute
	switch {
	case m.Running == phase.No:
		d.forget()
		f.Verdict = Clear
		return
	case m.Running == phase.NotKnown || !usable(m):
		f.Verdict = CannotTell
		return
	case m.Phase != phase.Steady:
		d.forget()
		f.Verdict = Clear
		return
	}
	x := d.value.take(m.Superheat, m.Step, 5)
	d.follow(m.At, x)
	period, swing, even := d.pattern(m.At)
	d.present = even && swing > max(huntSwing, 0.3)
	if !d.present {
		d.evidence.forget()
		f.Verdict = Clear
		return
	}
	f.Verdict = Present
	if low := d.lowest(); low < m.Floor {
		f.Severity = Warning
	}
	if d.evidence.due(m.At, f.Severity) {
		d.evidence.set(m.At, f.Severity, []string{
			fmt.Sprintf("superheat swings by %.1f K with a period of %.0f s", swing, period),
			fmt.Sprintf("lowest %.1f K against a floor of %.0f K", d.lowest(), m.Floor),
		})
	}
	f.Evidence = d.evidence.lines
}

func (d *huntingWatch) forget() {
	d.value, d.n, d.present = smooth{}, 0, false
	d.evidence.forget()
}

// follow finds turning points: the value has come back by half a swing.
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
	if math.Abs(x-d.extreme) < huntSwing*0.75 {
		return
	}
	if d.n == huntTurns {
		copy(d.turns[:], d.turns[1:])
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
	if d.n < huntTurns {
		return
	}
	var sum, squares float64
	for i := 2; i < huntTurns; i++ {
		p := float64(d.turns[i].at-d.turns[i-2].at) / 1e9
		sum += p
		squares += p * p
		swing += math.Abs(d.turns[i].value - d.turns[i-1].value)
	}
	n := float64(huntTurns - 2)
	period, swing = sum/n, swing/n
	spread := math.Sqrt(max(0, squares/n-period*period))
	fresh := float64(at-d.turns[huntTurns-1].at)/1e9 < 1.5*period
	return period, swing, fresh && period >= huntShortest && period <= huntLongest && spread < huntUneven*period
}

func (d *huntingWatch) lowest() float64 {
	low := math.Inf(1)
	for i := range d.n {
		low = min(low, d.turns[i].value)
	}
	return low
}
