package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Each table here has a case on either side of a limit. The limits are those of
// the settings and constants beside them, where each has its source.

// TestWetEdge: a wet line reads up to 1.2 K above dew, and more where the room
// warms the clamp: 3.5 % of room − pipe, and half of 1.2 K. Without a discharge
// temperature a line at dew for 75 s is major; near dew it is minor.
func TestWetEdge(t *testing.T) {
	for _, tc := range []struct {
		name      string
		dew, room float64
		superheat units.Kelvin
		want      floodback.Severity
	}{
		{"warm room, below 1.75 K", -10, 24, 1.65, floodback.Major},
		{"warm room, above 1.75 K", -10, 24, 1.85, floodback.Minor},
		{"room not known, below 1.75 K", -10, math.NaN(), 1.65, floodback.Major},
		{"room not known, above 1.75 K", -10, math.NaN(), 1.85, floodback.Minor},
		{"cold room, below 1.2 K", -10, 0, 1.15, floodback.Major},
		{"cold room, above 1.2 K", -10, 0, 1.25, floodback.Minor},
		{"low temperature, below 2.4 K", -30, 24, 2.3, floodback.Major},
		{"low temperature, above 2.4 K", -30, 24, 2.55, floodback.Minor},
		{"droplets, below 1.75 + 2.5 K", -10, 24, 4.05, floodback.Minor},
		{"above 1.75 + 2.5 K", -10, 24, 4.35, floodback.Risk},
	} {
		h := newHarness(t, "R448A", tc.dew, 40)
		h.frame.Ambient = units.Celsius(tc.room)
		h.c.Inlet.Superheat = tc.superheat
		h.run(4 * time.Minute)
		if f := h.finding(floodback.Floodback); f.Verdict != floodback.Present || f.Severity != tc.want {
			t.Errorf("%s: verdict %d, %v; want %v", tc.name, f.Verdict, f.Severity, tc.want)
		}
	}
}

// TestHoldOfGrades: how long a sign has to last until the grade is reached, and
// that it counts down twice as fast as up.
func TestHoldOfGrades(t *testing.T) {
	type leg struct {
		superheat units.Kelvin
		seconds   int
	}
	for _, tc := range []struct {
		name string
		kind frame.CompressorKind
		legs []leg
		want floodback.Severity
	}{
		{"near dew 19 s", frame.Scroll, []leg{{3, 19}}, floodback.Risk},
		{"near dew 20 s", frame.Scroll, []leg{{3, 20}}, floodback.Minor},
		{"at dew 74 s, scroll", frame.Scroll, []leg{{0, 74}}, floodback.Minor},
		{"at dew 75 s, scroll", frame.Scroll, []leg{{0, 75}}, floodback.Major},
		{"at dew 44 s, air-cooled", frame.AirCooledSemiHermetic, []leg{{0, 44}}, floodback.Minor},
		{"at dew 45 s, air-cooled", frame.AirCooledSemiHermetic, []leg{{0, 45}}, floodback.Major},
		{"at dew 89 s, refrigerant-cooled", frame.RefrigerantCooledSemiHermetic, []leg{{0, 89}}, floodback.Minor},
		{"at dew 90 s, refrigerant-cooled", frame.RefrigerantCooledSemiHermetic, []leg{{0, 90}}, floodback.Major},
	} {
		h := newHarness(t, "R448A", -10, 40)
		h.c.Kind = tc.kind
		h.settings.Floor.Steady = 4
		h.frame.Ambient = 24
		// The first frame sets the filters: no lag is left to wait for.
		for i, l := range tc.legs {
			h.c.Inlet.Superheat = l.superheat
			if i == 0 {
				h.step(0)
			}
			h.run(time.Duration(l.seconds) * time.Second)
		}
		if f := h.finding(floodback.Floodback); f.Verdict != floodback.Present || f.Severity != tc.want {
			t.Errorf("%s: verdict %d, %v; want %v", tc.name, f.Verdict, f.Severity, tc.want)
		}
	}
	// 40 s at dew, some time away, and 60 s again: the 40 s are gone when the
	// time away was half of them, not before.
	for _, tc := range []struct {
		away int
		want floodback.Severity
	}{{2, floodback.Major}, {20, floodback.Minor}} {
		h := newHarness(t, "R448A", -10, 40)
		h.c.Inlet.Superheat = 0
		h.step(0)
		h.run(40 * time.Second)
		h.c.Inlet.Superheat = 6
		h.run(time.Duration(tc.away) * time.Second)
		h.c.Inlet.Superheat = 0
		h.run(60 * time.Second)
		if f := h.finding(floodback.Floodback); f.Severity != tc.want {
			t.Errorf("%d s away from dew: %v, want %v", tc.away, f.Severity, tc.want)
		}
	}
}

