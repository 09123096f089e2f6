package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Common practice, no source.
const (
	meltingIce     = 0.0 // °C
	plateauHold    = 5 * time.Minute
	plateauFlat    = 0.8 // K that coil and dew may move meanwhile
	plateauIce     = 1.5 // K about the temperature of melting ice
	plateauBy      = 6.0 // K between dew and melting ice
	plateauRepeats = 2   // defrosts that must show the same
	plateauSame    = 2.0 // K that they may differ by
)

// plateau follows the melting ice of a single unit that stands.
type plateau struct {
	flat      timer
	coil, dew float64      // °C, when flat began
	counted   bool         // this defrost is counted
	offset    float64      // K of dew above ice at the last defrost counted
	defrosts  int          // in a row that showed the same
	pressure  units.Pascal // at the last defrost counted
	standing  bool
}

// checkPlateau compares the standing pressure of a single unit with its coil
// while ice melts on it: where refrigerant lies in it, dew is at the ice's
// temperature. It takes two defrosts that show the same, and a misconfiguration
// that explains it: a pumped-down coil has no liquid.
func (c *Checker) checkPlateau(x *frame.Frame, dt int64) {
	if len(x.Circuits) != 1 || len(x.Compressors) != 1 {
		return
	}
	w, v := &c.plateau, &x.Compressors[0].Inlet
	defrosting := isDefrosting(&x.Circuits[0])
	if !defrosting {
		w.counted = false
	}
	coil, dew := float64(x.Circuits[0].CoilOutlet), float64(v.Dew)
	flat := isStandstill(x) && defrosting && !w.counted && math.Abs(coil-meltingIce) < plateauIce && isKnown(dew)
	if flat && w.flat.held > 0 {
		flat = math.Abs(coil-w.coil) < plateauFlat && math.Abs(dew-w.dew) < plateauFlat
	}
	if w.flat.held == 0 {
		w.coil, w.dew = coil, dew
	}
	if w.flat.update(flat, dt) >= plateauHold {
		w.count(dew-coil, v.Pressure)
	}
	if !w.standing {
		return
	}
	// Bar taken for psi shows while the unit runs, and fits many a pumped-down pressure.
	candidates := c.pressureMisconfigurations(w.pressure, meltingIce)
	found := first(candidates[:], func(m *misconfiguration) bool {
		return m.isOfAtmosphere() && math.Abs(float64(m.dew)-meltingIce) <= fitsWithin
	})
	if found == nil {
		return
	}
	if a := c.raise(evidence.NotAtMeltingIce, c.group.Compressors[0].Pressure.Point, biasOf(w.offset), x.At); a != nil {
		a.describe([]evidence.Value{evidence.Temperature("ice", meltingIce), evidence.Temperature("dew", c.dewOf(w.pressure)),
			evidence.Count("defrosts", w.defrosts)}, found.as("pressure")...)
	}
}

// count enters a defrost whose dew stood so many K above the ice.
func (w *plateau) count(offset float64, p units.Pascal) {
	w.counted, w.pressure = true, p
	switch {
	case math.Abs(offset) < plateauBy:
		w.defrosts, w.standing = 0, false
		return
	case w.defrosts > 0 && math.Abs(offset-w.offset) < plateauSame:
		w.defrosts++
	default:
		w.defrosts = 1
	}
	w.offset = offset
	w.standing = w.standing || w.defrosts >= plateauRepeats
}
