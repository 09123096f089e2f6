package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
)

// Oil before and after a start. The trade notes, sections 6 and 12: migration
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
			f := newFilm(t, "R404A", -10, 40)
			f.every = 2 * time.Second
			f.now.SumpTemperature = 35
			if math.IsNaN(tc.over) {
				f.now.SumpTemperature = math.NaN()
			}
			f.roll(10 * time.Minute)
			f.stop()
			f.pressures(5, 20)
			f.now.Superheat, f.now.SumpTemperature = 0, 5+tc.over
			f.roll(tc.standing)
			f.start()
			f.pressures(-12, 35)
			f.now.Superheat = 14
			f.change(2*time.Minute, func(_ time.Duration, m *floodback.Moment) {
				m.SumpTemperature += (-12 + tc.boil - m.SumpTemperature) * f.every.Seconds() / 40
			})
			f.now.Phase = phase.Steady
			f.roll(10 * time.Minute)
			got := fmt.Sprint(f.events())
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
		f := newFilm(t, "R404A", -10, 40)
		f.stop()
		f.pressures(5, 20)
		f.now.Superheat, f.now.SumpTemperature = 0, 4
		f.roll(time.Hour)
		f.start()
		f.now.Whole = whole
		f.pressures(-12, 35)
		f.now.SumpTemperature = -8
		f.roll(2 * time.Minute)
		f.now.Phase, f.now.Superheat = phase.Steady, 14
		f.roll(10 * time.Minute)
		if got := f.kinds(); got["floodback"] || got["flooded_start"] != whole {
			t.Errorf("start seen %v: events %v", whole, f.events())
		}
	}
}
