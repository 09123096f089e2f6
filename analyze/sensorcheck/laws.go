package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// quantities is what a group's inputs read at one instant, in SI, with what the
// machines do: the ground on which a mistake is judged. A hypothesis changes one
// of them, and the laws are asked again.
type quantities struct {
	suction, line, hot, sump []float64 // of each compressor: Pa, °C
	high                     float64   // Pa
	outlet, inlet, air       []float64 // of each circuit, °C
	ambient                  float64   // °C

	state  []machineState // of each compressor
	slack  []float64      // K; expanded uncertainty of each superheat
	cold   []bool         // of each circuit: it refrigerates undisturbed
	heated []bool         // of each circuit: by a heater or hot gas, now or shortly before
	stood  bool           // the whole group has stood for a while
	equal  bool           // and its sides have equalized
}

// machineState is what a compressor does, as far as a law needs it.
type machineState uint8

const (
	unclear machineState = iota
	standing
	started // runs, for too short a time for pipes to have followed
	settled
	warm // runs for so long that its discharge line has followed
)

// Times until what a law compares has followed. Common practice, no source.
const (
	lineSettles  = int64(90 * time.Second)
	coilsSettle  = int64(2 * time.Minute)
	hotSettles   = int64(4 * time.Minute)
	heatLeaves   = int64(30 * time.Minute)
	standsSettle = int64(2 * time.Minute)
	// A machine that ran already when the first row came has most likely run for
	// long; a start just before shows in its discharge within this time.
	unseenSettles = int64(15 * time.Second)
	equalSettles  = int64(20 * time.Minute)
)

// span is what a law allows: between low and high all is usual, from least and
// most on it is impossible. Of what is usual, most lies within width of middle;
// a width of 0 prefers nothing.
type span struct{ least, low, high, most, middle, width float64 }

// The laws: what a working refrigeration plant shows. Usual values from trade
// practice, the impossible ones far outside; common practice, no source.
var (
	dewRange      = span{-58, -45, 14, 28, 0, 0}    // °C, running
	overSuction   = span{-3, -1, 36, 70, 13, 9}     // K of superheat in the line; least is below the uncertainty and the glide
	lineOverRoom  = span{-120, -90, 4, 16, 0, 0}    // K of a running line above its room
	outletOverDew = span{-4, -1, 16, 42, 6, 4}      // K, at the coldest outlet; least is below the glide
	inletOverDew  = span{-5, -1, 4, 12, 1, 3}       // K; least and low are below the glide
	airOverDew    = span{-4, 2, 24, 48, 10, 5}      // K, where the air is in doubt,
	dewUnderAir   = span{0, 4, 24, 48, 10, 5}       // K, and where the dew is: a coil that cools has some gap
	outletOverAir = span{-60, -35, 4, 14, -5, 5}    // K, while the circuit refrigerates
	lineOverCoil  = span{-12, -4, 36, 70, 6, 9}     // K above the coldest outlet
	hotOverLine   = span{0, 20, 130, 210, 70, 30}   // K
	hotOverHigh   = span{-12, 4, 85, 140, 40, 25}   // K above the condensing dew
	overIdealWork = span{-.3, -.05, 1.3, 3, .5, .4} // share
	ratio         = span{0.85, 1.2, 25, 60, 0, 0}   // discharge pressure over suction pressure, running
	standingDew   = span{-200, -200, 4, 14, 0, 0}   // K of the standing bubble point above the warmest place that can hold liquid
	equalizedDew  = span{-16, -5, 60, 100, 0, 0}    // K of the equalized dew above the coldest place
	coldRange     = span{-75, -55, 60, 110, 0, 0}   // °C of a line, coil or air, whatever the machine does
	hotRange      = span{-60, -30, 130, 180, 0, 0}  // °C of a discharge
	condensing    = span{-30, 5, 60, 85, 35, 15}    // °C of the condensing dew
)

// maxViolation limits what one law counts, in steps from usual to impossible.
const maxViolation = 3.0

// maxStrange limits what one law counts of being far from the middle.
const maxStrange = 16.0

