package floodback_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
)

// machines are what the wet ones among the tests are made of.
var machines = floodback.PublishedBalances

// dryHour lets the machine be learned at 11 K of superheat.
func (f *film) dryHour(discharge float64) {
	f.settings.Floor.Steady = 8 // 11 K is dry and above the floor
	f.now.Superheat, f.now.DischargeTemperature = 11, discharge
	f.every = 5 * time.Second
	f.roll(time.Hour)
}

// follow plays d of a superheat while the discharge follows to want behind
// first-order lags of tau.
func (f *film) follow(d time.Duration, superheat, want float64, tau ...float64) {
	f.now.Superheat = superheat
	stages := make([]float64, len(tau))
	for i := range stages {
		stages[i] = f.now.DischargeTemperature
	}
	f.change(d, func(_ time.Duration, m *floodback.Moment) {
		in := want
		for i, x := range tau {
			stages[i] = in + (stages[i]-in)*math.Exp(-f.every.Seconds()/x)
			in = stages[i]
		}
		m.DischargeTemperature = in
	})
}

var told = regexp.MustCompile(`about ([0-9.]+) % of liquid`)

// liquidTold returns the share of liquid, in %, that the evidence tells.
func (f *film) liquidTold() float64 {
	f.t.Helper()
	all := strings.Join(evidence.Renderer{}.Texts(f.last().Evidence), " ")
	m := told.FindStringSubmatch(all)
	if m == nil {
		f.t.Fatalf("no liquid told: %s", all)
	}
	x, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		f.t.Fatal(err)
	}
	return x
}

// A machine learned on dry gas tells 4 % of liquid from a discharge that is
// 4 × the published loss below dry gas at 0 K; where no discharge pressure is
// measured, nearly as well.
func TestLiquidFromPublishedBalances(t *testing.T) {
	for _, c := range machines {
		for _, measured := range []bool{true, false} {
			condensing, within := c.Condensing, 0.5 // %: the published numbers are rounded to 1 K and 0.1 K
			if !measured {
				condensing, within = math.NaN(), 1.2
			}
			f := newFilm(t, c.Fluid, c.Dew, condensing)
			f.dryHour(c.At11)
			if got := f.events(); len(got) != 0 {
				t.Fatalf("%s: events %v in a dry hour", c.Fluid, got)
			}
			f.follow(20*time.Minute, 0, c.At0-4*c.Loses, 100)
			if got := f.liquidTold(); math.Abs(got-4) > within {
				t.Errorf("%s, dew %.0f °C, discharge pressure %v: told %.1f %% of liquid, worked 4 %%", c.Fluid, c.Dew, measured, got)
			}
		}
	}
}

// Severity by liquid and kind. The limits are those that the settings state
// (common practice, no source): minor above 0.5 %, major at 5 %, 3 %, 6 %.
func TestSeverityByLiquidAndKind(t *testing.T) {
	for _, tc := range []struct {
		kind   floodback.CompressorKind
		liquid float64 // %
		want   string
	}{
		{floodback.Scroll, 0, "risk"}, {floodback.Scroll, 2, "minor"}, {floodback.Scroll, 4, "minor"}, {floodback.Scroll, 6.5, "major"},
		{floodback.AirCooledSemiHermetic, 2, "minor"}, {floodback.AirCooledSemiHermetic, 4, "major"},
		{floodback.RefrigerantCooledSemiHermetic, 5, "minor"}, {floodback.RefrigerantCooledSemiHermetic, 8, "major"},
		{floodback.KindUnset, 4, "minor"}, {floodback.KindUnset, 6.5, "major"},
	} {
		c := machines[0]
		f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
		f.now.Kind = tc.kind
		f.dryHour(c.At11)
		superheat, dry := 0.0, c.At0
		if tc.liquid == 0 { // a dip that stays dry
			superheat, dry = 5.5, (c.At0+c.At11)/2
		}
		f.follow(10*time.Minute, superheat, dry-tc.liquid*c.Loses, 100)
		if got := f.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
			t.Errorf("kind %d, %.1f %% of liquid: %v, want one %s", tc.kind, tc.liquid, got, tc.want)
		}
	}
}

// Droplets ride in gas that is a few K warmer than dew: the discharge shows
// them though the line does not read 0. Common practice, no source.
func TestDropletsInWarmerGas(t *testing.T) {
	c := machines[1]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.dryHour(c.At11)
	at4 := c.At0 + (c.At11-c.At0)*4/11
	f.follow(10*time.Minute, 4, at4-2*c.Loses, 100)
	if got := f.events(); len(got) != 1 || got[0] != "floodback minor" {
		t.Errorf("%v, want minor", got)
	}
}

