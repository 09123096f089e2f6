package cause

import (
	"math"

	"dewgap/analyze/filter"
)

// swings measures how a superheat swings: from turn to turn, so that a slow
// climb or fall counts for nothing.
type swings struct {
	up      bool
	begun   int64          // when the present watch began; 0: it has not
	extreme float64        // since the last turn, K
	at      int64          // of extreme
	turn    float64        // last turn, K
	turned  int64          // when that was
	last    float64        // last half swing, K
	half    float64        // its length, s
	level   filter.LowPass // of last, K
}

// Common practice, no source.
const (
	turnBack    = 0.7        // K; how far a value must come back from an extreme to have turned
	slowestHalf = 300.0      // s; a half swing that takes longer is no swing of a valve
	watchFor    = 4 * minute // without a break, before a superheat is taken for one that does not swing
	swingTau    = 900.0      // s
	overdue     = 2.5        // half swings without a turn after which the swing has ended
	overdueMin  = 60.0       // s; no swing has ended sooner
)

func (w *swings) update(at, step int64, v float64) {
	if w.begun == 0 {
		w.begun, w.extreme, w.at, w.turn, w.turned = at, v, at, v, at
	}
	switch {
	case w.up == (v > w.extreme):
		w.extreme, w.at = v, at
	case math.Abs(v-w.extreme) >= turnBack:
		w.last = math.Abs(w.extreme - w.turn)
		w.half = float64(w.at-w.turned) / 1e9
		if w.half > slowestHalf || w.turned == w.begun { // the climb from a restart is no swing
			w.last = 0
		}
		w.turn, w.turned = w.extreme, w.at
		w.up = !w.up
		w.extreme, w.at = v, at
	}
	if w.last == 0 && at-w.begun < watchFor {
		return // a swing would not have shown yet
	}
	now := w.last
	if float64(at-w.turned)/1e9 > max(overdue*w.half, overdueMin) {
		now = 0
	}
	w.level.Update(now, step, swingTau)
}

// pause forgets the swing under way.
func (w *swings) pause() { w.begun, w.last = 0, 0 }

// swing returns how far the superheat swings of late, peak to peak, K; NaN
// while compressors that come and go have not let it be watched.
func (w *swings) swing() float64 { return w.level.Value() }
