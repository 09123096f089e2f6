package sensorcheck

import (
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// What coils show of the suction pressure: a thermostatic or electronic valve
// holds some 3 to 12 K at the outlet of its coil, and the air is some 4 to 18 K
// above dew. A pressure that is wrong by a constant moves all coils of a group
// alike. Common practice, no source.
const (
	coilHold       = time.Hour
	coilTau        = 1200.0                  // s
	coilSettle     = int64(30 * time.Minute) // after a start, stop or defrost
	coilRetain     = int64(20 * time.Minute) // after that, until the means can judge
	dryOutlet      = 14.0                    // K, at every outlet
	dryAir         = 26.0                    // K of air above dew
	minApproach    = 4.0                     // K of air above the outlets: starved ones are as warm as the air
	wetOutlet      = -3.0                    // K, at every outlet: colder than wet gas of all coils at once
	dampOutlet     = -0.5                    // K, at every outlet of several coils with a dry line behind them
	dryBehindCoils = 6.0                     // K of superheat in the line, which wet gas cannot reach on the way
)

// A misconfiguration explains the coils when with it put right all are in
// order. Common practice, no source.
const (
	minOrderlyOutlet = 1.0  // K
	maxOrderlyOutlet = 12.0 // K
	maxOrderlyAir    = 20.0 // K above dew
	maxOrderlyLine   = 43.0 // K above dew
)

// coilMeans follows a group's coils between disturbances.
type coilMeans struct {
	outlets, airs []filter.LowPass // °C, of each circuit
	pressure      filter.LowPass   // Pa
	line          filter.LowPass   // °C
	low, high     timer            // the pressure reads low or high
}

// reset forgets everything; circuits is their number.
func (m *coilMeans) reset(circuits int) {
	if m.outlets == nil {
		m.outlets, m.airs = make([]filter.LowPass, circuits), make([]filter.LowPass, circuits)
	}
	clear(m.outlets)
	clear(m.airs)
	*m = coilMeans{outlets: m.outlets, airs: m.airs}
}

// checkCoils finds suction pressures that put all coils out of order at once.
func (c *Checker) checkCoils(x *frame.Frame, dt int64) {
	m := &c.coils
	runner := aRunner(x)
	if runner < 0 || x.At-c.changed < coilSettle {
		m.reset(len(x.Circuits))
		for i := range c.group.Compressors {
			c.retainCoils(c.group.Compressors[i].Pressure.Point)
		}
		return
	}
	v, point := &x.Compressors[runner].Inlet, c.group.Compressors[runner].Pressure.Point
	m.pressure.Update(float64(v.Pressure), dt, coilTau)
	m.line.Update(float64(v.Temperature), dt, coilTau)
	for i := range x.Circuits {
		m.outlets[i].Update(float64(x.Circuits[i].CoilOutlet), dt, coilTau)
		m.airs[i].Update(float64(x.Circuits[i].Air), dt, coilTau)
	}
	dry, wet := m.judge(float64(v.Dew), float64(v.Superheat))
	low, high := m.low.update(dry, dt) >= coilHold, m.high.update(wet, dt) >= coilHold
	if !low && !high {
		if dry || wet || x.At-c.changed < coilSettle+coilRetain {
			c.retainCoils(point)
		}
		return
	}
	code, b, held := evidence.CoilsTooDry, superheat.ReadsLow, m.low.held
	if high {
		code, b, held = evidence.CoilsTooWet, superheat.ReadsHigh, m.high.held
	}
	found := c.explainCoils()
	if found == nil {
		return
	}
	if a := c.raise(code, point, b, x.At-held); a != nil {
		a.describe([]evidence.Value{evidence.Temperature("dew", v.Dew)}, found.as("pressure")...)
	}
}

// retainCoils keeps standing what stands while the coils cannot be judged.
func (c *Checker) retainCoils(point int) {
	c.retain(evidence.CoilsTooDry, point)
	c.retain(evidence.CoilsTooWet, point)
}

// aRunner returns a compressor that runs and has a superheat, or −1.
func aRunner(x *frame.Frame) int {
	for i := range x.Compressors {
		if p := x.Compressors[i].Phase; p != frame.Off && p != frame.Start && isKnown(float64(x.Compressors[i].Inlet.Superheat)) {
			return i
		}
	}
	return -1
}

// judge reports whether all coils show that the pressure reads low (they seem
// dry), or that it reads high (they seem wetter than wet). Takes the dew, °C, and
// the superheat in the line, K.
func (m *coilMeans) judge(dew, line float64) (dry, wet bool) {
	coils, airs, aboveDew, approach := 0, 0, 0.0, 0.0
	damp := line > dryBehindCoils
	dry, wet = true, true
	for i := range m.outlets {
		if !m.outlets[i].Known() {
			continue
		}
		coils++
		outlet := m.outlets[i].Value() - dew
		dry, wet, damp = dry && outlet > dryOutlet, wet && outlet < wetOutlet, damp && outlet < dampOutlet
		if m.airs[i].Known() {
			airs++
			aboveDew += m.airs[i].Value() - dew
			approach += m.airs[i].Value() - m.outlets[i].Value()
		}
	}
	held := airs > 0 && aboveDew/float64(airs) > dryAir && approach/float64(airs) > minApproach
	return coils > 0 && dry && held, coils > 0 && wet || coils > 1 && damp
}

// explainCoils returns the misconfiguration of the pressure that puts every
// coil in order; nil where there is none.
func (c *Checker) explainCoils() *misconfiguration {
	m := &c.coils
	candidates := c.pressureMisconfigurations(units.Pascal(m.pressure.Value()), units.Celsius(m.line.Value()))
	return first(candidates[:], func(g *misconfiguration) bool {
		for i := range m.outlets {
			if m.outlets[i].Known() {
				if outlet := m.outlets[i].Value() - float64(g.dew); !(outlet > minOrderlyOutlet && outlet < maxOrderlyOutlet) {
					return false
				}
			}
			if m.airs[i].Known() && !(m.airs[i].Value()-float64(g.dew) < maxOrderlyAir) {
				return false
			}
		}
		return g.superheat() > 0 && g.superheat() < maxOrderlyLine
	})
}