// A slug: 9 % of liquid and more for a minute and a half, behind a discharge line, a second lag
// and a sensor. It is major, and does not wait for the hold time of steady
// running; when the same fall of the discharge comes at a high superheat it is
// something else (unloading, liquid injection): nothing opens.
func TestSlugIsMajor(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.settings.Hold.Steady = 5 * time.Minute
	f.dryHour(c.At11)
	f.every = time.Second
	f.follow(90*time.Second, 0, c.Condensing, 60, 25)
	f.follow(2*time.Minute, 11, c.At11, 60, 25)
	if got := f.events(); len(got) != 1 || got[0] != "floodback major" {
		t.Errorf("%v, want one major", got)
	}
	if ev := f.last(); ev.Opened.Sub(ev.Began) > 150*time.Second {
		t.Errorf("opened %v after it began", ev.Opened.Sub(ev.Began))
	}

	g := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	g.dryHour(c.At11)
	g.follow(10*time.Minute, 20, 55, 60, 25)
	if g.kinds()["floodback"] {
		t.Errorf("%v at 20 K of superheat", g.events())
	}
}

// It escalates while it lasts: risk, then minor, then major; one event.
func TestEscalation(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.dryHour(c.At11)
	for _, leg := range []struct {
		superheat, discharge float64
		want                 string
	}{
		{6.5, c.At0 + 7, "risk"}, {0, c.At0 - 2*c.Loses, "minor"}, {0, c.At0 - 7*c.Loses, "major"}, {7, c.At0 + 7, "major"},
	} {
		f.follow(5*time.Minute, leg.superheat, leg.discharge, 100)
		if got := f.events(); len(got) != 1 || got[0] != "floodback "+leg.want {
			t.Fatalf("%v, want one %s", got, leg.want)
		}
	}
}

// The evidence of an event says what its worst grade stands on, also when the
// gas is dry again; a new episode begins with its own.
func TestEvidenceOfTheWorstStays(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.dryHour(c.At11)
	f.follow(5*time.Minute, 0, c.At0-8*c.Loses, 100)
	f.follow(10*time.Minute, 7, c.At0+7, 100)
	if all := strings.Join(evidence.Renderer{}.Texts(f.last().Evidence), " "); !strings.Contains(all, "of liquid by mass") {
		t.Errorf("%v with evidence %q", f.events(), all)
	} else if !strings.Contains(all, "came down to") || !strings.Contains(all, "last seen at") {
		t.Errorf("the headline does not tell the lowest superheat: %q", all)
	}
	lowest, _, _ := strings.Cut(evidence.Renderer{}.Text(f.last().Evidence[0]), ";")
	f.follow(30*time.Minute, 11, c.At11, 100)
	f.follow(10*time.Minute, 7, c.At0+7, 100)
	if all := strings.Join(evidence.Renderer{}.Texts(f.last().Evidence), " "); len(f.events()) != 2 || strings.Contains(all, "of liquid by mass") || strings.Contains(all, lowest) {
		t.Errorf("%v, the second with evidence %q", f.events(), all)
	}
}

// Without a discharge temperature, or with a machine that has not been seen
// dry, the line and its stay at dew decide, by kind.
func TestSeverityWithoutDischarge(t *testing.T) {
	for _, tc := range []struct {
		name      string
		kind      floodback.CompressorKind
		superheat float64
		wet       time.Duration
		want      string
	}{
		{"below the floor, dry", floodback.Scroll, 7, 10 * time.Minute, "risk"},
		{"some kelvin over dew", floodback.Scroll, 6, 10 * time.Minute, "risk"},
		{"near dew, where droplets ride along", floodback.Scroll, 3, time.Minute, "minor"},
		{"near dew for ten seconds", floodback.Scroll, 3, 10 * time.Second, "risk"},
		{"at dew for ten seconds", floodback.Scroll, 0, 10 * time.Second, "risk"},
		{"at dew for forty seconds", floodback.Scroll, 0, 40 * time.Second, "minor"},
		{"at dew for five minutes", floodback.Scroll, 0, 5 * time.Minute, "major"},
		{"at dew for a minute, air-cooled", floodback.AirCooledSemiHermetic, 0, 60 * time.Second, "major"},
		{"at dew for a minute, refrigerant-cooled", floodback.RefrigerantCooledSemiHermetic, 0, 60 * time.Second, "minor"},
	} {
		f := newFilm(t, "R448A", -10, 40)
		f.now.Kind = tc.kind
		f.roll(10 * time.Minute)
		f.now.Superheat = tc.superheat
		f.roll(tc.wet)
		f.now.Superheat = 7
		f.roll(2 * time.Minute)
		if got := f.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
			t.Errorf("%s: %v, want %s", tc.name, got, tc.want)
		}
		if all := strings.Join(evidence.Renderer{}.Texts(f.last().Evidence), " "); !strings.Contains(all, "no discharge temperature") {
			t.Errorf("%s: evidence does not say what is missing: %s", tc.name, all)
		}
	}
}

