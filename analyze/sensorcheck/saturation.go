package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
)

// Common practice, no source.
const (
	wetHold        = 2 * time.Minute  // below −(uncertainty + glide)
	deepHold       = 20 * time.Minute // below −(uncertainty + deepBy): a blend is not that wet for so long
	deepBy         = 1.0              // K
	dewMeanTau     = 120.0            // s
	maxDewMovement = 1.5              // K that dew may be off its mean: while dew moves, the line is late
)

// checkSaturation finds suction lines colder than wet gas can be. Wet gas of a
// blend lies between bubble and dew, so its glide is allowed for a while.
func (c *Checker) checkSaturation(x *frame.Frame, dt int64) {
	below, running := 0, 0
	for i := range x.Compressors {
		k, own := &x.Compressors[i], &c.compressors[i]
		own.dew.Update(float64(k.Inlet.Dew), dt, dewMeanTau)
		s, u := float64(k.Inlet.Superheat), float64(k.Inlet.Uncertainty)
		judged := isSettled(k.Phase) && isKnown(s) && c.dewIsStill(i, x)
		if judged {
			running++
		}
		own.wet.update(judged && s < -(u+c.glide), dt)
		own.deep.update(judged && s < -(u+deepBy), dt)
		if own.belowSaturation() {
			below++
		}
	}
	for i := range x.Compressors {
		own := &c.compressors[i]
		if !own.belowSaturation() || c.isMute(c.group.Compressors[i].Pressure.Point) {
			continue
		}
		code, point, b := evidence.BelowSaturation, c.group.Compressors[i].Temperature.Point, superheat.ReadsLow
		if running > 1 && below == running {
			code, point, b = evidence.AllBelowSaturation, c.group.Compressors[i].Pressure.Point, superheat.ReadsHigh
		}
		a := c.raise(code, point, b, x.At-max(own.wet.held, own.deep.held))
		if a == nil {
			continue
		}
		v := &x.Compressors[i].Inlet
		var ofPressure *misconfiguration
		if code == evidence.AllBelowSaturation || len(x.Compressors) == 1 {
			candidates := c.pressureMisconfigurations(v.Pressure, v.Temperature)
			ofPressure = first(candidates[:], (*misconfiguration).isUsual)
		}
		explanation := explain("pressure", ofPressure, evidence.PressureReadsHigh)
		if code == evidence.BelowSaturation {
			candidates := c.lineMisconfigurations(v.Pressure, v.Temperature)
			ofLine := first(candidates[:], (*misconfiguration).isUsual)
			explanation = append(explain("line", ofLine, evidence.LineReadsLow), explanation...)
		}
		a.describe([]evidence.Value{evidence.Difference("superheat", v.Superheat), evidence.Difference("uncertainty", v.Uncertainty)}, explanation...)
	}
}

// belowSaturation reports whether a line has been colder than wet gas for long.
func (k *compressor) belowSaturation() bool {
	return time.Duration(k.wet.held) >= wetHold || time.Duration(k.deep.held) >= deepHold
}

// dewIsStill reports whether the dew of a compressor's suction moves so little
// that its line follows.
func (c *Checker) dewIsStill(i int, x *frame.Frame) bool {
	return math.Abs(float64(x.Compressors[i].Inlet.Dew)-c.compressors[i].dew.Value()) < maxDewMovement
}

// Common practice, no source.
const (
	reversedHold = time.Minute
	reversedBy   = 30_000.0 // Pa; the limits of both transmitters
)

// checkReversed finds a discharge pressure below the suction pressure of a
// running compressor.
func (c *Checker) checkReversed(x *frame.Frame, dt int64) {
	high := x.DischargePressure
	if c.ledger.explainsPressure() {
		c.reversed.update(false, dt)
		return
	}
	for i := range x.Compressors {
		low := x.Compressors[i].Inlet.Pressure
		if !isKnown(float64(high)) || !isSettled(x.Compressors[i].Phase) || !isKnown(float64(low)) {
			continue
		}
		if c.reversed.update(high < low-reversedBy, dt) >= reversedHold {
			if a := c.raise(evidence.DischargeBelowSuction, c.group.DischargePressure.Point, 0, x.At-c.reversed.held); a != nil {
				a.describe([]evidence.Value{evidence.Pressure("discharge", high), evidence.Pressure("suction", low)})
			}
		}
		return
	}
	c.reversed.update(false, dt)
}

// Below −45 °C single-stage compressors are not released (from memory), and one
// that is built for it has a refrigerant that is not in vacuum there. The rest
// is common practice, no source.
const (
	deepestDew   = -48.0 // °C
	deepestShare = 0.85  // of the pressure of the air
	depthBack    = 8.0   // K above deepestDew, from where the machine is not deep
	depthHold    = 30 * time.Minute
)

// checkDepth finds suctions deeper than single-stage plants run.
func (c *Checker) checkDepth(x *frame.Frame, dt int64) {
	for i := range x.Compressors {
		v, own := &x.Compressors[i].Inlet, &c.compressors[i]
		point := c.group.Compressors[i].Pressure.Point
		running := isSettled(x.Compressors[i].Phase)
		switch deep := v.Pressure < deepestShare*c.group.Atmosphere && float64(v.Dew) < deepestDew; {
		case running && deep:
			own.vacuum.update(true, dt)
		case running && float64(v.Dew) > deepestDew+depthBack:
			own.vacuum.update(false, dt)
		}
		if time.Duration(own.vacuum.held) < depthHold {
			continue
		}
		if !running {
			c.retain(evidence.SuctionTooDeep, point)
			continue
		}
		if a := c.raise(evidence.SuctionTooDeep, point, superheat.ReadsLow, x.At-own.vacuum.held); a != nil {
			candidates := c.pressureMisconfigurations(v.Pressure, v.Temperature)
			a.describe([]evidence.Value{evidence.Pressure("suction", v.Pressure), evidence.Temperature("dew", v.Dew)},
				explain("pressure", first(candidates[:], (*misconfiguration).isUsual), evidence.PressureReadsLow)...)
		}
	}
}
