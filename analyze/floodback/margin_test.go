package floodback_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

// The hold times of the contract, section 2: 60 s in steady running, 30 s in
// pulldown, against floors of 11 and 8 K.
func TestHoldEdges(t *testing.T) {
	for _, tc := range []struct {
		phase     phase.Phase
		superheat float64
		seconds   int
		want      bool
	}{
		{phase.Steady, 10, 59, false},
		{phase.Steady, 10, 60, true},
		{phase.Defrost, 10, 59, false},
		{phase.Defrost, 10, 60, true},
		{phase.Pulldown, 7, 29, false},
		{phase.Pulldown, 7, 30, true},
		{phase.Pulldown, 9, 3600, false}, // above the floor of the pulldown
		{phase.Steady, 11.1, 3600, false},
	} {
		t.Run(fmt.Sprintf("%s %.0f K %d s", tc.phase, tc.superheat, tc.seconds), func(t *testing.T) {
			f := newFilm(t, "R134a", -10, 40)
			f.now.Phase, f.now.Superheat = tc.phase, tc.superheat
			f.shot(0)
			f.roll(time.Duration(tc.seconds) * time.Second)
			if got := f.kinds()["floodback"]; got != tc.want {
				t.Errorf("event %v, want %v", got, tc.want)
			}
		})
	}
}

// A dip that the sensor follows is as long as it is, whatever the filter: one
// clearly shorter than the hold time opens nothing, one clearly longer does.
func TestDipsAroundTheHoldTime(t *testing.T) {
	for _, lag := range []float64{0, 20, 40} {
		for _, every := range []time.Duration{time.Second, 5 * time.Second, 10 * time.Second} {
			for seconds, want := range map[int]bool{40: false, 90: true} {
				f := newFilm(t, "R134a", -10, 40)
				f.every, f.now.Lag = every, lag
				f.roll(5 * time.Minute)
				felt := 15.0
				play := func(d time.Duration, truth float64) {
					f.change(d, func(_ time.Duration, m *floodback.Moment) {
						s := every.Seconds()
						felt = truth + (felt-truth)*math.Exp(-s/max(lag, 1e-9))
						m.Superheat = felt
					})
				}
				play(time.Duration(seconds)*time.Second, 4)
				play(10*time.Minute, 15)
				if got := f.kinds()["floodback"]; got != want {
					t.Errorf("dip of %d s behind a lag of %.0f s, read each %v: event %v, want %v", seconds, lag, every, got, want)
				}
			}
		}
	}
}

// An event closes after 120 s above the clear margin of 2 K (contract,
// section 2); between floor and clear margin it stays open.
func TestClearMargin(t *testing.T) {
	f := newFilm(t, "R134a", -10, 40)
	f.now.Superheat = 9
	f.roll(2 * time.Minute)
	f.now.Superheat = 12.5 // inside the band
	f.roll(20 * time.Minute)
	if ev := f.last(); ev.Closed != nil {
		t.Fatal("closed inside the band")
	}
	f.now.Superheat = 14
	f.roll(119 * time.Second)
	if ev := f.last(); ev.Closed != nil {
		t.Error("closed before the clear time")
	}
	f.roll(10 * time.Second)
	if ev := f.last(); ev.Closed == nil {
		t.Error("still open after the clear time")
	}
}

// The floor and the hold time are those of the phase now: what was above the
// floor of the pulldown may be below that of steady running, from then on.
func TestPhaseChangesDuringHold(t *testing.T) {
	f := newFilm(t, "R134a", -10, 40)
	f.now.Phase, f.now.Superheat = phase.Pulldown, 9.5
	f.roll(10 * time.Minute)
	f.now.Phase = phase.Steady
	f.roll(60 * time.Second)
	if len(f.events()) != 0 {
		t.Fatal("time above the floor counted")
	}
	f.roll(2 * time.Second)
	if len(f.events()) != 1 {
		t.Fatal("no event 60 s after the floor rose")
	}

	// 40 s below both floors in steady running are more than the 30 s of the
	// pulldown that follows.
	g := newFilm(t, "R134a", -10, 40)
	g.now.Superheat = 6
	g.roll(40 * time.Second)
	if len(g.events()) != 0 {
		t.Fatal("opened before the hold time")
	}
	g.now.Phase = phase.Pulldown
	g.roll(time.Second)
	if len(g.events()) != 1 {
		t.Error("no event although the shorter hold time has passed")
	}
}