// Oil that falls while the line is wet, or is near dew, is major for every
// kind (trade notes, section 8: 1 K/min, 10 K over dew), though the discharge
// shows no more than 2 % of liquid.
func TestOilTellsMajor(t *testing.T) {
	for _, tc := range []struct {
		over, fall float64 // K over dew, K/min
		want       string
	}{{40, 0, "minor"}, {40, 4, "major"}, {8, 0, "major"}} {
		c := machines[0]
		f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
		f.now.Kind, f.now.SumpTemperature = floodback.RefrigerantCooledSemiHermetic, c.Dew+tc.over
		f.dryHour(c.At11)
		f.every = time.Second
		for range 8 {
			f.follow(30*time.Second, 0, c.At0-2*c.Loses, 100)
			f.now.SumpTemperature -= tc.fall / 2
		}
		if got := f.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
			t.Errorf("oil %.0f K over dew, falling by %.0f K/min: %v, want %s", tc.over, tc.fall, got, tc.want)
		}
	}
}

// A machine that has never been seen dry says so, and tells gross wetness
// alone: its usual efficiency is known to 12 % only.
func TestNotLearned(t *testing.T) {
	c := machines[4]
	for _, tc := range []struct {
		discharge float64
		want      string
	}{
		{c.At0, "floodback minor"},              // at dew, discharge as of dry gas: the doubt is some 4 %
		{c.Condensing + 0.5, "floodback major"}, // the discharge itself is wet
	} {
		f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
		f.now.Superheat, f.now.DischargeTemperature = 0, tc.discharge
		f.roll(15 * time.Minute)
		if got := f.events(); len(got) != 1 || got[0] != tc.want {
			t.Errorf("discharge %.0f °C: %v, want %s", tc.discharge, got, tc.want)
		}
	}
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.now.Superheat, f.now.DischargeTemperature = 0, c.At0
	f.roll(15 * time.Minute)
	if learned, _ := f.set.Discharge(); learned {
		t.Error("learned from wet gas")
	}
	if all := strings.Join(evidence.Renderer{}.Texts(f.last().Evidence), " "); !strings.Contains(all, "not learned") {
		t.Errorf("evidence does not say that the machine is not learned: %s", all)
	}
}

// What is learned outlives a stop; and the first minutes after a start tell
// nothing of wetness, the metal being cold.
func TestLearnedOutlivesAStop(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.dryHour(c.At11)
	f.stop()
	f.follow(time.Hour, 11, 24, 1500)
	f.start()
	f.follow(2*time.Minute, 12, c.At11, 100)
	f.now.Phase = phase.Steady
	f.follow(20*time.Minute, 12, c.At11+1, 100)
	if got := f.events(); len(got) != 0 {
		t.Fatalf("%v after a cold start", got)
	}
	f.follow(10*time.Minute, 0, c.At0-3*c.Loses, 100)
	if got := f.liquidTold(); math.Abs(got-3) > 0.6 {
		t.Errorf("told %.1f %%, worked 3 %%", got)
	}
}

// Commissioning asks how far the discharge heads below dry gas at 0 K: nothing
// for dry gas, 3 × the published loss for 3 % of liquid.
func TestShortfall(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	if learned, k := f.set.Discharge(); learned || !math.IsNaN(k) {
		t.Error("something is known before anything was seen")
	}
	f.dryHour(c.At11)
	if learned, k := f.set.Discharge(); !learned || math.Abs(k-(c.At0-c.At11)) > 1 {
		t.Errorf("learned %v, shortfall %.1f K at 11 K of superheat; dry gas at 0 K is %.0f K colder", learned, k, c.At11-c.At0)
	}
	f.follow(10*time.Minute, 0, c.At0-3*c.Loses, 100)
	if _, k := f.set.Discharge(); math.Abs(k-3*c.Loses) > 1 {
		t.Errorf("shortfall %.1f K, worked %.1f K", k, 3*c.Loses)
	}
	if got := f.set.LiquidAtMost(); got < 0.03 || got > 0.04 {
		t.Errorf("liquid at most %.3f, worked 0.03", got)
	}
}

// Nothing is allocated while nothing is wrong.
func TestNoAllocationWhileClear(t *testing.T) {
	c := machines[0]
	f := newFilm(t, c.Fluid, c.Dew, c.Condensing)
	f.now.DischargeTemperature, f.now.SumpTemperature = 78, 40
	m := f.now
	m.Floor, m.Margin, m.RunningFor, m.Step = 11, 4, int64(time.Hour), 1e9
	found := make([]floodback.Finding, 0, 8)
	if n := testing.AllocsPerRun(2000, func() {
		m.At += 1e9
		found = f.set.Step(&m, found[:0])
	}); n != 0 {
		t.Errorf("%v allocations a moment", n)
	}
	if len(found) != 0 {
		t.Errorf("found %v", found)
	}
}

func ExampleSet() {
	settings := floodback.DefaultSettings()
	fmt.Println(settings.Floor.In(phase.Pulldown), settings.Hold.In(phase.Pulldown))
	// Output: 8 30s
}