// TestOilLimits: oil that is near dew or falls fast while the line is wet, for a
// minute, of a machine that has run for ten minutes.
func TestOilLimits(t *testing.T) {
	for _, tc := range []struct {
		name    string
		over    float64 // K over dew
		fall    float64 // K/min
		running time.Duration
		lasts   time.Duration
		want    floodback.Severity
	}{
		{"9.8 K over dew for 61 s", 9.8, 0, time.Hour, 61 * time.Second, floodback.Major},
		{"9.8 K over dew for 58 s", 9.8, 0, time.Hour, 58 * time.Second, floodback.Minor},
		{"10.2 K over dew", 10.2, 0, time.Hour, 61 * time.Second, floodback.Minor},
		{"falls by 2.3 K/min", 45, 2.3, time.Hour, 150 * time.Second, floodback.Major},
		{"falls by 1.8 K/min", 45, 1.8, time.Hour, 150 * time.Second, floodback.Minor},
		{"9.8 K over dew, running for 9 min", 9.8, 0, 8 * time.Minute, 61 * time.Second, floodback.Minor},
		{"9.8 K over dew, running for 11 min", 9.8, 0, 10 * time.Minute, 61 * time.Second, floodback.Major},
	} {
		h := newHarness(t, "R448A", -10, 40)
		h.settings.Wet.StuckFor = time.Hour // the line alone decides nothing
		h.since = -tc.running
		h.c.Inlet.Superheat, h.c.Sump = 0, units.Celsius(-10+tc.over)
		h.step(0)
		h.change(tc.lasts, func(_ time.Duration, c *frame.Compressor) { c.Sump -= units.Celsius(tc.fall / 60) })
		if f := h.finding(floodback.Floodback); f.Severity != tc.want {
			t.Errorf("%s: %v, want %v", tc.name, f.Severity, tc.want)
		}
	}
}

// TestDeadbandOfTheMargin: below zero the condition is present; once it is, it
// stays so up to half a kelvin above, and is clear from the clear margin of 2 K.
func TestDeadbandOfTheMargin(t *testing.T) {
	for _, tc := range []struct {
		dip    bool
		margin units.Kelvin
		want   floodback.Verdict
	}{
		{false, -0.1, floodback.Present}, {false, 0.1, floodback.InDeadband},
		{true, 0.4, floodback.Present}, {true, 0.6, floodback.InDeadband},
		{true, 1.9, floodback.InDeadband}, {true, 2.1, floodback.Clear},
		{false, 1.9, floodback.InDeadband}, {false, 2.1, floodback.Clear},
	} {
		h := newHarness(t, "R134a", -10, 40)
		if tc.dip {
			h.c.Inlet.Superheat = 10
			h.run(time.Minute)
		}
		// Up or down in small steps, so that the estimate does not overshoot.
		from := h.c.Inlet.Superheat
		to := 11 + tc.margin
		h.change(10*time.Minute, func(s time.Duration, c *frame.Compressor) {
			c.Inlet.Superheat = from + (to-from)*units.Kelvin(min(s.Minutes()/8, 1))
		})
		if f := h.finding(floodback.Floodback); f.Verdict != tc.want {
			t.Errorf("after a dip %v, margin %.1f K: verdict %d, want %d", tc.dip, tc.margin, f.Verdict, tc.want)
		}
	}
}

// TestEstimateAheadOfTheReading: on a ramp of 3 K/min the gas is ahead of the
// reading by 3 K/min × (sensor lag + 6 s of pipe wall). It is enough when it is
// more than half a kelvin below the floor.
func TestEstimateAheadOfTheReading(t *testing.T) {
	for _, tc := range []struct {
		lag  float64 // s
		want floodback.Verdict
	}{{3, floodback.InDeadband}, {8, floodback.Present}} { // 0.45 and 0.7 K
		h := newHarness(t, "R134a", -10, 40)
		h.c.Lag = tc.lag
		h.run(time.Minute)
		for h.c.Inlet.Superheat > 11.06 {
			h.c.Inlet.Superheat -= 0.05
			h.step(time.Second)
		}
		if f := h.finding(floodback.Floodback); f.Verdict != tc.want {
			t.Errorf("lag %.0f s, reading %.2f K over the floor: verdict %d, want %d", tc.lag, h.c.Margin, f.Verdict, tc.want)
		}
	}
}