// An episode across a gap is one event; what is not known is not dry. Trap 25's
// sibling: a stale value neither opens nor closes.
func TestGapsAndStaleDuringAnEpisode(t *testing.T) {
	for _, q := range []reading.Quality{reading.Stale, reading.Missing, reading.Bad, reading.Suspect} {
		f := newFilm(t, "R134a", -10, 40)
		f.now.Superheat = 6
		f.roll(2 * time.Minute)
		f.now.Quality = q
		if q != reading.Suspect {
			f.now.Superheat = math.NaN()
		}
		f.roll(10 * time.Minute)
		if ev := f.last(); ev.Closed != nil {
			t.Errorf("%v: closed by what is not known", q)
		}
		f.now.Quality, f.now.Superheat = reading.Good, 6
		f.roll(2 * time.Minute)
		if got := f.events(); len(got) != 1 {
			t.Errorf("%v: events %v, want one", q, got)
		}
	}
	f := newFilm(t, "R134a", -10, 40)
	f.now.Quality, f.now.Superheat = reading.Stale, math.NaN()
	f.roll(time.Hour)
	if got := f.events(); len(got) != 0 {
		t.Errorf("events %v of a stale value", got)
	}
}

// A doubtful superheat is never used silently. Trap 42: a wet line reads 0 ± 1 K,
// and one that reads below minus its uncertainty is suspect: no floodback. A
// loose clamp reads high (trap 36): what is below the floor all the same is so.
func TestTrap42SuspectSuperheat(t *testing.T) {
	for _, tc := range []struct {
		name      string
		superheat float64
		lean      superheat.Bias
		want      int
	}{
		{"below minus U, suspected of reading low", -6, superheat.ReadsLow, 0},
		{"suspected, no one knows which way", 5, 0, 0},
		{"suspected of reading high, below the floor", 5, superheat.ReadsHigh, 1},
		{"suspected of reading high, above the floor", 20, superheat.ReadsHigh, 0},
	} {
		f := newFilm(t, "R134a", -10, 40)
		f.now.Quality, f.now.Lean, f.now.Superheat = reading.Suspect, tc.lean, tc.superheat
		f.roll(10 * time.Minute)
		if got := f.events(); len(got) != tc.want {
			t.Errorf("%s: events %v, want %d", tc.name, got, tc.want)
		}
	}
}

// Trap 35: a stopped compressor's superheat means nothing, and what comes in
// the first two minutes went there while it stood.
func TestTrap35OffAndStart(t *testing.T) {
	f := newFilm(t, "R134a", -10, 40)
	f.stop()
	f.now.Superheat = -3
	f.roll(30 * time.Minute)
	f.start()
	f.now.Superheat = 0
	f.roll(119 * time.Second)
	f.now.Superheat = 15
	f.roll(time.Second)
	f.now.Phase = phase.Steady
	f.roll(10 * time.Minute)
	if got := f.events(); len(got) != 0 {
		t.Errorf("events %v", got)
	}
}

// A running state that is not known tells nothing, and a stop of two minutes
// and more ends an episode.
func TestStopEndsAnEpisode(t *testing.T) {
	f := newFilm(t, "R134a", -10, 40)
	f.now.Superheat = 5
	f.roll(2 * time.Minute)
	f.now.Running = phase.Unset
	f.roll(time.Hour)
	if ev := f.last(); ev.Closed != nil {
		t.Error("closed while nobody knows whether it runs")
	}
	f.stop()
	f.roll(3 * time.Minute)
	if ev := f.last(); ev.Closed == nil {
		t.Error("still open three minutes after the stop")
	}
}

// Rows of equal time and value change nothing: equal times are allowed
// (contract, section 3).
func TestRepeatedRowsChangeNothing(t *testing.T) {
	play := func(repeat bool) []string {
		f := newFilm(t, "R134a", -10, 40)
		f.now.DischargeTemperature, f.now.SumpTemperature = 75, 30
		for range 7200 {
			f.change(time.Second, func(_ time.Duration, m *floodback.Moment) {
				swing := math.Sin(f.at.Minutes() / 3)
				m.Superheat, m.DischargeTemperature = 11+6*swing, 72+5*swing
			})
			if repeat {
				f.shot(0)
			}
		}
		var out []string
		for _, ev := range f.history.Events() {
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
		f := newFilm(t, "R134a", -10, 40)
		f.now.Lag = 20
		f.change(2*time.Hour, func(s time.Duration, m *floodback.Moment) {
			m.Superheat = 11 + tc.low + 3*(1+math.Cos(2*math.Pi*s.Seconds()/400))
		})
		if got := f.kinds()["floodback"]; got != tc.want {
			t.Errorf("lowest reading %.1f K over the floor: floodback %v, want %v", tc.low, got, tc.want)
		}
	}
}