// violation returns how far x lies outside of what is usual, in steps from usual
// to impossible: 0 is usual, 1 and more impossible. What is not known violates
// nothing.
func (s span) violation(x float64) float64 {
	switch {
	case x < s.low:
		return min((s.low-x)/(s.low-s.least), maxViolation)
	case x > s.high:
		return min((x-s.high)/(s.most-s.high), maxViolation)
	}
	return 0
}

// below returns the span with both its lower ends moved down by k.
func (s span) below(k float64) span { s.least, s.low = s.least-k, s.low-k; return s }

// deeper returns the span with its lower impossible end moved down by k.
func (s span) deeper(k float64) span { s.least -= k; return s }

// verdict is what the laws that a quantity is in show.
type verdict struct {
	sum        float64 // of violations
	strange    float64 // half the squares of how far from their middle usual values lie
	impossible bool    // at least one law cannot hold
	laws       int     // that could be asked
}

func (v *verdict) add(s span, x float64) {
	if !isKnown(x) {
		return
	}
	v.laws++
	violation := s.violation(x)
	v.sum += violation
	if s.width > 0 {
		far := (x - s.middle) / s.width
		v.strange += min(far*far, maxStrange) / 2
	}
	v.impossible = v.impossible || violation >= 1
}

// outside enters a pressure that the refrigerant does not have.
func (v *verdict) outside() {
	v.laws++
	v.sum, v.impossible = v.sum+2*maxViolation, true
}

// runsNow reports whether a compressor runs for long enough for its line.
func (m machineState) runsNow() bool { return m == settled || m == warm }

// judge asks the laws that a target's quantity is in.
func (c *Checker) judge(q *quantities, t target) (v verdict) {
	switch t.kind {
	case suctionPressure:
		if t.index != anyCompressor {
			c.judgeSuction(q, t.index, &v)
			return v
		}
		// What is wrong with a header's pressure shows at most of its machines.
		most, n := 0, 0
		for i := range q.suction {
			var own verdict
			if c.judgeSuction(q, i, &own); own.laws == 0 {
				continue
			}
			n++
			v.sum, v.strange, v.laws = v.sum+own.sum, v.strange+own.strange, v.laws+own.laws
			if own.impossible {
				most++
			}
		}
		if n > 0 {
			v.sum, v.strange = v.sum/float64(n), v.strange/float64(n)
		}
		v.impossible = 2*most > n
	case suctionLine:
		v.add(coldRange, q.line[t.index])
		c.judgeLine(q, t.index, c.dew(q.suction[t.index]), &v)
		c.judgeWorkOf(q, t.index, &v)
		if q.state[t.index] == warm {
			v.add(hotOverLine, q.hot[t.index]-q.line[t.index])
		}
	case discharge:
		v.add(hotRange, q.hot[t.index])
		c.judgeHot(q, t.index, &v)
	case dischargePressure:
		for i := range q.suction {
			if q.state[i].runsNow() {
				if isKnown(q.high) && !isKnown(c.dew(q.high)) {
					v.outside()
					break
				}
				v.add(condensing, c.dew(q.high))
				v.add(ratio, q.high/q.suction[i])
				c.judgeHot(q, i, &v)
				break
			}
		}
	case coil, coilInlet, air:
		c.judgeCircuit(q, t.index, &v)
		own := q.outlet[t.index]
		if t.kind == coilInlet {
			own = q.inlet[t.index]
		} else if t.kind == air {
			own = q.air[t.index]
		}
		v.add(coldRange, own)
	}
	return v
}

// judgeSuction asks the laws of one compressor's suction pressure.
func (c *Checker) judgeSuction(q *quantities, i int, v *verdict) {
	dew := c.dew(q.suction[i])
	if isKnown(q.suction[i]) && !isKnown(dew) {
		v.outside()
		return
	}
	if q.stood {
		coldest, _ := q.around()
		v.add(standingDew, c.bubble(q.suction[i])-q.warmest())
		if q.equal {
			v.add(equalizedDew, dew-coldest)
		}
	}
	if !q.state[i].runsNow() {
		return
	}
	v.add(dewRange, dew)
	v.add(ratio, q.high/q.suction[i])
	c.judgeLine(q, i, dew, v)
	c.judgeWorkOf(q, i, v)
	coldest := math.Inf(1)
	for k := range q.outlet {
		if q.cold[k] {
			v.add(inletOverDew.below(c.glide), q.inlet[k]-dew)
			v.add(dewUnderAir, q.air[k]-dew)
			if isKnown(q.outlet[k]) {
				coldest = min(coldest, q.outlet[k])
			}
		}
	}
	if !math.IsInf(coldest, 0) {
		v.add(outletOverDew.deeper(c.glide/2), coldest-dew)
	}
}

