package sensorcheck

import (
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// TestSurelyRuns: without a signal only a hot discharge proves that a
// compressor runs; 25 K over its suction is common practice, no source.
func TestSurelyRuns(t *testing.T) {
	checkLimits(t, []limit{{"hotter than the suction by", 24, 26, func(t *testing.T, v float64) bool {
		k := &newFrame(1, 0).Compressors[0]
		k.Signal, k.Inlet.Temperature, k.Discharge = frame.Unset, 10, 10
		k.Discharge += units.Celsius(v)
		return surelyRuns(k)
	}}})
}

// TestPressureStepThatGoesBack is over at once: the level is as it was.
func TestPressureStepThatGoesBack(t *testing.T) {
	h := newHarness(t, setUp{compressors: 1})
	h.run(15, 5*time.Second)
	line := h.x.Compressors[0].Inlet.Temperature
	for _, c := range []struct {
		dew, minutes float64
		want         bool
	}{{-5, 10, true}, {-10, 3, false}} {
		h.suction(0, units.Celsius(c.dew), 12)
		h.x.Compressors[0].Inlet.Temperature = line
		if h.run(c.minutes, 5*time.Second); h.has(evidence.PressureStepped) != c.want {
			t.Errorf("dew %g: %v", c.dew, !c.want)
		}
	}
}
