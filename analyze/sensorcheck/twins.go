package sensorcheck

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Pressures of one header. Common practice, no source.
const (
	apartBy    = 25_000.0 // Pa; both limits of error and the header's own loss
	apartShare = 0.08     // of the pressure, where that is more
	apartHold  = 10 * time.Minute
)

// checkTwins compares suction pressures that are measured at each compressor:
// those that run share a header. Of two that differ either may be wrong, and
// neither is trusted.
func (c *Checker) checkTwins(x *frame.Frame, dt int64) {
	for i := range x.Compressors {
		pressure, others := float64(x.Compressors[i].Inlet.Pressure), c.others[:0]
		for j := range x.Compressors {
			p := float64(x.Compressors[j].Inlet.Pressure)
			if j != i && c.group.Compressors[j].Pressure.Point != c.group.Compressors[i].Pressure.Point && surelyRuns(&x.Compressors[j]) && isKnown(p) {
				others = append(others, p)
			}
		}
		c.others = others
		slices.Sort(others)
		middle := filter.Median(others)
		apart := surelyRuns(&x.Compressors[i]) && math.Abs(pressure-middle) > max(apartBy, apartShare*middle)
		own := &c.compressors[i]
		if own.apart.update(apart, dt) < apartHold {
			continue
		}
		if a := c.raise(evidence.TwinsDisagree, c.group.Compressors[i].Pressure.Point, biasOf(pressure-middle), x.At-own.apart.held); a != nil {
			a.describe([]evidence.Value{evidence.Pressure("suction", units.Pascal(pressure)), evidence.Pressure("others", units.Pascal(middle))})
		}
	}
}