// judgeLine asks the laws of one running line.
func (c *Checker) judgeLine(q *quantities, i int, dew float64, v *verdict) {
	if !q.state[i].runsNow() {
		return
	}
	v.add(overSuction.deeper(q.slack[i]+c.glide), q.line[i]-dew)
	v.add(lineOverRoom, q.line[i]-q.ambient)
	coldest := math.Inf(1)
	for k := range q.outlet {
		if !q.cold[k] || !isKnown(q.outlet[k]) {
			return // wet gas may come from a coil that is not measured
		}
		coldest = min(coldest, q.outlet[k])
	}
	if !math.IsInf(coldest, 0) {
		v.add(lineOverCoil, q.line[i]-coldest)
	}
}

// judgeHot asks the laws of one running discharge.
func (c *Checker) judgeHot(q *quantities, i int, v *verdict) {
	if q.state[i] != warm {
		return
	}
	v.add(hotOverLine, q.hot[i]-q.line[i])
	v.add(hotOverHigh, q.hot[i]-c.dew(q.high))
	c.judgeWorkOf(q, i, v)
}

// judgeWorkOf asks whether a compressor's work is possible. At dew, wet gas
// cools the discharge for good reason.
func (c *Checker) judgeWorkOf(q *quantities, i int, v *verdict) {
	if c.vapour == nil || q.state[i] != warm || !(q.line[i]-c.dew(q.suction[i]) > minWorkSuperheat) {
		return
	}
	if share, ok := c.overIdeal(units.Pascal(q.suction[i]), units.Celsius(q.line[i]), units.Pascal(q.high), units.Celsius(q.hot[i])); ok {
		v.add(overIdealWork, share)
	}
}

// judgeCircuit asks the laws of one circuit that refrigerates.
func (c *Checker) judgeCircuit(q *quantities, k int, v *verdict) {
	if !q.cold[k] {
		return
	}
	for i := range q.suction {
		if q.state[i].runsNow() {
			v.add(outletOverAir, q.outlet[k]-q.air[k])
			dew := c.dew(q.suction[i])
			v.add(outletOverDew.deeper(c.glide/2), q.outlet[k]-dew)
			v.add(inletOverDew.below(c.glide), q.inlet[k]-dew)
			v.add(airOverDew, q.air[k]-dew)
			return
		}
	}
}

// warmest returns the temperature of the warmest place of a standing group that
// can hold liquid: its coils, where all are measured and none is heated, for
// liquid goes to the coldest place; else whatever is warmest.
func (q *quantities) warmest() float64 {
	most := math.Inf(-1)
	for k := range q.outlet {
		if q.heated[k] || !isKnown(q.outlet[k]) || !isKnown(q.air[k]) {
			_, warmest := q.around()
			return warmest
		}
		most = max(most, q.outlet[k], q.air[k])
	}
	if math.IsInf(most, 0) {
		_, warmest := q.around()
		return warmest
	}
	return most
}

// around returns the coldest and the warmest temperature of the low side.
func (q *quantities) around() (coldest, warmest float64) {
	coldest, warmest = math.Inf(1), math.Inf(-1)
	take := func(t float64) {
		if isKnown(t) {
			coldest, warmest = min(coldest, t), max(warmest, t)
		}
	}
	take(q.ambient)
	for _, list := range [...][]float64{q.line, q.outlet, q.inlet, q.air} {
		for _, t := range list {
			take(t)
		}
	}
	if math.IsInf(coldest, 0) {
		return math.NaN(), math.NaN()
	}
	return coldest, warmest
}

func (c *Checker) dew(p float64) float64    { return float64(c.dewOf(units.Pascal(p))) }
func (c *Checker) bubble(p float64) float64 { return c.bubbleOf(units.Pascal(p)) }

