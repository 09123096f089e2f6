package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Oil before and after a start. From memory: migration
// when the oil stood within 5 K of the standing dew, success at 10 K; the oil
// drops as the foam boils; the suction line may read normal. The rest of the
// numbers is common practice, no source.
func TestFloodedStart(t *testing.T) {
	const none = ""
	for _, tc := range []struct {
		name     string
		standing time.Duration
		over     float64 // K of oil over the standing dew
		boil     float64 // K of oil over the running dew, that it comes to in the first minutes
		want     string
	}{
		{"crankcase heater works", 6 * time.Hour, 16, 30, none},
		{"oil warm, falls as a warm sump does", 2 * time.Hour, 45, 28, none},
		{"oil stood as cold as the dew for long", time.Hour, 1, 30, "warning"},
		{"oil stood colder than the dew, and boils", time.Hour, -3, 4, "critical"},
		{"oil hardly warmer, and boils", 20 * time.Minute, 5, 5, "warning"},
		{"oil hardly warmer for most of an hour", time.Hour, 5, 25, "warning"},
		{"oil hardly warmer, does not boil", 20 * time.Minute, 5, 25, none},
		{"below the mark of safety for most of an hour", 45 * time.Minute, 7, 25, "warning"},
		{"just below the mark of safety", time.Hour, 9, 25, none},
		{"short stop: what boils came while it ran", 4 * time.Minute, 1, 4, none},
		{"no oil temperature", 6 * time.Hour, math.NaN(), math.NaN(), none},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := newHarness(t, "R404A", -10, 40)
			h.every = 2 * time.Second
			h.c.Sump = 35
			if math.IsNaN(tc.over) {
				h.c.Sump = units.Celsius(math.NaN())
			}
			h.run(10 * time.Minute)
			h.stop()
			h.pressures(5, 20)
			h.c.Inlet.Superheat, h.c.Sump = 0, units.Celsius(5+tc.over)
			h.run(tc.standing)
			h.start()
			h.pressures(-12, 35)
			h.c.Inlet.Superheat = 14
			h.change(2*time.Minute, func(_ time.Duration, c *frame.Compressor) {
				c.Sump += units.Celsius(-12+tc.boil-float64(c.Sump)) * units.Celsius(h.every.Seconds()/40)
			})
			h.c.Phase = frame.Steady
			h.run(10 * time.Minute)
			got := fmt.Sprint(h.events())
			want := "[]"
			if tc.want != none {
				want = "[flooded_start " + tc.want + "]"
			}
			if got != want {
				t.Errorf("events %s, want %s", got, want)
			}
		})
	}
}

// A flooded start is no floodback (trap 35), though the line is at dew all
// through the start phase, and a machine found running has no start to judge.
func TestTrap35FloodedStartIsNoFloodback(t *testing.T) {
	for _, whole := range []bool{true, false} {
		h := newHarness(t, "R404A", -10, 40)
		h.stop()
		h.pressures(5, 20)
		h.c.Inlet.Superheat, h.c.Sump = 0, 4
		h.run(time.Hour)
		h.start()
		h.c.Whole = whole
		h.pressures(-12, 35)
		h.c.Sump = -8
		h.run(2 * time.Minute)
		h.c.Phase, h.c.Inlet.Superheat = frame.Steady, 14
		h.run(10 * time.Minute)
		if got := h.kinds(); got["floodback"] || got["flooded_start"] != whole {
			t.Errorf("start seen %v: events %v", whole, h.events())
		}
	}
}
