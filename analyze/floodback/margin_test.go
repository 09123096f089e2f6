package floodback_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// The default hold times: 60 s in steady running, 30 s in
// pulldown, against floors of 11 and 8 K.
func TestHoldEdges(t *testing.T) {
	for _, tc := range []struct {
		phase     frame.Phase
		superheat units.Kelvin
		seconds   int
		want      bool
	}{
		{frame.Steady, 10, 59, false},
		{frame.Steady, 10, 60, true},
		{frame.Defrost, 10, 59, false},
		{frame.Defrost, 10, 60, true},
		{frame.Pulldown, 7, 29, false},
		{frame.Pulldown, 7, 30, true},
		{frame.Pulldown, 9, 3600, false}, // above the floor of the pulldown
		{frame.Steady, 11.1, 3600, false},
	} {
		t.Run(fmt.Sprintf("%s %.0f K %d s", tc.phase, tc.superheat, tc.seconds), func(t *testing.T) {
			h := newHarness(t, "R134a", -10, 40)
			h.c.Phase, h.c.Inlet.Superheat = tc.phase, tc.superheat
			h.step(0)
			h.run(time.Duration(tc.seconds) * time.Second)
			if got := h.kinds()["floodback"]; got != tc.want {
				t.Errorf("event %v, want %v", got, tc.want)
			}
		})
	}
}

// Where readings come slowly the hold time has three of them at least: one or two
// below the floor may be a swing or noise.
func TestHoldHasThreeReadings(t *testing.T) {
	for _, tc := range []struct {
		phase    frame.Phase
		interval time.Duration
		after    time.Duration // the event opens
	}{
		{frame.Steady, time.Second, time.Minute},
		{frame.Steady, 20 * time.Second, time.Minute},
		{frame.Steady, 30 * time.Second, 90 * time.Second},
		{frame.Steady, time.Minute, 3 * time.Minute},
		{frame.Pulldown, 10 * time.Second, 30 * time.Second},
		{frame.Pulldown, 15 * time.Second, 45 * time.Second},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.every, h.c.Interval = tc.interval, int64(tc.interval)
		h.c.Phase, h.c.Inlet.Superheat = tc.phase, 5
		h.step(0)
		h.run(tc.after - tc.interval)
		if h.kinds()["floodback"] {
			t.Errorf("%s read each %v: opened before %v", tc.phase, tc.interval, tc.after)
		}
		h.run(tc.interval)
		if !h.kinds()["floodback"] {
			t.Errorf("%s read each %v: not open after %v", tc.phase, tc.interval, tc.after)
		}
	}
}

// Dips that are each shorter than the hold time count by their share of time as
// one long dip does: 40 s in each two minutes and a half is more than a quarter.
// Twenty seconds in five minutes are not.
func TestRepeatedShortDips(t *testing.T) {
	for _, tc := range []struct {
		below, each time.Duration
		want        bool
	}{
		{40 * time.Second, 150 * time.Second, true},
		{20 * time.Second, 70 * time.Second, true},
		{40 * time.Second, 10 * time.Minute, false},
		{20 * time.Second, 5 * time.Minute, false},
		{55 * time.Second, time.Hour, false},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Signal = frame.Yes
		h.step(0)
		opened := 0
		for range 3 * time.Hour / tc.each {
			h.c.Inlet.Superheat = 5
			h.run(tc.below)
			h.c.Inlet.Superheat = 15
			h.run(tc.each - tc.below)
		}
		for _, ev := range h.history.Events() {
			if ev.Kind == "floodback" {
				opened++
			}
		}
		if (opened > 0) != tc.want {
			t.Errorf("%v below in each %v: %d events, want any: %v", tc.below, tc.each, opened, tc.want)
		}
		if opened > 1 {
			t.Errorf("%v below in each %v: %d events for one state of things", tc.below, tc.each, opened)
		}
		// Once they stop, the event closes.
		h.run(time.Hour)
		for _, ev := range h.book.Open() {
			if ev.Kind == "floodback" {
				t.Errorf("%v below in each %v: open an hour after the last dip", tc.below, tc.each)
			}
		}
	}
}

// A dip that the sensor follows is as long as it is, whatever the filter: one
// clearly shorter than the hold time opens nothing, one clearly longer does.
func TestDipsAroundTheHoldTime(t *testing.T) {
	for _, lag := range []float64{0, 20, 40} {
		for _, every := range []time.Duration{time.Second, 5 * time.Second, 10 * time.Second} {
			for seconds, want := range map[int]bool{40: false, 90: true} {
				h := newHarness(t, "R134a", -10, 40)
				h.every, h.c.Lag = every, lag
				h.run(5 * time.Minute)
				felt := 15.0
				play := func(d time.Duration, truth float64) {
					h.change(d, func(_ time.Duration, c *frame.Compressor) {
						s := every.Seconds()
						felt = truth + (felt-truth)*math.Exp(-s/max(lag, 1e-9))
						c.Inlet.Superheat = units.Kelvin(felt)
					})
				}
				play(time.Duration(seconds)*time.Second, 4)
				play(10*time.Minute, 15)
				if got := h.kinds()["floodback"]; got != want {
					t.Errorf("dip of %d s behind a lag of %.0f s, read each %v: event %v, want %v", seconds, lag, every, got, want)
				}
			}
		}
	}
}

