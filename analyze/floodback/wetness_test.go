package floodback_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// machines are what the wet ones among the tests are made of.
var machines = floodback.PublishedBalances

// dryHour lets the machine be learned at 11 K of superheat.
func (h *harness) dryHour(discharge float64) {
	h.settings.Floor.Steady = 8 // 11 K is dry and above the floor
	h.c.Inlet.Superheat, h.c.Discharge = 11, units.Celsius(discharge)
	h.every = 5 * time.Second
	h.run(time.Hour)
}

// follow plays d of a superheat while the discharge follows to want behind
// first-order lags of tau.
func (h *harness) follow(d time.Duration, superheat, want float64, tau ...float64) {
	h.c.Inlet.Superheat = units.Kelvin(superheat)
	stages := make([]float64, len(tau))
	for i := range stages {
		stages[i] = float64(h.c.Discharge)
	}
	h.change(d, func(_ time.Duration, c *frame.Compressor) {
		in := want
		for i, x := range tau {
			stages[i] = in + (stages[i]-in)*math.Exp(-h.every.Seconds()/x)
			in = stages[i]
		}
		c.Discharge = units.Celsius(in)
	})
}

// liquid returns the share of liquid in %, as the evidence gives it.
func (h *harness) liquid() float64 {
	h.t.Helper()
	item, ok := h.evidence(evidence.DischargeShortfall)
	if !ok {
		h.t.Fatalf("no liquid in the evidence: %v", h.last().Evidence)
	}
	return 100 * item.Number("liquid_share")
}

// A machine learned on dry gas gives 4 % of liquid from a discharge that is
// 4 × the published loss below dry gas at 0 K; where no discharge pressure is
// measured, nearly as well.
func TestLiquidFromPublishedBalances(t *testing.T) {
	for _, c := range machines {
		for _, measured := range []bool{true, false} {
			condensing, within := c.Condensing, 0.5 // %: the published numbers are rounded to 1 K and 0.1 K
			if !measured {
				condensing, within = math.NaN(), 1.2
			}
			h := newHarness(t, c.Fluid, c.Dew, condensing)
			h.dryHour(c.At11)
			if got := h.events(); len(got) != 0 {
				t.Fatalf("%s: events %v in a dry hour", c.Fluid, got)
			}
			h.follow(20*time.Minute, 0, c.At0-4*c.Loses, 100)
			if got := h.liquid(); math.Abs(got-4) > within {
				t.Errorf("%s, dew %.0f °C, discharge pressure %v: %.1f %% of liquid, worked 4 %%", c.Fluid, c.Dew, measured, got)
			}
		}
	}
}

// Severity by liquid and kind. The limits are those that the settings state
// (common practice, no source): minor above 0.5 %, major at 5 %, 3 %, 6 %.
func TestSeverityByLiquidAndKind(t *testing.T) {
	for _, tc := range []struct {
		kind   frame.CompressorKind
		liquid float64 // %
		want   string
	}{
		{frame.Scroll, 0, "risk"}, {frame.Scroll, 2, "minor"}, {frame.Scroll, 4, "minor"}, {frame.Scroll, 6.5, "major"},
		{frame.AirCooledSemiHermetic, 2, "minor"}, {frame.AirCooledSemiHermetic, 4, "major"},
		{frame.RefrigerantCooledSemiHermetic, 5, "minor"}, {frame.RefrigerantCooledSemiHermetic, 8, "major"},
		{frame.KindUnset, 4, "minor"}, {frame.KindUnset, 6.5, "major"},
	} {
		c := machines[0]
		h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
		h.c.Kind = tc.kind
		h.dryHour(c.At11)
		superheat, dry := 0.0, c.At0
		if tc.liquid == 0 { // a dip that stays dry
			superheat, dry = 5.5, (c.At0+c.At11)/2
		}
		h.follow(10*time.Minute, superheat, dry-tc.liquid*c.Loses, 100)
		if got := h.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
			t.Errorf("kind %d, %.1f %% of liquid: %v, want one %s", tc.kind, tc.liquid, got, tc.want)
		}
	}
}

// Droplets ride in gas that is a few K warmer than dew: the discharge shows
// them though the line does not read 0. Common practice, no source.
func TestDropletsInWarmerGas(t *testing.T) {
	c := machines[1]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.dryHour(c.At11)
	at4 := c.At0 + (c.At11-c.At0)*4/11
	h.follow(10*time.Minute, 4, at4-2*c.Loses, 100)
	if got := h.events(); len(got) != 1 || got[0] != "floodback minor" {
		t.Errorf("%v, want minor", got)
	}
}