// TestLastedBeforeItWasRead: a dip begins where the estimate crosses zero, not
// where it was read next.
func TestLastedBeforeItWasRead(t *testing.T) {
	for _, every := range []time.Duration{5 * time.Second, 15 * time.Second} {
		h := newHarness(t, "R134a", -10, 40)
		h.every = every
		h.run(5 * time.Minute)
		cross := 0.0
		for h.finding(floodback.Floodback).Verdict != floodback.Present {
			slope := 0.04 // K/s
			h.c.Inlet.Superheat -= units.Kelvin(slope * every.Seconds())
			h.step(every)
			// The gas is ahead by the 6 s of the wall.
			cross = (11 - (float64(h.c.Inlet.Superheat) - slope*6)) / slope
		}
		got := h.finding(floodback.Floodback).Lasted.Seconds()
		if math.Abs(got-cross) > 1.5 {
			t.Errorf("read each %v: lasted %.1f s when first seen, want %.1f s", every, got, cross)
		}
	}
}

// TestFloodedStartLimits: signs of the stop and of the run and the score that
// they make: none while it can still come (InDeadband), a warning, critical.
func TestFloodedStartLimits(t *testing.T) {
	const (
		none     = "between "
		warning  = "present warning"
		critical = "present critical"
	)
	type stop struct {
		over    float64 // K of oil over the standing dew
		minutes float64
	}
	// run is what the machine shows from its start: oil over the running dew
	// before and after a fall, superheat, discharge over the condensing dew.
	type run struct {
		seconds   int
		over      float64
		overThen  float64 // after a minute; 0: as before
		superheat units.Kelvin
		discharge float64
		rise      float64 // of the discharge, K/s
	}
	dry := func(seconds int) run { return run{seconds, 40, 0, 15, 40, 0} }
	with := func(seconds int, change func(*run)) run { r := dry(seconds); change(&r); return r }
	boils := func(seconds int) run { return with(seconds, func(r *run) { r.over = 5 }) }
	for _, tc := range []struct {
		name  string
		stops []stop
		run   run
		want  string
	}{
		{"1.9 K for 21 min", []stop{{1.9, 21}}, dry(30), warning},
		{"1.9 K for 19 min", []stop{{1.9, 19}}, dry(30), none},
		{"2.1 K for 21 min", []stop{{2.1, 21}}, dry(30), none},
		{"5.9 K for 51 min", []stop{{5.9, 51}}, dry(30), warning},
		{"6.1 K for 29 min", []stop{{6.1, 29}}, dry(30), none},
		{"6.1 K for 31 min", []stop{{6.1, 31}}, dry(30), warning},
		{"8.1 K for 51 min", []stop{{8.1, 51}}, dry(30), none},
		{"9.8 K for 22 min, then 7 K for 9 min", []stop{{9.8, 22}, {7, 9}}, dry(30), warning},
		{"10.2 K for 22 min, then 7 K for 9 min", []stop{{10.2, 22}, {7, 9}}, dry(30), none},

		{"cold for 5.5 min, boils for 45 s", []stop{{1, 5.5}}, boils(66), warning},
		{"cold for 5.5 min, boils for 35 s", []stop{{1, 5.5}}, boils(56), none},
		{"cold for 4.5 min, boils", []stop{{1, 4.5}}, boils(120), none},
		{"cool for 5.5 min, boils", []stop{{5.9, 5.5}}, boils(120), warning},
		{"cool for 4.5 min, boils", []stop{{5.9, 4.5}}, boils(120), none},
		{"just not cool, boils", []stop{{6.1, 5.5}}, boils(120), none},
		{"7.9 K over the running dew", []stop{{5.9, 6}}, with(120, func(r *run) { r.over = 7.9 }), warning},
		{"8.1 K over the running dew", []stop{{5.9, 6}}, with(120, func(r *run) { r.over = 8.1 }), none},
		{"cold for long and boils", []stop{{1, 30}}, boils(120), critical},
		{"cold for long, line near dew", []stop{{1, 30}}, with(120, func(r *run) { r.superheat = 2 }), warning},

		{"cold, line at 2.9 K for 35 s", []stop{{1, 6}}, with(56, func(r *run) { r.superheat = 2.9 }), warning},
		{"cold, line at 2.9 K for 25 s", []stop{{1, 6}}, with(46, func(r *run) { r.superheat = 2.9 }), none},
		{"cold, line at 3.1 K", []stop{{1, 6}}, with(120, func(r *run) { r.superheat = 3.1 }), none},
		{"cool, line near dew", []stop{{5.9, 6}}, with(120, func(r *run) { r.superheat = 2 }), none},

		{"cold, oil falls by 4.3 K", []stop{{1, 6}}, with(180, func(r *run) { r.over, r.overThen = 19, 14.7 }), warning},
		{"cold, oil falls by 3.7 K", []stop{{1, 6}}, with(180, func(r *run) { r.over, r.overThen = 18, 14.3 }), none},
		{"cold, oil falls to 16.3 K over dew", []stop{{1, 6}}, with(180, func(r *run) { r.over, r.overThen = 25, 16.3 }), none},
		{"cold, oil falls to 15.7 K over dew", []stop{{1, 6}}, with(180, func(r *run) { r.over, r.overThen = 25, 15.7 }), warning},

		{"cold, discharge 4.8 K over condensing", []stop{{1, 6}}, with(70, func(r *run) { r.discharge = 4.8 }), warning},
		{"cold, discharge 4.8 K over condensing, 50 s", []stop{{1, 6}}, with(50, func(r *run) { r.discharge = 4.8 }), none},
		{"cold, discharge 5.2 K over condensing", []stop{{1, 6}}, with(70, func(r *run) { r.discharge = 5.2 }), none},
		{"cold, discharge warms by 3.7 K", []stop{{1, 6}}, with(75, func(r *run) { r.discharge, r.rise = -10, 0.05 }), warning},
		{"cold, discharge warms by 4.3 K", []stop{{1, 6}}, with(86, func(r *run) { r.discharge, r.rise = -10, 0.05 }), none},

		{"288 s without more", []stop{{1, 6}}, dry(288), none},
		{"292 s without more", []stop{{1, 6}}, dry(292), "clear "},
		{"cold for long, 299 s", []stop{{1, 30}}, dry(299), warning},
		{"cold for long, 302 s", []stop{{1, 30}}, dry(302), "clear "},
		{"a stop of 59 s", []stop{{1, 59. / 60}}, dry(30), "clear "},
		{"a stop of 61 s", []stop{{1, 61. / 60}}, dry(30), none},
	} {
		h := newHarness(t, "R404A", -10, 40)
		h.step(0)
		h.stop()
		h.pressures(5, 20)
		for _, s := range tc.stops {
			h.c.Sump = units.Celsius(5 + s.over)
			h.run(time.Duration(s.minutes * float64(time.Minute)))
		}
		h.start()
		h.pressures(-12, 35)
		h.change(time.Duration(tc.run.seconds)*time.Second, func(s time.Duration, c *frame.Compressor) {
			over := tc.run.over
			if s > time.Minute && tc.run.overThen != 0 {
				over = tc.run.overThen
			}
			c.Sump, c.Inlet.Superheat = units.Celsius(-12+over), tc.run.superheat
			c.Discharge = units.Celsius(35 + tc.run.discharge + tc.run.rise*s.Seconds())
		})
		f := h.finding(floodback.FloodedStart)
		got := map[floodback.Verdict]string{floodback.Clear: "clear ", floodback.InDeadband: "between ", floodback.Present: "present "}[f.Verdict]
		if f.Verdict == floodback.Present {
			got += f.Severity.String()
		}
		if got != tc.want {
			t.Errorf("%s: %q, want %q", tc.name, got, tc.want)
		}
	}
}

