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
	stoppedHold     = 45 * time.Minute
	stoppedBy       = 6.0 // K between a long stopped line and its room
	clampHold       = 30 * time.Minute
	clampNear       = 2.0  // K between a running line and the room
	minClampAmbient = 25.0 // K of room above dew, so that line and room differ
)

// checkAmbient compares with the machine room, where its temperature is known:
// a line that has stood for long is as warm as the room; one that runs is not.
func (c *Checker) checkAmbient(x *frame.Frame, dt int64) {
	stopped := allStand(x) && allSignalled(x)
	ambient := float64(x.Ambient)
	for i := range x.Compressors {
		k, own := &x.Compressors[i], &c.compressors[i]
		v, point := &k.Inlet, c.group.Compressors[i].Temperature.Point
		line := float64(v.Temperature)
		off := line - ambient // NaN where one is not known: fits nothing below
		if own.stopped.update(stopped, dt) >= stoppedHold && math.Abs(off) > stoppedBy {
			if a := c.raise(evidence.NotAtAmbient, point, biasOf(off), x.At-own.stopped.held); a != nil {
				candidates := c.lineMisconfigurations(v.Pressure, v.Temperature)
				found := first(candidates[:], func(m *misconfiguration) bool { return math.Abs(float64(m.line-x.Ambient)) < fitsWithin })
				a.describe([]evidence.Value{evidence.Duration("stopped", stoppedHold), evidence.Temperature("line", v.Temperature),
					evidence.Temperature("ambient", x.Ambient)}, explain("line", found, evidence.LineWrongCurve)...)
			}
		}
		near := surelyRuns(k) && math.Abs(off) < clampNear && ambient-float64(v.DelayedDew) > minClampAmbient
		if own.ambient.update(near, dt) >= clampHold {
			if a := c.raise(evidence.LooseClamp, point, superheat.ReadsHigh, x.At-own.ambient.held); a != nil {
				a.describe([]evidence.Value{evidence.Temperature("line", v.Temperature), evidence.Temperature("ambient", x.Ambient)})
			}
		}
	}
}
