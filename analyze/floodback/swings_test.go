package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
)

// What hunts and what does not: the trade notes, section 11 (four cycles and
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
		phase phase.Phase
		lasts time.Duration
		want  bool
	}{
		{"2 min, 4 K", sine(120, 4), 2 * time.Second, phase.Steady, 30 * time.Minute, true},
		{"30 s, 4 K", sine(30, 4), time.Second, phase.Steady, 10 * time.Minute, true},
		{"5 min, 6 K, polled each 30 s", sine(300, 6), 30 * time.Second, phase.Steady, time.Hour, true},
		{"three cycles only", sine(120, 4), 2 * time.Second, phase.Steady, 6 * time.Minute, false},
		{"1.5 K", sine(120, 1.5), 2 * time.Second, phase.Steady, time.Hour, false},
		{"uneven stages", uneven, 2 * time.Second, phase.Steady, time.Hour, false},
		{"thermostat, 15 min", square(900, 6), 2 * time.Second, phase.Steady, 3 * time.Hour, false},
		{"pulse valve, 6 s", square(6, 8), time.Second, phase.Steady, time.Hour, false},
		{"2 min, polled each 40 s: cannot tell", sine(120, 8), 40 * time.Second, phase.Steady, 2 * time.Hour, false},
		{"in pulldown", sine(120, 6), 2 * time.Second, phase.Pulldown, time.Hour, false},
		{"while another coil defrosts", sine(120, 6), 2 * time.Second, phase.Defrost, time.Hour, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newFilm(t, "R134a", -10, 40)
			f.every, f.now.Phase = tc.every, tc.phase
			f.change(tc.lasts, func(s time.Duration, m *floodback.Moment) { m.Superheat = tc.value(s) })
			if got := f.kinds(); got["hunting"] != tc.want || got["floodback"] {
				t.Errorf("events %v, want hunting %v", f.events(), tc.want)
			}
		})
	}
}

// It says period and swing, and warns when the lows are below the floor.
func TestHuntingTellsPeriodAndLows(t *testing.T) {
	f := newFilm(t, "R134a", -10, 40)
	f.every = 2 * time.Second
	f.settings.Floor.Steady = 12
	f.settings.Hold.Steady = 10 * time.Minute
	f.change(30*time.Minute, func(s time.Duration, m *floodback.Moment) {
		m.Superheat = 13 + 3*math.Sin(2*math.Pi*s.Seconds()/150)
	})
	if got := fmt.Sprint(f.events()); got != "[hunting warning]" {
		t.Fatalf("events %s", got)
	}
	var swing, period float64
	if _, err := fmt.Sscanf(evidence.Renderer{}.Text(f.last().Evidence[0]), "superheat swings by %f K with a period of %f s", &swing, &period); err != nil {
		t.Fatal(err, f.last().Evidence)
	}
	if math.Abs(period-150) > 5 || swing < 5 || swing > 6.1 {
		t.Errorf("told %.0f s and %.1f K of 150 s and 6 K", period, swing)
	}
}

// Too hot: the trade notes, sections 6, 7 and 10. A scroll guideline's 30 K,
// 107 °C (225 °F) at the discharge line; hours, not a starved pulldown.
func TestHighSuperheat(t *testing.T) {
	for _, tc := range []struct {
		name            string
		superheat, line float64
		lasts           time.Duration
		want            string
	}{
		{"usual", 20, 90, 3 * time.Hour, "[]"},
		{"35 K for 15 min", 35, 90, 15 * time.Minute, "[]"},
		{"35 K for 30 min", 35, 90, 30 * time.Minute, "[high_superheat notice]"},
		{"35 K and 110 °C", 35, 110, 30 * time.Minute, "[high_superheat warning]"},
		{"35 K and 125 °C", 35, 125, 30 * time.Minute, "[high_superheat critical]"},
		{"110 °C at 15 K is another matter", 15, 110, 3 * time.Hour, "[]"},
		{"no discharge temperature", 35, math.NaN(), 30 * time.Minute, "[high_superheat notice]"},
	} {
		f := newFilm(t, "R134a", -10, 40)
		f.every = 5 * time.Second
		f.roll(10 * time.Minute)
		f.now.Superheat, f.now.DischargeTemperature = tc.superheat, tc.line
		f.roll(tc.lasts)
		if got := fmt.Sprint(f.events()); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.want)
		}
	}
}

// No kind passes for another: each condition makes its own kind alone.
func TestKindsAreNotDisguised(t *testing.T) {
	for _, tc := range []struct {
		want string
		play func(f *film)
	}{
		{"map[]", func(f *film) { f.roll(3 * time.Hour) }},
		{"map[floodback:true]", func(f *film) { f.now.Superheat = 3; f.roll(time.Hour) }},
		{"map[high_superheat:true]", func(f *film) { f.now.Superheat = 38; f.roll(time.Hour) }},
		{"map[hunting:true]", func(f *film) {
			f.change(time.Hour, func(s time.Duration, m *floodback.Moment) { m.Superheat = 16 + 2*math.Sin(s.Seconds()/20) })
		}},
		{"map[floodback:true hunting:true]", func(f *film) { // swings with long lows are both
			f.change(2*time.Hour, func(s time.Duration, m *floodback.Moment) { m.Superheat = 11 + 6*math.Sin(2*math.Pi*s.Seconds()/300) })
		}},
		{"map[]", func(f *film) { f.stop(); f.now.Superheat = 45; f.roll(5 * time.Hour) }},
	} {
		f := newFilm(t, "R134a", -10, 40)
		f.every = 2 * time.Second
		tc.play(f)
		if got := fmt.Sprint(f.kinds()); got != tc.want {
			t.Errorf("kinds %s, want %s", got, tc.want)
		}
	}
}