// A clamp behind a lag and the pipe's wall (6 s; common practice, no source)
// makes a dip shallower; the estimate in the evidence is that of the gas, low by a
// kelvin at most where the dip turns; the figures of the event are measured ones.
func TestGasEstimateBehindALag(t *testing.T) {
	for _, lag := range []float64{10, 30} {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Lag = lag
		wall, clamp := 15.0, 15.0
		lowest := math.Inf(1)
		h.change(10*time.Minute, func(s time.Duration, c *frame.Compressor) {
			gas := 15 - 11*math.Sin(math.Pi*min(s.Seconds(), 200)/200) // down to 4 K and back
			wall += (gas - wall) * (1 - math.Exp(-1/6.0))
			clamp += (wall - clamp) * (1 - math.Exp(-1/lag))
			c.Inlet.Superheat = units.Kelvin(clamp)
			lowest = min(lowest, clamp)
		})
		item, _ := h.evidence(evidence.GasSuperheatEstimate)
		if got := item.Number("gas_superheat_k"); got < 2.9 || got > 4.2 {
			t.Errorf("lag %.0f s: lowest gas superheat %.1f K, want 4 K", lag, got)
		}
		if got := *h.last().MinSuperheatK; math.Abs(got-lowest) > 0.06 {
			t.Errorf("lag %.0f s: lowest measured superheat %.2f K, want %.2f K", lag, got, lowest)
		}
	}
}

// An event closes after 120 s above the default clear margin of
// 2 K; between floor and clear margin it stays open.
func TestClearMargin(t *testing.T) {
	h := newHarness(t, "R134a", -10, 40)
	h.c.Inlet.Superheat = 9
	h.run(2 * time.Minute)
	h.c.Inlet.Superheat = 12.5 // inside the band
	h.run(20 * time.Minute)
	if ev := h.last(); ev.Closed != nil {
		t.Fatal("closed inside the band")
	}
	h.c.Inlet.Superheat = 14
	h.run(119 * time.Second)
	if ev := h.last(); ev.Closed != nil {
		t.Error("closed before the clear time")
	}
	h.run(10 * time.Second)
	if ev := h.last(); ev.Closed == nil {
		t.Error("still open after the clear time")
	}
}

// The floor and the hold time are those of the phase now: what was above the
// floor of the pulldown may be below that of steady running, from then on.
func TestPhaseChangesDuringHold(t *testing.T) {
	h := newHarness(t, "R134a", -10, 40)
	h.c.Phase, h.c.Inlet.Superheat = frame.Pulldown, 9.5
	h.run(10 * time.Minute)
	h.c.Phase = frame.Steady
	h.run(60 * time.Second)
	if len(h.events()) != 0 {
		t.Fatal("time above the floor counted")
	}
	h.run(2 * time.Second)
	if len(h.events()) != 1 {
		t.Fatal("no event 60 s after the floor rose")
	}

	// 40 s below both floors in steady running are more than the 30 s of the
	// pulldown that follows.
	g := newHarness(t, "R134a", -10, 40)
	g.c.Inlet.Superheat = 6
	g.run(40 * time.Second)
	if len(g.events()) != 0 {
		t.Fatal("opened before the hold time")
	}
	g.c.Phase = frame.Pulldown
	g.run(time.Second)
	if len(g.events()) != 1 {
		t.Error("no event although the shorter hold time has passed")
	}
}

// An episode across a gap is one event; what is not known is not dry. Trap 25's
// sibling: a stale value neither opens nor closes.
func TestGapsAndStaleDuringAnEpisode(t *testing.T) {
	for _, q := range []reading.Quality{reading.Stale, reading.Missing, reading.Bad, reading.Suspect} {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Inlet.Superheat = 6
		h.run(2 * time.Minute)
		h.c.Inlet.Quality = q
		if q != reading.Suspect {
			h.c.Inlet.Superheat = units.Kelvin(math.NaN())
		}
		h.run(10 * time.Minute)
		if ev := h.last(); ev.Closed != nil {
			t.Errorf("%v: closed by what is not known", q)
		}
		h.c.Inlet.Quality, h.c.Inlet.Superheat = reading.Good, 6
		h.run(2 * time.Minute)
		if got := h.events(); len(got) != 1 {
			t.Errorf("%v: events %v, want one", q, got)
		}
	}
	h := newHarness(t, "R134a", -10, 40)
	h.c.Inlet.Quality, h.c.Inlet.Superheat = reading.Stale, units.Kelvin(math.NaN())
	h.run(time.Hour)
	if got := h.events(); len(got) != 0 {
		t.Errorf("events %v of a stale value", got)
	}
}

