package sensorcheck

import (
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// The limits below are common practice, no source, where the code gives none.
// Each is held from both sides: an anomaly too soon stops trust in a good
// sensor, one too late leaves a wrong number on the page.

func TestAmbientLimits(t *testing.T) {
	standing := func(t *testing.T, minutes, off float64) *harness {
		h := newHarness(t, setUp{compressors: 1})
		h.phase(frame.Off)
		h.x.Ambient, h.x.Compressors[0].Inlet.Temperature = 20, units.Celsius(20+off)
		h.run(minutes, time.Minute)
		return h
	}
	clamp := func(t *testing.T, minutes, off, aboveDew float64) bool {
		h := newHarness(t, setUp{compressors: 1})
		h.x.Ambient = units.Celsius(-10 + aboveDew)
		h.x.Compressors[0].Inlet.Temperature = h.x.Ambient + units.Celsius(off)
		h.run(minutes, time.Minute)
		return h.has(evidence.LooseClamp)
	}
	checkLimits(t, []limit{
		{"a stopped line follows the room in three quarters of an hour", 44, 48, func(t *testing.T, v float64) bool { return standing(t, v, 10).has(evidence.NotAtAmbient) }},
		{"warmer than the room", 5.8, 6.2, func(t *testing.T, v float64) bool { return standing(t, 60, v).has(evidence.NotAtAmbient) }},
		{"colder than the room", -5.8, -6.2, func(t *testing.T, v float64) bool { return standing(t, 60, v).has(evidence.NotAtAmbient) }},
		{"a loose clamp for half an hour", 29, 33, func(t *testing.T, v float64) bool { return clamp(t, v, 0, 32) }},
		{"near the room", 2.1, 1.9, func(t *testing.T, v float64) bool { return clamp(t, 45, v, 32) }},
		{"room and dew differ", 24.8, 25.2, func(t *testing.T, v float64) bool { return clamp(t, 45, 0, v) }},
	})
	for off, want := range map[float64]superheat.Bias{10: superheat.ReadsHigh, -10: superheat.ReadsLow} {
		if a := standing(t, 60, off).anomaly(evidence.NotAtAmbient); a == nil || a.Bias != want {
			t.Errorf("%g K off: %+v, want bias %v", off, a, want)
		}
	}
	// 20 °C are 68 °F; 2.4 K beside what the line would be then is close enough, 2.6 K not.
	for off, want := range map[float64]evidence.Code{48: evidence.FahrenheitTakenForCelsius, 48 + 2.4*1.8: evidence.FahrenheitTakenForCelsius, 48 + 2.7*1.8: evidence.LineWrongCurve} {
		if a := standing(t, 60, off).anomaly(evidence.NotAtAmbient); a == nil || a.Message.Word("line_code") != string(want) {
			t.Errorf("%g K off: %+v, want %s", off, a, want)
		}
	}
}

func TestSaturationLimits(t *testing.T) {
	line := func(t *testing.T, s setUp, minutes, over float64) bool {
		h := newHarness(t, s)
		h.run(10, 10*time.Second)
		h.suction(0, -10, units.Kelvin(over))
		h.run(minutes, 10*time.Second)
		return h.has(evidence.BelowSaturation)
	}
	pure, blend := setUp{compressors: 1}, setUp{compressors: 1, fluid: "R448A"}
	glide := newHarness(t, blend).checker.glide
	if glide < 5.5 || glide > 7 { // R448A: 6.2 K at −10 °C by the reference tables
		t.Errorf("glide %g K", glide)
	}
	// afterMove: dew falls at once by some K, and the line with it shows an impossible superheat.
	afterMove := func(t *testing.T, by, minutes float64) bool {
		h := newHarness(t, pure)
		h.run(10, 10*time.Second)
		h.suction(0, units.Celsius(-10-by), -6)
		h.run(minutes, 10*time.Second)
		return h.has(evidence.BelowSaturation)
	}
	reversed := func(t *testing.T, minutes, by float64) bool {
		h := newHarness(t, pure)
		h.checker.ledger.hypotheses = nil // one would explain it
		h.x.DischargePressure = h.x.Compressors[0].Inlet.Pressure - units.Pascal(by)
		h.run(minutes, 10*time.Second)
		return h.has(evidence.DischargeBelowSuction)
	}
	deep := func(t *testing.T, minutes, dew float64, share float64) *harness {
		h := newHarness(t, setUp{compressors: 1, noDischarge: true})
		h.suction(0, units.Celsius(dew), 12)
		h.x.Compressors[0].Inlet.Pressure = units.Pascal(share) * units.StandardAtmosphere
		h.run(minutes, time.Minute)
		return h
	}
	checkLimits(t, []limit{
		{"for two minutes", 1.8, 2.4, func(t *testing.T, v float64) bool { return line(t, pure, v, -6) }},
		{"by the uncertainty and the glide", -(2 + glide) + 0.1, -(2 + glide) - 0.1, func(t *testing.T, v float64) bool { return line(t, blend, 5, v) }},
		{"of a blend for twenty minutes", 19.5, 20.7, func(t *testing.T, v float64) bool { return line(t, blend, v, -4) }},
		{"of a blend by more than the uncertainty", -2.8, -3.2, func(t *testing.T, v float64) bool { return line(t, blend, 30, v) }},
		{"while dew moves the line is late", 1.4, 3.5, func(t *testing.T, v float64) bool { return !afterMove(t, v, 2.3) }},
		{"until dew has stood for a minute or two", 2.5, 4.5, func(t *testing.T, v float64) bool { return afterMove(t, 3, v) }},
		{"discharge below suction for a minute", 0.8, 1.4, func(t *testing.T, v float64) bool { return reversed(t, v, 50_000) }},
		{"discharge below suction by both limits of error", 29_000, 31_000, func(t *testing.T, v float64) bool { return reversed(t, 5, v) }},
		{"too deep for half an hour", 29, 33, func(t *testing.T, v float64) bool { return deep(t, v, -55, 0.4).has(evidence.SuctionTooDeep) }},
		{"too deep below 48", -47.5, -48.5, func(t *testing.T, v float64) bool { return deep(t, 45, v, 0.4).has(evidence.SuctionTooDeep) }},
		{"too deep in vacuum", 0.87, 0.83, func(t *testing.T, v float64) bool { return deep(t, 45, -55, v).has(evidence.SuctionTooDeep) }},
		{"deep until it is clearly not", -39, -41, func(t *testing.T, v float64) bool {
			h := deep(t, 45, -55, 0.4)
			h.suction(0, units.Celsius(v), 12)
			h.run(5, time.Minute)
			return h.has(evidence.SuctionTooDeep)
		}},
		{"deep while it stands", 0, 1, func(t *testing.T, v float64) bool {
			h := deep(t, 45, -55, 0.4)
			if h.phase(frame.Off); v == 0 {
				h.phase(frame.Steady)
				h.suction(0, -10, 12)
			}
			h.run(5, time.Minute)
			return h.has(evidence.SuctionTooDeep)
		}},
	})
}

// TestUsualSuperheatDecidesTheMisconfiguration: a line temperature in degrees
// Celsius that is read as Fahrenheit explains an impossible superheat where the
// true one is usual.
func TestUsualSuperheatDecidesTheMisconfiguration(t *testing.T) {
	for over, want := range map[units.Kelvin]evidence.Code{
		2.8: evidence.LineReadsLow, 3.2: evidence.CelsiusTakenForFahrenheit, 24.8: evidence.CelsiusTakenForFahrenheit, 25.2: evidence.LineReadsLow,
	} {
		h := newHarness(t, setUp{compressors: 2, noDischarge: true})
		h.suctions(0, 12)
		h.run(10, 10*time.Second)
		read := (units.Celsius(0).Plus(over) - 32) / 1.8
		h.suction(0, 0, read.Above(0))
		h.run(5, 10*time.Second)
		if a := h.anomaly(evidence.BelowSaturation); a == nil || a.Message.Word("line_code") != string(want) || a.Message.Word("pressure_code") != string(evidence.PressureReadsHigh) {
			t.Errorf("%g K: %+v, want %s", over, a, want)
		}
	}
}

func TestNoiseLimits(t *testing.T) {
	noisy := func(t *testing.T, point int, minutes, noise float64, pace time.Duration) bool {
		h := newHarness(t, setUp{compressors: 1, circuits: 1})
		h.run(5, pace)
		h.noise[point] = noise
		h.run(400*pace.Minutes(), pace) // until the noise is measured in full
		for i := range h.checker.inputs {
			h.checker.inputs[i].noisy = timer{}
		}
		h.run(minutes, pace)
		return h.has(evidence.NoisyPressure) || h.has(evidence.NoisyTemperature)
	}
	of := func(point int) func(*testing.T, float64) bool {
		return func(t *testing.T, v float64) bool { return noisy(t, point, 15, v, 5*time.Second) }
	}
	share := func(dew units.Celsius) float64 {
		return 0.05 * float64(newHarness(t, setUp{compressors: 1}).saturated(dew))
	}
	checkLimits(t, []limit{
		{"of a line", 1.4, 1.65, of(lineAt)},
		{"of a coil", 2.8, 3.3, of(coilAt)},
		{"of the air", 1.4, 1.65, of(airAt)},
		{"of a suction pressure", 27_000, 33_000, of(suctionAt)},
		{"of a discharge pressure", 110_000, 132_000, of(highAt)},
		{"for ten minutes", 8.5, 11.5, func(t *testing.T, v float64) bool { return noisy(t, lineAt, v, 4, 5*time.Second) }},
		{"slow polling makes a quick plant look noisy", 12, 9, func(t *testing.T, v float64) bool {
			return noisy(t, lineAt, 30, 4, time.Duration(v)*time.Second)
		}},
		{"of a high suction pressure by its share", 0.93 * share(30), 1.1 * share(30), func(t *testing.T, v float64) bool {
			h := newHarness(t, setUp{compressors: 1})
			h.suction(0, 30, 12)
			h.noise[suctionAt] = v
			h.run(25, 5*time.Second)
			return h.has(evidence.NoisyPressure)
		}},
	})
}

func TestTwinLimits(t *testing.T) {
	apart := func(t *testing.T, minutes, by float64, dew units.Celsius) bool {
		h := newHarness(t, setUp{compressors: 3, ownPressures: true})
		h.suctions(dew, 12)
		h.x.Compressors[1].Inlet.Pressure += units.Pascal(by)
		h.run(minutes, time.Minute)
		return h.has(evidence.TwinsDisagree)
	}
	high := float64(newHarness(t, setUp{compressors: 1}).saturated(10))
	checkLimits(t, []limit{
		{"for ten minutes", 9, 12, func(t *testing.T, v float64) bool { return apart(t, v, 60_000, -10) }},
		{"more", 24_000, 26_000, func(t *testing.T, v float64) bool { return apart(t, 20, v, -10) }},
		{"less", -24_000, -26_000, func(t *testing.T, v float64) bool { return apart(t, 20, v, -10) }},
		{"by a share of a high pressure", 0.075 * high, 0.085 * high, func(t *testing.T, v float64) bool { return apart(t, 20, v, 10) }},
	})
}
