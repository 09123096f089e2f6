package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// What hunts and what does not: common practice, no source (four cycles and
// more, 20 to 600 s, more than 2 K, even periods, steady running, polled at
// least six times a period).
func TestHunting(t *testing.T) {
	sine := func(period, swing float64) func(time.Duration) float64 {
		return func(s time.Duration) float64 { return 16 + swing/2*math.Sin(2*math.Pi*s.Seconds()/period) }
	}
	square := func(period, swing float64) func(time.Duration) float64 {
		return func(s time.Duration) float64 {
			return 16 + math.Copysign(swing/2, math.Sin(2*math.Pi*s.Seconds()/period))
		}
	}
	uneven := func(s time.Duration) float64 { // stages that come and go
		x := math.Mod(s.Seconds(), 1000)
		if x < 60 || x > 150 && x < 400 || x > 430 && x < 800 {
			return 18
		}
		return 14
	}
	for _, tc := range []struct {
		name  string
		value func(time.Duration) float64
		every time.Duration
		phase frame.Phase
		lasts time.Duration
		want  bool
	}{
		{"2 min, 4 K", sine(120, 4), 2 * time.Second, frame.Steady, 30 * time.Minute, true},
		{"30 s, 4 K", sine(30, 4), time.Second, frame.Steady, 10 * time.Minute, true},
		{"5 min, 6 K, polled each 30 s", sine(300, 6), 30 * time.Second, frame.Steady, time.Hour, true},
		{"three cycles only", sine(120, 4), 2 * time.Second, frame.Steady, 6 * time.Minute, false},
		{"1.5 K", sine(120, 1.5), 2 * time.Second, frame.Steady, time.Hour, false},
		{"uneven stages", uneven, 2 * time.Second, frame.Steady, time.Hour, false},
		{"thermostat, 15 min", square(900, 6), 2 * time.Second, frame.Steady, 3 * time.Hour, false},
		{"pulse valve, 6 s", square(6, 8), time.Second, frame.Steady, time.Hour, false},
		{"2 min, polled each 40 s: cannot tell", sine(120, 8), 40 * time.Second, frame.Steady, 2 * time.Hour, false},
		{"in pulldown", sine(120, 6), 2 * time.Second, frame.Pulldown, time.Hour, false},
		{"while another coil defrosts", sine(120, 6), 2 * time.Second, frame.Defrost, time.Hour, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			h := newHarness(t, "R134a", -10, 40)
			h.every, h.c.Phase = tc.every, tc.phase
			h.change(tc.lasts, func(s time.Duration, c *frame.Compressor) { c.Inlet.Superheat = units.Kelvin(tc.value(s)) })
			if got := h.kinds(); got["hunting"] != tc.want || got["floodback"] {
				t.Errorf("events %v, want hunting %v", h.events(), tc.want)
			}
		})
	}
}

// The evidence holds period, swing and lows, and lows below the floor are a
// warning.
func TestHuntingPeriodAndLows(t *testing.T) {
	h := newHarness(t, "R134a", -10, 40)
	h.every = 2 * time.Second
	h.settings.Floor.Steady = 12
	h.settings.Hold.Steady = 10 * time.Minute
	h.change(30*time.Minute, func(s time.Duration, c *frame.Compressor) {
		c.Inlet.Superheat = units.Kelvin(13 + 3*math.Sin(2*math.Pi*s.Seconds()/150))
	})
	if got := fmt.Sprint(h.events()); got != "[hunting warning]" {
		t.Fatalf("events %s", got)
	}
	swings, _ := h.evidence(evidence.SuperheatSwings)
	if period, swing := swings.Number("period_seconds"), swings.Number("swing_k"); !(math.Abs(period-150) <= 5 && swing >= 5 && swing <= 6.1) {
		t.Errorf("%.0f s and %.1f K of 150 s and 6 K", period, swing)
	}
	lows, _ := h.evidence(evidence.SwingLows)
	if low, floor := lows.Number("smoothed_low_k"), lows.Number("floor_k"); !(low >= 10 && low < 10.5) || floor != 12 {
		t.Errorf("smoothed low of %.1f K and floor of %.0f K, want a little over 10 K and 12 K", low, floor)
	}
}

// Too hot: from memory. A scroll guideline's 30 K,
// 107 °C (225 °F) at the discharge line; hours, not a starved pulldown.
func TestHighSuperheat(t *testing.T) {
	for _, tc := range []struct {
		name      string
		superheat units.Kelvin
		line      units.Celsius
		lasts     time.Duration
		want      string
	}{
		{"usual", 20, 90, 3 * time.Hour, "[]"},
		{"35 K for 15 min", 35, 90, 15 * time.Minute, "[]"},
		{"35 K for 30 min", 35, 90, 30 * time.Minute, "[high_superheat notice]"},
		{"35 K and 110 °C", 35, 110, 30 * time.Minute, "[high_superheat warning]"},
		{"35 K and 125 °C", 35, 125, 30 * time.Minute, "[high_superheat critical]"},
		{"110 °C at 15 K is another matter", 15, 110, 3 * time.Hour, "[]"},
		{"no discharge temperature", 35, units.Celsius(math.NaN()), 30 * time.Minute, "[high_superheat notice]"},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.every = 5 * time.Second
		h.run(10 * time.Minute)
		h.c.Inlet.Superheat, h.c.Discharge = tc.superheat, tc.line
		h.run(tc.lasts)
		if got := fmt.Sprint(h.events()); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.want)
		}
	}
}

// No kind passes for another: each condition makes its own kind alone.
func TestKindsAreNotDisguised(t *testing.T) {
	for _, tc := range []struct {
		want string
		play func(h *harness)
	}{
		{"map[]", func(h *harness) { h.run(3 * time.Hour) }},
		{"map[floodback:true]", func(h *harness) { h.c.Inlet.Superheat = 3; h.run(time.Hour) }},
		{"map[high_superheat:true]", func(h *harness) { h.c.Inlet.Superheat = 38; h.run(time.Hour) }},
		{"map[hunting:true]", func(h *harness) {
			h.change(time.Hour, func(s time.Duration, c *frame.Compressor) {
				c.Inlet.Superheat = units.Kelvin(16 + 2*math.Sin(s.Seconds()/20))
			})
		}},
		{"map[floodback:true hunting:true]", func(h *harness) { // swings with long lows are both
			h.change(2*time.Hour, func(s time.Duration, c *frame.Compressor) {
				c.Inlet.Superheat = units.Kelvin(11 + 6*math.Sin(2*math.Pi*s.Seconds()/300))
			})
		}},
		{"map[]", func(h *harness) { h.stop(); h.c.Inlet.Superheat = 45; h.run(5 * time.Hour) }},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.every = 2 * time.Second
		tc.play(h)
		if got := fmt.Sprint(h.kinds()); got != tc.want {
			t.Errorf("kinds %s, want %s", got, tc.want)
		}
	}
}
