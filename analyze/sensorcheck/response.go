package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// A suction pressure moves when the last compressor of its group stops or the
// first one starts; one behind a shut valve is steady and plausible. What lies
// between silent and answered counts for nothing: a shut-in transmitter still
// moves by some per cent with the temperature of its line. Shares are of the
// absolute pressure; 1 % is about 0.3 K of dew. Common practice, no source.
const (
	responseWindow = int64(5 * time.Minute) // before and after a turn
	responseLeast  = int64(3 * time.Minute) // to the next turn: a device may refresh each minute
	responseEach   = 3                      // readings after a turn
	silentShare    = 0.01                   // moved by less: no response
	silentNoise    = 6.0                    // standard deviations that white noise spans within the window
	mostSilent     = 0.03                   // moved by more is no silence, however noisy
	answeredShare  = 0.06                   // moved by more: it responds
	witnessMoved   = 3.0                    // K by which a temperature or the condensing dew must have moved
	silentTurns    = 2                      // stops, or starts
	responseKept   = 32                     // readings: the window at the quick pace
)

// response follows how one suction pressure moves when its group stops and
// starts.
type response struct {
	in        Input
	kept      [responseKept]pressureAt
	next      int
	low, high float64 // Pa; about the turn that is followed
	readings  int     // since that turn
	at        int64   // of the last reading
	silent    [2]int  // starts and stops in a row without a response
	moved     float64 // Pa; most at those
	witness   float64 // K; most that anything else moved at those
	since     int64   // ns; the first of those
	standing  bool
}

// pressureAt is what a pressure read at a time.
type pressureAt struct {
	at    int64
	value float64 // Pa
}

// turns follows the stops and starts of the whole group: one compressor of
// several may stop without moving a pressure that the others hold.
type turns struct {
	on       frame.Tristate // of any compressor
	at       int64          // ns; of the turn that is followed; 0: none
	stop     bool           // it is a stop
	previous []float64      // witnesses of the row before, °C
	before   []float64      // witnesses before the turn, °C
	moved    float64        // K; most that a witness moved since
}

// groupRuns reports whether any compressor runs; Unset where that is not sure.
func groupRuns(x *frame.Frame) frame.Tristate {
	on := frame.No
	for i := range x.Compressors {
		k := &x.Compressors[i]
		switch {
		case !k.Sure || k.Running == frame.Unset:
			if on == frame.No {
				on = frame.Unset
			}
		case k.Running == frame.Yes:
			return frame.Yes
		}
	}
	return on
}

// checkResponse finds suction pressures that stand still while the group stops
// and starts.
func (c *Checker) checkResponse(x *frame.Frame) {
	t := &c.turns
	if x.LongGap {
		t.on, t.at = frame.Unset, 0
	}
	on := groupRuns(x)
	turned := on != frame.Unset && t.on != frame.Unset && on != t.on
	if t.at != 0 && (turned || x.At-t.at >= responseWindow) {
		c.judgeTurn(x)
	}
	t.on = on
	if turned {
		t.at, t.stop, t.moved = x.At, on == frame.No, 0
		copy(t.before, t.previous)
	}
	c.followWitnesses(x)
	for i := range c.responses {
		r := &c.responses[i]
		if turned {
			r.begin(x.At)
		}
		if value, ok := known(r.in, x.At); ok {
			r.take(r.in.Signal.At(), value)
		}
		if r.standing && find(c.next, evidence.Frozen, r.in.Point) == nil {
			c.raiseResponse(r)
		}
	}
}

// followWitnesses notes by how much lines, discharges and the condensing dew
// have moved since the turn.
func (c *Checker) followWitnesses(x *frame.Frame) {
	t := &c.turns
	now := t.previous[:0]
	for i := range x.Compressors {
		now = append(now, float64(x.Compressors[i].Inlet.Temperature), float64(x.Compressors[i].Discharge))
	}
	t.previous = append(now, float64(x.CondensingDew))
	if t.at == 0 {
		return
	}
	for i, v := range t.previous {
		if d := math.Abs(v - t.before[i]); d > t.moved {
			t.moved = d
		}
	}
}

// begin starts to follow a turn, from what was read in the minutes before it.
func (r *response) begin(at int64) {
	r.low, r.high, r.readings = math.Inf(1), math.Inf(-1), 0
	for _, k := range r.kept {
		if k.at > 0 && at-k.at <= responseWindow {
			r.low, r.high = min(r.low, k.value), max(r.high, k.value)
		}
	}
}

// take enters a reading.
func (r *response) take(at int64, value float64) {
	if at == r.at {
		return
	}
	r.at = at
	r.kept[r.next] = pressureAt{at, value}
	r.next = (r.next + 1) % responseKept
	r.low, r.high = min(r.low, value), max(r.high, value)
	r.readings++
}

// judgeTurn counts the turn that was followed for or against each pressure, and
// ends it.
func (c *Checker) judgeTurn(x *frame.Frame) {
	t := &c.turns
	for i := range c.responses {
		r := &c.responses[i]
		moved, level := r.high-r.low, (r.high+r.low)/2
		noise := silentNoise * r.in.Signal.Noise()
		_, ok := known(r.in, x.At)
		switch {
		case !(level > 0) || math.IsInf(moved, 0):
		case moved >= max(answeredShare*level, noise):
			r.silent, r.moved, r.witness, r.standing = [2]int{}, 0, 0, false
		case !ok, x.At-t.at < responseLeast, r.readings < responseEach, t.moved < witnessMoved:
		case find(c.standing, evidence.PressureMisconfigured, r.in.Point) != nil:
		case moved <= min(max(silentShare*level, noise), mostSilent*level):
			r.count(t, moved)
		}
	}
	t.at = 0
}

// count enters a turn without a response.
func (r *response) count(t *turns, moved float64) {
	if r.silent == [2]int{} {
		r.since = t.at
	}
	direction := 0
	if t.stop {
		direction = 1
	}
	r.silent[direction]++
	r.moved, r.witness = max(r.moved, moved), max(r.witness, t.moved)
	r.standing = r.standing || r.silent[direction] >= silentTurns
}

// raiseResponse raises what stands against a pressure, in place of every guess
// that takes it for a live one.
func (c *Checker) raiseResponse(r *response) {
	kept := c.next[:0]
	for _, a := range c.next {
		if a.Point != r.in.Point || !guessesPressure(a.Code) {
			kept = append(kept, a)
		}
	}
	c.next = kept
	if a := c.raise(evidence.DoesNotRespond, r.in.Point, 0, r.since); a != nil {
		a.describe([]evidence.Value{evidence.Count("turns", r.silent[0]+r.silent[1]), evidence.PressureDifference("moved", units.Pascal(r.moved)),
			evidence.Difference("neighbour", units.Kelvin(r.witness))})
	}
}

// isMute reports whether a pressure has not responded to the last turn that
// showed it: what it reads may be no suction pressure, and no unit explains it.
func (c *Checker) isMute(point int) bool {
	for i := range c.responses {
		if r := &c.responses[i]; r.in.Point == point {
			return r.silent != [2]int{}
		}
	}
	return false
}

// guessesPressure reports whether an anomaly names a mistake that would explain
// a live pressure.
func guessesPressure(code evidence.Code) bool {
	switch code {
	case evidence.CoilsTooDry, evidence.CoilsTooWet, evidence.NotEqualized, evidence.NotAtMeltingIce, evidence.SuctionTooDeep,
		evidence.TooLittleWork, evidence.TooMuchWork, evidence.BelowSaturation, evidence.AllBelowSaturation:
		return true
	}
	return false
}