// A slug: 9 % of liquid and more for a minute and a half, behind a discharge line, a second lag
// and a sensor. It is major, and does not wait for the hold time of steady
// running; when the same fall of the discharge comes at a high superheat it is
// something else (unloading, liquid injection): nothing opens.
func TestSlugIsMajor(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.settings.Hold.Steady = 5 * time.Minute
	h.dryHour(c.At11)
	h.every = time.Second
	h.follow(90*time.Second, 0, c.Condensing, 60, 25)
	h.follow(2*time.Minute, 11, c.At11, 60, 25)
	if got := h.events(); len(got) != 1 || got[0] != "floodback major" {
		t.Errorf("%v, want one major", got)
	}
	if ev := h.last(); ev.Opened.Sub(ev.Began) > 150*time.Second {
		t.Errorf("opened %v after it began", ev.Opened.Sub(ev.Began))
	}

	g := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	g.dryHour(c.At11)
	g.follow(10*time.Minute, 20, 55, 60, 25)
	if g.kinds()["floodback"] {
		t.Errorf("%v at 20 K of superheat", g.events())
	}
}

// It escalates while it lasts: risk, then minor, then major; one event.
func TestEscalation(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.dryHour(c.At11)
	for _, leg := range []struct {
		superheat, discharge float64
		want                 string
	}{
		{6.5, c.At0 + 7, "risk"}, {0, c.At0 - 2*c.Loses, "minor"}, {0, c.At0 - 7*c.Loses, "major"}, {7, c.At0 + 7, "major"},
	} {
		h.follow(5*time.Minute, leg.superheat, leg.discharge, 100)
		if got := h.events(); len(got) != 1 || got[0] != "floodback "+leg.want {
			t.Fatalf("%v, want one %s", got, leg.want)
		}
	}
}

// The evidence of an event holds what its worst grade stands on and the lowest
// estimate of the gas, also when the gas is dry again; a new episode begins with
// its own.
func TestEvidenceOfTheWorstStays(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.dryHour(c.At11)
	h.follow(5*time.Minute, 0, c.At0-8*c.Loses, 100)
	h.follow(10*time.Minute, 7, c.At0+7, 100)
	if _, ok := h.evidence(evidence.DischargeShortfall); !ok {
		t.Errorf("%v without the liquid that it was graded by: %v", h.events(), h.last().Evidence)
	}
	if i, _ := h.evidence(evidence.GasSuperheatEstimate); i.Number("gas_superheat_k") != 0 {
		t.Errorf("lowest gas superheat %v, want 0 K", i)
	}
	h.follow(30*time.Minute, 11, c.At11, 100)
	h.follow(10*time.Minute, 7, c.At0+7, 100)
	if len(h.events()) != 2 {
		t.Fatalf("events %v, want two", h.events())
	}
	if _, ok := h.evidence(evidence.DischargeShortfall); ok {
		t.Errorf("the second episode shows liquid of the first: %v", h.last().Evidence)
	}
	if i, _ := h.evidence(evidence.GasSuperheatEstimate); !(i.Number("gas_superheat_k") > 5) {
		t.Errorf("lowest gas superheat of the second episode %v, want about 7 K", i)
	}
}

// Without a discharge temperature, or with a machine that has not been seen
// dry, the line and its stay at dew decide, by kind.
func TestSeverityWithoutDischarge(t *testing.T) {
	for _, tc := range []struct {
		name      string
		kind      frame.CompressorKind
		superheat units.Kelvin
		wet       time.Duration
		want      string
	}{
		{"below the floor, dry", frame.Scroll, 7, 10 * time.Minute, "risk"},
		{"some kelvin over dew", frame.Scroll, 6, 10 * time.Minute, "risk"},
		{"near dew, where droplets ride along", frame.Scroll, 3, time.Minute, "minor"},
		{"near dew for ten seconds", frame.Scroll, 3, 10 * time.Second, "risk"},
		{"at dew for ten seconds", frame.Scroll, 0, 10 * time.Second, "risk"},
		{"at dew for forty seconds", frame.Scroll, 0, 40 * time.Second, "minor"},
		{"at dew for five minutes", frame.Scroll, 0, 5 * time.Minute, "major"},
		{"at dew for a minute, air-cooled", frame.AirCooledSemiHermetic, 0, 60 * time.Second, "major"},
		{"at dew for a minute, refrigerant-cooled", frame.RefrigerantCooledSemiHermetic, 0, 60 * time.Second, "minor"},
	} {
		h := newHarness(t, "R448A", -10, 40)
		h.c.Kind = tc.kind
		h.run(10 * time.Minute)
		h.c.Inlet.Superheat = tc.superheat
		h.run(tc.wet)
		h.c.Inlet.Superheat = 7
		h.run(2 * time.Minute)
		if got := h.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
			t.Errorf("%s: %v, want %s", tc.name, got, tc.want)
		}
		if _, ok := h.evidence(evidence.NoDischargeTemperature); !ok {
			t.Errorf("%s: the evidence lacks what is missing: %v", tc.name, h.last().Evidence)
		}
	}
}