// TestHighLimits: superheat above 30 K; discharge above 107 °C with more than
// 25 K, critical 15 K above that; both come back 3 K before they are over.
func TestHighLimits(t *testing.T) {
	for _, tc := range []struct {
		superheat units.Kelvin
		discharge units.Celsius
		before    bool // it was present
		want      string
	}{
		{29.8, 90, false, ""}, {30.2, 90, false, "notice 20m0s"},
		{27.2, 90, true, "notice 20m0s"}, {26.8, 90, true, ""},
		{26, 106.8, false, ""}, {26, 107.2, false, "warning 10m0s"},
		{26, 104.2, true, "warning 10m0s"}, {26, 103.8, true, ""},
		{24.8, 110, false, ""}, {25.2, 110, false, "warning 10m0s"},
		{22.2, 110, true, "warning 10m0s"}, {21.8, 110, true, ""},
		{35, 121.8, false, "warning 10m0s"}, {35, 122.2, false, "critical 10m0s"},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.every = 5 * time.Second
		if tc.before {
			h.c.Inlet.Superheat, h.c.Discharge = 32, tc.discharge
			h.run(5 * time.Minute)
		}
		h.c.Inlet.Superheat, h.c.Discharge = tc.superheat, tc.discharge
		h.run(20 * time.Minute)
		f := h.finding(floodback.HighSuperheat)
		got := ""
		if f.Verdict == floodback.Present {
			got = fmt.Sprint(f.Severity, " ", f.Hold)
		}
		if got != tc.want {
			t.Errorf("%.1f K, %.1f °C, present before %v: %q, want %q", tc.superheat, tc.discharge, tc.before, got, tc.want)
		}
	}
	// A mean of a minute: from 15 K to 40 K it crosses 30 K after a minute's
	// time constant × ln(25/10).
	h := newHarness(t, "R134a", -10, 40)
	h.step(0)
	h.c.Inlet.Superheat = 40
	for h.finding(floodback.HighSuperheat).Verdict != floodback.Present && h.at < time.Hour {
		h.step(time.Second)
	}
	if want := 60 * math.Log(2.5); math.Abs(h.at.Seconds()-want) > 2 {
		t.Errorf("present after %v, want %.0f s", h.at, want)
	}
}

