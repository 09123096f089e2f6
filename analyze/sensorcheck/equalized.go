package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// What a group that stands shows. Common practice, no source.
const (
	standstillHold = 40 * time.Minute
	equalizedBy    = 30_000.0 // Pa between sides that have equalized: then liquid lies in the coldest place
	nearEqualized  = 3.5      // K that saturation may lie outside the temperatures around it, where the sides have equalized
	nearApart      = 5.0      // K, where they have not
	dissolvedBy    = 8.0      // K that refrigerant dissolved in oil may hold saturation below the coldest place, unless a known mistake puts it right there
	coldOilBy      = 12.0     // K over the coldest place: colder oil has taken the liquid up
	fitsWithin     = 2.5      // K; a misconfiguration explains what it brings this near
)

// standstill follows a group that stands.
type standstill struct{ held timer }

// checkStandstill compares the standing pressure with the temperatures around
// it. Where liquid lies, the refrigerant has between its bubble and its dew
// temperature; liquid goes to the coldest place, and can be nowhere warmer than
// the warmest. Until a standstill shows otherwise, what stands remains.
func (c *Checker) checkStandstill(x *frame.Frame, dt int64) {
	w := &c.standstill
	if w.held.update(isStandstill(x), dt) < standstillHold {
		for i := range c.group.Compressors {
			c.retain(evidence.NotEqualized, c.group.Compressors[i].Pressure.Point)
		}
		return
	}
	coldest, warmest := around(x)
	for i := range x.Compressors {
		p := x.Compressors[i].Inlet.Pressure
		b := c.standingBias(p, coldest, warmest, x)
		if b == 0 {
			continue
		}
		if a := c.raise(evidence.NotEqualized, c.group.Compressors[i].Pressure.Point, b, x.At-w.held.held); a != nil {
			a.describe([]evidence.Value{evidence.Duration("stopped", standstillHold), evidence.Temperature("dew", c.dewOf(p)),
				evidence.Temperature("coldest", units.Celsius(coldest)), evidence.Temperature("warmest", units.Celsius(warmest))},
				explain("pressure", c.explainStanding(p, coldest, warmest), evidence.StandingPressureOff)...)
		}
	}
}

// isStandstill reports whether the whole group stands: by its signals, or since
// its sides have equalized.
func isStandstill(x *frame.Frame) bool {
	return allStand(x) && (allSignalled(x) || isEqualized(x.Compressors[0].Inlet.Pressure, x))
}

// standingBias returns which way a standing pressure is wrong; 0 where nothing
// shows that it is.
func (c *Checker) standingBias(p units.Pascal, coldest, warmest float64, x *frame.Frame) bias {
	dew, bubble := float64(c.dewOf(p)), c.bubbleOf(p)
	equalized, near := isEqualized(p, x), nearApart
	if equalized {
		near = nearEqualized
	}
	switch {
	case math.IsInf(coldest, 0) || !isKnown(dew):
	case bubble > warmest+near:
		return superheat.ReadsHigh
	case equalized && dew < coldest-near && !hasColdOil(coldest, x):
		if dew < coldest-dissolvedBy || c.explainStanding(p, coldest, coldest) != nil {
			return superheat.ReadsLow
		}
	}
	return 0
}

// bubbleOf returns the bubble temperature of p in °C; NaN where the refrigerant
// has none.
func (c *Checker) bubbleOf(p units.Pascal) float64 {
	t, err := c.group.Fluid.Bubble(p)
	if err != nil {
		return math.NaN()
	}
	return float64(t)
}

// around returns the coldest and the warmest temperature known of the group, in
// °C; infinite where none is.
func around(x *frame.Frame) (coldest, warmest float64) {
	coldest, warmest = math.Inf(1), math.Inf(-1)
	take := func(t units.Celsius) {
		if isKnown(float64(t)) {
			coldest, warmest = min(coldest, float64(t)), max(warmest, float64(t))
		}
	}
	take(x.Ambient)
	for i := range x.Compressors {
		take(x.Compressors[i].Inlet.Temperature)
	}
	for i := range x.Circuits {
		take(x.Circuits[i].CoilOutlet)
		take(x.Circuits[i].Air)
	}
	return coldest, warmest
}

// isEqualized reports whether both sides stand at one pressure: what could flow
// has, so that there is liquid in the coldest place.
func isEqualized(p units.Pascal, x *frame.Frame) bool {
	return math.Abs(float64(x.DischargePressure-p)) < equalizedBy
}

// explainStanding returns the misconfiguration that would explain a standing
// pressure; nil where there is none.
func (c *Checker) explainStanding(p units.Pascal, coldest, warmest float64) *misconfiguration {
	candidates := c.pressureMisconfigurations(p, units.Celsius(coldest))
	return first(candidates[:], func(m *misconfiguration) bool {
		return c.bubbleOf(m.pressure) < warmest+fitsWithin && float64(m.dew) > coldest-fitsWithin
	})
}

// hasColdOil reports whether some oil is so cold that it may have dissolved all
// liquid, so that the pressure shows nothing of the coldest place.
func hasColdOil(coldest float64, x *frame.Frame) bool {
	for i := range x.Compressors {
		if float64(x.Compressors[i].Sump) < coldest+coldOilBy {
			return true
		}
	}
	return false
}