// A doubtful superheat is never used silently. Trap 42: a wet line reads 0 ± 1 K,
// and one that reads below minus its uncertainty is suspect: no floodback. A
// loose clamp reads high (trap 36): what is below the floor all the same is so.
func TestTrap42SuspectSuperheat(t *testing.T) {
	for _, tc := range []struct {
		name      string
		superheat units.Kelvin
		bias      superheat.Bias
		want      int
	}{
		{"below minus U, suspected of reading low", -6, superheat.ReadsLow, 0},
		{"suspected, no one knows which way", 5, 0, 0},
		{"suspected of reading high, below the floor", 5, superheat.ReadsHigh, 1},
		{"suspected of reading high, above the floor", 20, superheat.ReadsHigh, 0},
	} {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Inlet.Quality, h.c.Inlet.Bias, h.c.Inlet.Superheat = reading.Suspect, tc.bias, tc.superheat
		h.run(10 * time.Minute)
		if got := h.events(); len(got) != tc.want {
			t.Errorf("%s: events %v, want %d", tc.name, got, tc.want)
		}
	}
}

// Trap 35: a stopped compressor's superheat means nothing, and what comes in
// the first two minutes went there while it stood.
func TestTrap35OffAndStart(t *testing.T) {
	h := newHarness(t, "R134a", -10, 40)
	h.stop()
	h.c.Inlet.Superheat = -3
	h.run(30 * time.Minute)
	h.start()
	h.c.Inlet.Superheat = 0
	h.run(119 * time.Second)
	h.c.Inlet.Superheat = 15
	h.run(time.Second)
	h.c.Phase = frame.Steady
	h.run(10 * time.Minute)
	if got := h.events(); len(got) != 0 {
		t.Errorf("events %v", got)
	}
}

// A running state that is not known tells nothing, and a stop of two minutes
// and more ends an episode.
func TestStopEndsAnEpisode(t *testing.T) {
	h := newHarness(t, "R134a", -10, 40)
	h.c.Inlet.Superheat = 5
	h.run(2 * time.Minute)
	h.c.Running = frame.Unset
	h.run(time.Hour)
	if ev := h.last(); ev.Closed != nil {
		t.Error("closed while nobody knows whether it runs")
	}
	h.stop()
	h.run(3 * time.Minute)
	if ev := h.last(); ev.Closed == nil {
		t.Error("still open three minutes after the stop")
	}
}

// Rows of equal time and value change nothing: equal times are allowed
// in recordings.
func TestRepeatedRowsChangeNothing(t *testing.T) {
	play := func(repeat bool) []string {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Discharge, h.c.Sump = 75, 30
		for range 7200 {
			h.change(time.Second, func(_ time.Duration, c *frame.Compressor) {
				swing := math.Sin(h.at.Minutes() / 3)
				c.Inlet.Superheat, c.Discharge = units.Kelvin(11+6*swing), units.Celsius(72+5*swing)
			})
			if repeat {
				h.step(0)
			}
		}
		var out []string
		for _, ev := range h.history.Events() {
			out = append(out, fmt.Sprint(ev.ID, ev.Severity, ev.Closed, ev.SecondsBelow, ev.KelvinSecondsBelow, *ev.MinMarginK))
		}
		return out
	}
	once, twice := play(false), play(true)
	if len(once) < 5 {
		t.Fatalf("only %d events: the test shows nothing", len(once))
	}
	if !slices.Equal(once, twice) {
		t.Errorf("with repeated rows\n%v\nwithout\n%v", twice, once)
	}
}

// A shallow dip has to be read: what the making up for lags alone carries
// below the floor opens nothing, so that no event shows a margin that never
// was below zero; a deep one behind a slow clamp need not wait for it.
func TestShallowDipsMustBeRead(t *testing.T) {
	for _, tc := range []struct {
		low  float64 // K over the floor, of the reading
		want bool
	}{{0.3, false}, {-0.6, true}} {
		h := newHarness(t, "R134a", -10, 40)
		h.c.Lag = 20
		h.change(2*time.Hour, func(s time.Duration, c *frame.Compressor) {
			c.Inlet.Superheat = units.Kelvin(11 + tc.low + 3*(1+math.Cos(2*math.Pi*s.Seconds()/400)))
		})
		if got := h.kinds()["floodback"]; got != tc.want {
			t.Errorf("lowest reading %.1f K over the floor: floodback %v, want %v", tc.low, got, tc.want)
		}
	}
}