// Oil that falls while the line is wet, or is near dew, is major for every
// kind (compressor makers' guidance of 10 K over dew, from memory), though the discharge
// shows no more than 2 % of liquid.
func TestOilTellsMajor(t *testing.T) {
	for _, tc := range []struct {
		over, fall float64 // K over dew, K/min
		want       string
	}{{40, 0, "minor"}, {40, 4, "major"}, {8, 0, "major"}} {
		c := machines[0]
		h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
		h.c.Kind, h.c.Sump = frame.RefrigerantCooledSemiHermetic, units.Celsius(c.Dew+tc.over)
		h.dryHour(c.At11)
		h.every = time.Second
		for range 8 {
			h.follow(30*time.Second, 0, c.At0-2*c.Loses, 100)
			h.c.Sump -= units.Celsius(tc.fall / 2)
		}
		if got := h.events(); len(got) != 1 || got[0] != "floodback "+tc.want {
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
		h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
		h.c.Inlet.Superheat, h.c.Discharge = 0, units.Celsius(tc.discharge)
		h.run(15 * time.Minute)
		if got := h.events(); len(got) != 1 || got[0] != tc.want {
			t.Errorf("discharge %.0f °C: %v, want %s", tc.discharge, got, tc.want)
		}
	}
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.c.Inlet.Superheat, h.c.Discharge = 0, units.Celsius(c.At0)
	h.run(15 * time.Minute)
	if learned, _ := h.set.Discharge(); learned {
		t.Error("learned from wet gas")
	}
	if _, ok := h.evidence(evidence.MachineNotLearned); !ok {
		t.Errorf("the evidence lacks that the machine is not learned: %v", h.last().Evidence)
	}
}

// What is learned outlives a stop; and the first minutes after a start tell
// nothing of wetness, the metal being cold.
func TestLearnedOutlivesAStop(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.dryHour(c.At11)
	h.stop()
	h.follow(time.Hour, 11, 24, 1500)
	h.start()
	h.follow(2*time.Minute, 12, c.At11, 100)
	h.c.Phase = frame.Steady
	h.follow(20*time.Minute, 12, c.At11+1, 100)
	if got := h.events(); len(got) != 0 {
		t.Fatalf("%v after a cold start", got)
	}
	h.follow(10*time.Minute, 0, c.At0-3*c.Loses, 100)
	if got := h.liquid(); math.Abs(got-3) > 0.6 {
		t.Errorf("%.1f %% of liquid, worked 3 %%", got)
	}
}

// Commissioning asks how far the discharge heads below dry gas at 0 K: nothing
// for dry gas, 3 × the published loss for 3 % of liquid.
func TestShortfall(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	if learned, k := h.set.Discharge(); learned || !math.IsNaN(k) {
		t.Error("something is known before anything was seen")
	}
	h.dryHour(c.At11)
	if learned, k := h.set.Discharge(); !learned || math.Abs(k-(c.At0-c.At11)) > 1 {
		t.Errorf("learned %v, shortfall %.1f K at 11 K of superheat; dry gas at 0 K is %.0f K colder", learned, k, c.At11-c.At0)
	}
	h.follow(10*time.Minute, 0, c.At0-3*c.Loses, 100)
	if _, k := h.set.Discharge(); math.Abs(k-3*c.Loses) > 1 {
		t.Errorf("shortfall %.1f K, worked %.1f K", k, 3*c.Loses)
	}
	if got := h.set.LiquidAtMost(); got < 0.03 || got > 0.04 {
		t.Errorf("liquid at most %.3f, worked 0.03", got)
	}
}

// Nothing is allocated while nothing is wrong.
func TestNoAllocationWhileClear(t *testing.T) {
	c := machines[0]
	h := newHarness(t, c.Fluid, c.Dew, c.Condensing)
	h.c.Discharge, h.c.Sump = 78, 40
	h.step(time.Second)
	found := make([]floodback.Finding, 0, 8)
	if n := testing.AllocsPerRun(2000, func() {
		h.frame.At += 1e9
		found = h.set.Step(&h.frame, 0, found[:0])
	}); n != 0 {
		t.Errorf("%v allocations a frame", n)
	}
	if len(found) != 0 {
		t.Errorf("found %v", found)
	}
}

func ExampleSet() {
	settings := floodback.DefaultSettings()
	fmt.Println(settings.Floor.In(frame.Pulldown), settings.Hold.In(frame.Pulldown))
	// Output: 8 30s
}