// read writes what the inputs of a frame read, with what the machines do.
// Values that no working sensor reaches count as well: they are how a mistake
// shows.
func (c *Checker) read(x *frame.Frame, q *quantities) {
	c.noteSignals(x)
	q.stood = true
	for i := range x.Compressors {
		k, own := &x.Compressors[i], &c.group.Compressors[i]
		q.suction[i] = shownBy(own.Pressure, float64(k.Inlet.Pressure))
		q.line[i] = shownBy(own.Temperature, float64(k.Inlet.Temperature))
		q.hot[i] = shownBy(own.Discharge, float64(k.Discharge))
		q.sump[i] = float64(k.Sump)
		if q.slack[i] = float64(k.Inlet.Uncertainty); !isKnown(q.slack[i]) {
			q.slack[i] = usualUncertainty
		}
		// While dew moves, the line is late by about as much.
		if moves := math.Abs(float64(k.Inlet.Dew) - c.compressors[i].dew.Value()); isKnown(moves) {
			q.slack[i] += moves
		}
		q.state[i] = c.stateOf(i, x)
		q.stood = q.stood && q.state[i] == standing
	}
	q.high = shownBy(c.group.DischargePressure, float64(x.DischargePressure))
	q.ambient = float64(x.Ambient)
	q.equal = q.stood && x.At-c.ledger.disturbed >= equalSettles && isEqualized(units.Pascal(q.suction[0]), x)
	undisturbed := c.ledger.disturbed == 0 || x.At-c.ledger.disturbed >= coilsSettle
	for k := range q.outlet {
		w := &c.group.Circuits[k]
		q.outlet[k] = shownBy(w.CoilOutlet, float64(x.Circuits[k].CoilOutlet))
		q.inlet[k] = shownBy(w.CoilInlet, float64(x.Circuits[k].CoilInlet))
		q.air[k] = shownBy(w.Air, float64(x.Circuits[k].Air))
		stage := x.Circuits[k].Stage
		q.heated[k] = x.Circuits[k].Kind != frame.OffCycle && (c.ledger.heated[k] || c.ledger.heatedAt[k] > 0 && x.At-c.ledger.heatedAt[k] < heatLeaves)
		q.cold[k] = undisturbed && (stage == frame.Refrigerating || stage == frame.StageUnknown && x.Circuits[k].Signal == frame.No)
	}
}

// usualUncertainty stands in where the superheat has none: a typical
// installation at low temperature. K; common practice, no source.
const usualUncertainty = 2.8

// shownBy returns value; where an input has none because it lies outside of what
// a sensor can read, the value that was refused.
func shownBy(in Input, value float64) float64 {
	if in.Signal == nil || isKnown(value) {
		return value
	}
	if refused, ok := in.Signal.Refused(); ok {
		return refused
	}
	return math.NaN()
}

// noteSignals notes what signals, or sure inference, show of each compressor,
// and since when.
func (c *Checker) noteSignals(x *frame.Frame) {
	l := &c.ledger
	for i := range x.Compressors {
		k, own := &x.Compressors[i], &c.compressors[i]
		on := k.Signal
		if on == frame.Yes && k.Phase == frame.Off {
			on = frame.Unset
		}
		if on == frame.Unset && k.Sure {
			switch {
			case k.Phase == frame.Off:
				on = frame.No
			case isSettled(k.Phase):
				on = frame.Yes
			}
		}
		if on == own.on && !x.LongGap {
			continue
		}
		own.turnSeen = on != frame.Unset && own.on != frame.Unset && !x.LongGap
		if own.turnSeen {
			l.disturbed = x.At
		}
		own.on, own.onSince = on, x.At
	}
	for i := range l.heated {
		heated := isDefrosting(&x.Circuits[i]) || x.Circuits[i].Signal == frame.Yes
		if heated != l.heated[i] {
			l.heated[i], l.disturbed, l.heatedAt[i] = heated, x.At, x.At
		}
	}
}

// stateOf returns what a compressor does by evidence other than its suction.
func (c *Checker) stateOf(i int, x *frame.Frame) machineState {
	own := &c.compressors[i]
	long := x.At - own.onSince
	switch own.on {
	case frame.No:
		if own.turnSeen && long < standsSettle {
			return unclear
		}
		return standing
	case frame.Yes:
		switch {
		case own.turnSeen && long < lineSettles:
			return started
		case own.turnSeen && long < hotSettles, long < unseenSettles:
			return settled
		}
		return warm
	}
	return unclear
}