// TestHuntingLimits: swing, period, evenness, number of cycles and of readings.
func TestHuntingLimits(t *testing.T) {
	// A row of cycles, each a rise and a fall, of alternating length and size.
	triangle := func(period, uneven, swing float64) func(s float64) float64 {
		return func(s float64) float64 {
			long, short := period*(1+uneven), period*(1-uneven)
			s = math.Mod(s, long+short)
			p := long
			if s >= long {
				s, p = s-long, short
			}
			up := 2 * s / p
			if up > 1 {
				up = 2 - up
			}
			return 16 + swing*(up-0.5)
		}
	}
	for _, tc := range []struct {
		name  string
		value func(float64) float64
		every time.Duration
		lasts time.Duration
		want  floodback.Verdict
	}{
		{"swing 2.2 K", triangle(300, 0, 2.2), time.Second, time.Hour, floodback.Present},
		{"swing 1.9 K", triangle(300, 0, 1.9), time.Second, time.Hour, floodback.Clear},
		{"period 560 s", triangle(560, 0, 6), time.Second, 2 * time.Hour, floodback.Present},
		{"period 640 s", triangle(640, 0, 6), time.Second, 2 * time.Hour, floodback.Clear},
		{"period 22 s", triangle(22, 0, 8), time.Second, time.Hour, floodback.Present},
		{"period 18 s", triangle(18, 0, 8), time.Second, time.Hour, floodback.Clear},
		{"periods 35 % off", triangle(200, 0.35, 4), time.Second, 2 * time.Hour, floodback.Present},
		{"periods 60 % off", triangle(200, 0.6, 4), time.Second, 2 * time.Hour, floodback.Clear},
		{"seven readings a period", triangle(210, 0, 8), 30 * time.Second, 2 * time.Hour, floodback.Present},
		{"five readings a period", triangle(200, 0, 8), 40 * time.Second, 2 * time.Hour, floodback.Unknown},
		{"three and a half cycles", triangle(200, 0, 4), time.Second, 710 * time.Second, floodback.Clear},
		{"five cycles", triangle(200, 0, 4), time.Second, 1000 * time.Second, floodback.Present},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.every = tc.every
		h.change(tc.lasts, func(s time.Duration, c *frame.Compressor) { c.Inlet.Superheat = units.Kelvin(tc.value(s.Seconds())) })
		if f := h.finding(floodback.Hunting); f.Verdict != tc.want {
			t.Errorf("%s: verdict %d, want %d", tc.name, f.Verdict, tc.want)
		}
	}
	// It is over one and a half periods after the last turn.
	h := newHarness(t, "R134a", -10, 40)
	cycles := triangle(200, 0, 4)
	h.change(2000*time.Second, func(s time.Duration, c *frame.Compressor) { c.Inlet.Superheat = units.Kelvin(cycles(s.Seconds())) })
	end := h.at
	for h.finding(floodback.Hunting).Verdict == floodback.Present && h.at < end+time.Hour {
		h.step(time.Second)
	}
	if lasted := (h.at - end).Seconds(); lasted < 170 || lasted > 310 {
		t.Errorf("a hunt of 200 s is over %.0f s after its last swing, want about 300 s after its last turn", lasted)
	}
}
