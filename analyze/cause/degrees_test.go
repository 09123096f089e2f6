package cause

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"dewgap/analyze/frame"
)

// TestThresholds pins from where a feature is seen and from where it is plain,
// with values a step beside each. The reasons are the trade's, the values common
// practice, no source.
func TestThresholds(t *testing.T) {
	hotGas := func(f *features) { f.kind = frame.HotGas }
	for _, c := range []struct {
		feature     feature
		because     string
		from        func(f *features) // nil: neutral
		set         func(f *features, x float64)
		none, plain float64
		most        float64 // 0: 1
	}{
		{lasting, "a rush is over within a quarter of an hour", nil, func(f *features, x float64) { f.lasted = x }, 400, 800, 0},
		{brief, "a rush is over within a quarter of an hour", nil, func(f *features, x float64) { f.lasted = x }, 800, 400, 0},
		{suddenFall, "liquid in the line takes all superheat at once", func(f *features) { f.lasted, f.superheat = 60, 1 },
			func(f *features, x float64) { f.minuteAgo = 1 + x }, 4, 8, 0},
		{suddenFall, "later it is no longer known for a fall", func(f *features) { f.superheat, f.minuteAgo = 1, 12 },
			func(f *features, x float64) { f.lasted = x }, 180, 90, 0},
		{afterDefrost, "the disturbance of a restart dies out within half an hour", nil, func(f *features, x float64) { f.ago = x }, 1440, 720, 0},
		{otherCircuitDefrosted, "the same for a neighbour", nil, func(f *features, x float64) { f.otherAgo = x }, 1440, 720, 0},
		{noDefrost, "what began later has nothing to do with the restart", nil, func(f *features, x float64) { f.ago = x }, 720, 1440, 0},
		{noDefrost, "the same for a neighbour", nil, func(f *features, x float64) { f.otherAgo = x }, 720, 1440, 0},
		{atRestart, "liquid takes a minute or two through the line", nil, func(f *features, x float64) { f.ago = x }, 130, 70, 0},
		{hotGasEnded, "condensate takes some minutes at most", hotGas, func(f *features, x float64) { f.ago = x }, 260, 160, 0},
		{hotGasEnded, "hot gas is one of three kinds", func(f *features) { f.kind = frame.DefrostUnset }, func(f *features, x float64) { f.ago = x }, 120, 75, 0.6},
		{hotGasOn, "in the first minute the coil is only pumped down", hotGas, func(f *features, x float64) { f.hotGasOn = x }, 30, 90, 0},
		{atOwnStart, "what a start brings is there within minutes", func(f *features) { f.circuits, f.starts = 1, 3 }, func(f *features, x float64) { f.ran = x }, 360, 180, 0},
		{hotGasUnseen, "a restart that was seen explains it", func(f *features) { f.kind, f.blind = frame.HotGas, true }, func(f *features, x float64) { f.ago = x }, 160, 260, 0},
		{defrostUnseen, "the rush after a defrost is deep", func(f *features) { f.blind, f.superheat = true, 1 }, func(f *features, x float64) { f.minuteAgo = 1 + x }, 1, 4, 0},
		{defrostUnseen, "the rush after a defrost is short", func(f *features) { f.blind, f.superheat, f.minuteAgo = true, 1, 9 }, func(f *features, x float64) { f.lasted = x }, 800, 400, 0},

		{outletLow, "an outlet at half of normal is low", nil, func(f *features, x float64) { f.low = f.normal * (1 - x) }, 0.2, 0.6, 0},
		{outletLowAndStill, "half a kelvin is the noise of a probe", func(f *features) { f.low = 0 }, func(f *features, x float64) { f.swing = x }, 1, 0.3, 0},
		{outletStaysAtDew, "a swinging outlet comes up again", nil, func(f *features, x float64) { f.high = f.normal * x }, 0.4, 0.2, 0},
		{outletUsuallyLow, "half of the day is most of it", nil, func(f *features, x float64) { f.mostlyLow = x }, 0.3, 0.7, 0},
		{onlyOutletUsuallyLow, "the same in a small unit", func(f *features) { f.circuits = 1 }, func(f *features, x float64) { f.mostlyLow = x }, 0.3, 0.7, 0},
		{outletUsuallyNormal, "restarts take some of the day", nil, func(f *features, x float64) { f.mostlyLow = x }, 0.25, 0.05, 0},
		{outletFellAtOnce, "a tenth of normal is within its usual noise", nil, func(f *features, x float64) { f.sank = x }, 0.12, 0.06, 0},
		{outletSankSlowly, "ice takes a fifth within an hour", nil, func(f *features, x float64) { f.sank = x }, 0.08, 0.2, 0},
		{outletSwings, "a swing is what the neighbours do not do", nil, func(f *features, x float64) { f.swing, f.otherSwings = x+1.2, 1 }, 0.2, 1.2, 0},
		{outletSwings, "without neighbours a quiet outlet is the measure", nil, func(f *features, x float64) { f.swing, f.otherSwings = x, nan }, 0.56, 1.56, 0},

		{coldDefrost, "the outlet of a clear coil climbs well past 0 °C", func(f *features) { f.defrosts = 1 }, func(f *features, x float64) { f.peak = x }, 6, 2, 0},
		{coldDefrost, "an off-cycle defrost ends just above 0 °C", func(f *features) { f.defrosts, f.kind = 1, frame.OffCycle }, func(f *features, x float64) { f.peak = x }, 1.5, 0, 0},
		{completeDefrost, "a clear coil gets warm", func(f *features) { f.defrosts = 1 }, func(f *features, x float64) { f.peak = x }, 2, 6, 0},
		{longDefrost, "lengths vary by a fifth with the frost", nil, func(f *features, x float64) { f.length = x * f.lengths }, 1.2, 1.6, 0},
		{longDefrost, "five minutes more of melting are within the usual", nil, func(f *features, x float64) { f.plateau = x + f.plateaus }, 300, 900, 0},
		{completeDefrost, "an unusually long one left ice for hours before", func(f *features) { f.defrosts, f.peak = 1, 9 }, func(f *features, x float64) { f.length = x * f.lengths }, 1.6, 1.2, 0},
		{shortDefrost, "coils of one store differ by less than half", nil, func(f *features, x float64) { f.length, f.theirs = 1000*x, 1000 }, 0.6, 0.35, 0},
		{longerThanNeighbours, "coils of one store differ by half", nil, func(f *features, x float64) { f.length, f.theirs = 1000*x, 1000 }, 1.6, 2.2, 0},
		{completeDefrost, "a short one left ice", func(f *features) { f.defrosts, f.peak, f.theirs = 1, 9, 1000 }, func(f *features, x float64) { f.length = 1000 * x }, 0.35, 0.6, 0},
		{completeDefrost, "a long one had weak heat", func(f *features) { f.defrosts, f.peak, f.theirs, f.lengths = 1, 9, 1000, nan }, func(f *features, x float64) { f.length = 1000 * x }, 2.2, 1.6, 0},
		{defrostsHelp, "a tenth of normal is within its usual noise", nil, func(f *features, x float64) { f.relief = x * f.normal }, 0.15, 0.4, 0},
		{defrostsHelp, "the air comes back by a kelvin or more", nil, func(f *features, x float64) { f.gapRelief = x }, 0.7, 2, 0},
		{defrostsDoNotHelp, "nothing came back", func(f *features) { f.low, f.mostlyLow = 0, 1 }, func(f *features, x float64) { f.relief = x * f.normal }, 0.15, 0, 0},
		{defrostsDoNotHelp, "only what was low can be helped", func(f *features) { f.low, f.relief = 0, 0 }, func(f *features, x float64) { f.mostlyLow = x }, 0.2, 0.5, 0},

		{coldAir, "a thermostat holds the air within a kelvin", nil, func(f *features, x float64) { f.airOver = x }, -0.7, -2, 0},
		{warmAir, "frost alone makes a kelvin", nil, func(f *features, x float64) { f.gapOver = x }, 1, 3.5, 0},
		{veryWarmAir, "a dirty coil explains some kelvins", nil, func(f *features, x float64) { f.gapOver = x }, 3.5, 7, 0},
		{loadLostAtOnce, "a fan takes the load within minutes", func(f *features) { f.gapOver, f.leapShare = 3.5, 0.8 }, func(f *features, x float64) { f.leap = x }, 1, 2, 0},
		{loadLostAtOnce, "and takes nearly all of it then", func(f *features) { f.gapOver, f.leap = 3.5, 3 }, func(f *features, x float64) { f.leapShare = x }, 0.42, 0.6, 0},
		{loadLostAtOnce, "without air, a jump of suction stands for it", func(f *features) { f.air, f.leapShare, f.dewOver = false, 0.8, 0 }, func(f *features, x float64) { f.leap = x }, 1, 3, 0},
		{loadLostSlowly, "ice takes hours", func(f *features) { f.gapOver, f.leap = 3.5, 3 }, func(f *features, x float64) { f.leapShare = x }, 0.5, 0.36, 0},
		{loadLostSlowly, "no single rise makes it up", func(f *features) { f.gapOver, f.leapShare = 10, 0.7 }, func(f *features, x float64) { f.leap = x * f.gapOver }, 0.3, 0.15, 0},

		{outletDry, "an outlet at two thirds of normal is not wet", func(f *features) { f.superheat, f.normal = 1, 10 }, func(f *features, x float64) { f.low = 10 * x }, 0.65, 0.85, 0},
		{outletDry, "the coil is drier than what comes to the compressor", func(f *features) { f.normal = 1; f.superheat = 0 }, func(f *features, x float64) { f.low = x; f.superheat = 0; f.normal = x / 2 }, 0.5, 2.5, 0},
		{outletDry, "the compressor is near dew", func(f *features) { f.normal, f.low = 10, 10 }, func(f *features, x float64) { f.superheat = x }, 4.5, 2, 0},
		{onlyCircuitFeeds, "what shuts lets dew creep", func(f *features) { f.circuits = 1 }, func(f *features, x float64) { f.offRise = x }, 3, 7, 0},
		{onlyCircuitShuts, "what shuts lets dew creep", func(f *features) { f.circuits = 1 }, func(f *features, x float64) { f.offRise = x }, 7, 3, 0},
		{allCoilsDry, "no coil is at half of normal", func(f *features) { f.superheat, f.driest = 1, 6 }, func(f *features, x float64) { f.wettest = x }, 0.5, 0.3, 0},
		{allCoilsDry, "coils are drier than what comes to the compressor", func(f *features) { f.superheat, f.wettest = 1, 0 }, func(f *features, x float64) { f.driest = 1 + x }, 0.5, 2.5, 0},
		{allCoilsDry, "the compressor is near dew", func(f *features) { f.wettest = 0 }, func(f *features, x float64) { f.superheat, f.driest = x, x+5 }, 4.5, 2, 0},
		{mostCoilsLow, "one coil of two is not most", func(f *features) { f.measured = 100 }, func(f *features, x float64) { f.wetCoils = int(math.Round(100 * x)) }, 0.4, 0.8, 0},
		{flatNearDew, "a vessel bleeds evenly", func(f *features) { f.superheat, f.lasted = 1, 400 }, func(f *features, x float64) { f.spread = x }, 1.5, 0.7, 0},
		{flatNearDew, "a short dip has no shape", func(f *features) { f.superheat, f.spread = 1, 0.5 }, func(f *features, x float64) { f.lasted = x }, 120, 240, 0},
		{flatNearDew, "the compressor is near dew", func(f *features) { f.lasted, f.spread = 400, 0.5 }, func(f *features, x float64) { f.superheat = x }, 4.5, 2, 0},
		{feedsWhileStopped, "a valve that shuts lets dew creep", nil, func(f *features, x float64) { f.offRise = x }, 8, 16, 0},
		{lowSuction, "controls hold dew within a kelvin", nil, func(f *features, x float64) { f.dewOver = x }, -0.7, -2.5, 0},
		{fewCompressorsRun, "one of ten may rest", nil, func(f *features, x float64) { f.drawOver = x }, -0.1, -0.3, 0},
		{manyCompressorsRun, "one of ten may help", nil, func(f *features, x float64) { f.drawOver = x }, 0.1, 0.3, 0},
		{highCondensing, "weather moves it by a kelvin or two", nil, func(f *features, x float64) { f.headOver = x }, 2, 6, 0},
		{dryDischarge, "a tenth of a percent cools the discharge by less than a probe resolves", func(f *features) { f.superheat, f.lasted = 0, 400 }, func(f *features, x float64) { f.liquid = x }, 0.004, 0.001, 0},
		{dryDischarge, "the line reads dew", func(f *features) { f.lasted, f.liquid = 400, 0 }, func(f *features, x float64) { f.superheat = x }, 2.5, 0.5, 0},
		{dryDischarge, "the discharge takes minutes to cool", func(f *features) { f.superheat, f.liquid = 0, 0 }, func(f *features, x float64) { f.lasted = x }, 120, 240, 0},
		{otherCompressorsDry, "compressors on one header are within some kelvins", func(f *features) { f.superheat = 1 }, func(f *features, x float64) { f.twins = x }, 6, 10, 0},
		{otherCompressorsDry, "the compressor is near dew", func(f *features) { f.twins = 12 }, func(f *features, x float64) { f.superheat = x }, 4.5, 2, 0},
	} {
		most := c.most
		if most == 0 {
			most = 1
		}
		at := func(share float64) float64 {
			f := neutral()
			if c.from != nil {
				c.from(&f)
			}
			c.set(&f, c.none+share*(c.plain-c.none))
			return f.degrees()[c.feature]
		}
		const step = 0.05 // of the way from none to plain
		name := featureCodes[c.feature]
		if a, b := at(-step), at(0); a > 1e-9 || b > 1e-9 {
			t.Errorf("%s (%s): %.3f and %.3f before %g, want 0", name, c.because, a, b, c.none)
		}
		if a, b := at(1), at(1+step); math.Abs(a-most) > 1e-9 || math.Abs(b-most) > 1e-9 {
			t.Errorf("%s (%s): %.3f and %.3f from %g, want %g", name, c.because, a, b, c.plain, most)
		}
		if a, b := at(step), at(1-step); !(a > 0) || !(b < most) {
			t.Errorf("%s (%s): %.3f just after %g and %.3f just before %g, want more than 0 and less than %g", name, c.because, a, c.none, b, c.plain, most)
		}
	}
}

// TestDegrees pins what is not a step, and what excludes what.
func TestDegrees(t *testing.T) {
	for _, c := range []struct {
		name    string
		set     func(f *features)
		feature feature
		want    float64
	}{
		{"an off-cycle defrost is longer where the clock says so", func(f *features) { f.kind, f.length, f.theirs = frame.OffCycle, 3000, 1000 }, longerThanNeighbours, 0},
		{"one wet start before", func(f *features) { f.circuits, f.ran, f.starts = 1, 60, 1 }, atOwnStart, 1.0 / 3},
		{"two wet starts before", func(f *features) { f.circuits, f.ran, f.starts = 1, 60, 2 }, atOwnStart, 1},
		{"the first wet start", func(f *features) { f.circuits, f.ran, f.starts = 1, 60, 0 }, atOwnStart, 0},
		{"one machine of a rack starts into what others caused", func(f *features) { f.ran, f.starts = 60, 3 }, atOwnStart, 0},
		{"suction comes up in a group of three", func(f *features) { f.offRise = 20 }, onlyCircuitFeeds, 0},
		{"suction stays down in a group of three", func(f *features) { f.offRise = 0 }, onlyCircuitShuts, 0},
		{"suction had come up before the stop was noticed", func(f *features) { f.circuits, f.offRise, f.lateStop = 1, 0, true }, onlyCircuitShuts, 0},
		{"no stop was seen, it may feed", func(f *features) { f.circuits = 1 }, onlyCircuitFeeds, 0},
		{"no stop was seen, it may shut", func(f *features) { f.circuits = 1 }, onlyCircuitShuts, 0},
		{"the dry line is not an outlet", func(f *features) { f.outlet, f.superheat, f.low, f.normal = false, 1, 10, 10 }, outletDry, 0},
		{"hot gas now is the defrost before it", func(f *features) { f.kind, f.hotGasOn = frame.HotGas, 200 }, noDefrost, 0},
		{"a jump of suction with more load than before", func(f *features) { f.air, f.leap, f.leapShare, f.dewOver = false, 3, 0.8, 2 }, loadLostAtOnce, 0},
		{"a jump of suction that is half made up", func(f *features) { f.air, f.leap, f.leapShare, f.dewOver = false, 3, 0.8, 1 }, loadLostAtOnce, 0.5},
		{"no floodback before", func(f *features) { f.recurs = 0 }, recursWithoutRestart, 0},
		{"one floodback before", func(f *features) { f.recurs = 1 }, recursWithoutRestart, 0.2},
		{"three floodbacks before", func(f *features) { f.recurs = 3 }, recursWithoutRestart, 1},
		{"an off-cycle defrost is as long as its clock", func(f *features) { f.kind, f.length = frame.OffCycle, 3000 }, longDefrost, 0},
		{"no defrost was seen", func(f *features) { f.peak = 9 }, completeDefrost, 0},
		{"no defrost was seen to stay cold", func(f *features) { f.peak = 0 }, coldDefrost, 0},
		{"the one measured coil is low", func(f *features) { f.measured, f.wetCoils = 1, 1 }, mostCoilsLow, 0},
		{"one circuit of three is low", func(f *features) { f.mostlyLow = 1 }, onlyOutletUsuallyLow, 0},
		{"the one outlet was seen to come down", func(f *features) { f.circuits, f.mostlyLow, f.sank = 1, 1, 0.09 }, onlyOutletUsuallyLow, 0},
		{"this circuit and a neighbour restarted", func(f *features) { f.ago, f.otherAgo = 300, 300 }, otherCircuitDefrosted, 0},
		{"electric heat leaves no condensate", func(f *features) { f.ago = 30 }, hotGasEnded, 0},
		{"a defrost signal shows each defrost", func(f *features) { f.minuteAgo = 16 }, defrostUnseen, 0},
		{"a defrost that may have been", func(f *features) { f.blind, f.minuteAgo = true, 16 }, noDefrost, 0},
		{"hot gas, but signalled", func(f *features) { f.kind = frame.HotGas }, hotGasUnseen, 0},
		{"hot gas, but it lasts", func(f *features) { f.kind, f.blind, f.lasted = frame.HotGas, true, 900 }, hotGasUnseen, 0},
		{"electric heat and no signal", func(f *features) { f.blind = true }, hotGasUnseen, 0},
		{"the air is back to dew and the outlet is not", func(f *features) { f.low, f.mostlyLow, f.relief, f.gapRelief = 0, 1, 0, 2 }, defrostsDoNotHelp, 0},
		{"neither air nor outlet is back", func(f *features) { f.low, f.mostlyLow, f.relief, f.gapRelief = 0, 1, 0, 0 }, defrostsDoNotHelp, 1},
		{"air above dew changed by less than it varies", func(f *features) { f.low, f.mostlyLow, f.relief, f.gapRelief = 0, 1, 0, 0.6 }, defrostsDoNotHelp, 1},
		{"a normal outlet cannot be helped", func(f *features) { f.mostlyLow, f.relief = 1, 0 }, defrostsDoNotHelp, 0},
		{"a good defrost, cold air", func(f *features) { f.gapOver, f.survived = 0, true }, warmAirAfterGoodDefrost, 0},
		{"a good defrost, warm air", func(f *features) { f.gapOver, f.survived = 4, true }, warmAirAfterGoodDefrost, 1},
		{"a leap that left the air where it is", func(f *features) { f.gapOver, f.leap, f.leapShare = 0, 4, 1 }, loadLostAtOnce, 0},
		{"a coil that is low and swings", func(f *features) { f.low, f.swing = 0, 1 }, outletLowAndStill, 0},
		{"a wet coil and a dry compressor", func(f *features) { f.superheat, f.wettest, f.driest = 9, 0, 20 }, allCoilsDry, 0},
		{"not all coils are measured", func(f *features) { f.superheat, f.wettest, f.driest = 1, nan, nan }, allCoilsDry, 0},
	} {
		f := neutral()
		c.set(&f)
		if got := f.degrees()[c.feature]; math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %s is %.3f, want %.3f", c.name, featureCodes[c.feature], got, c.want)
		}
	}
}

// TestScoresAreShares: whatever is known, degrees and scores stay between 0 and
// 1, and the scores add up to no more than 1.
func TestScoresAreShares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(label string, from, to float64) float64 {
			if rapid.Bool().Draw(t, label+" unknown") {
				return nan
			}
			return rapid.Float64Range(from, to).Draw(t, label)
		}
		v := neutral()
		v.kind = frame.DefrostKind(rapid.IntRange(0, 3).Draw(t, "kind"))
		v.circuits, v.measured = rapid.IntRange(1, 9).Draw(t, "circuits"), rapid.IntRange(0, 9).Draw(t, "measured")
		v.wetCoils, v.defrosts = rapid.IntRange(0, v.measured).Draw(t, "wet"), rapid.IntRange(0, 8).Draw(t, "defrosts")
		v.hunts, v.survived = rapid.Bool().Draw(t, "hunts"), rapid.Bool().Draw(t, "survived")
		for label, x := range map[string]*float64{
			"ago": &v.ago, "other": &v.otherAgo, "lasted": &v.lasted, "length": &v.length, "lengths": &v.lengths, "plateau": &v.plateau, "plateaus": &v.plateaus,
		} {
			*x = number(label, 0, 20000)
		}
		for label, x := range map[string]*float64{
			"low": &v.low, "relief": &v.relief, "high": &v.high, "leap": &v.leap, "driest": &v.driest, "swing": &v.swing, "others": &v.otherSwings, "gap": &v.gapOver, "gapRelief": &v.gapRelief, "air": &v.airOver,
			"peak": &v.peak, "superheat": &v.superheat, "minute": &v.minuteAgo, "spread": &v.spread, "twins": &v.twins, "rise": &v.offRise, "dew": &v.dewOver, "head": &v.headOver, "draw": &v.drawOver,
		} {
			*x = number(label, -20, 40)
		}
		for label, x := range map[string]*float64{"mostly": &v.mostlyLow, "share": &v.leapShare, "sank": &v.sank, "wettest": &v.wettest, "liquid": &v.liquid} {
			*x = number(label, 0, 1)
		}
		s := v.degrees()
		for i, x := range s {
			if !(x >= 0 && x <= 1) {
				t.Fatalf("feature %d is %v", i, x)
			}
		}
		sum := 0.0
		last := 1.0
		for _, r := range score(&s, &s, v.outlet) {
			if !(r.Score >= 0 && r.Score <= last) {
				t.Fatalf("%s has score %v after %v", r.Name, r.Score, last)
			}
			last = r.Score
			sum += r.Score
		}
		if sum > 1+1e-9 {
			t.Fatalf("scores sum to %v", sum)
		}
	})
}

// TestEachCauseIsFirstWhenItsPatternIsPlain draws the patterns that a
// troubleshooter knows each cause by; common practice, no source.
func TestEachCauseIsFirstWhenItsPatternIsPlain(t *testing.T) {
	for _, c := range []struct {
		want string // either of two words that stand for each other
		set  func(v *features)
	}{
		{"valve_stuck_open", func(v *features) {
			v.low, v.wettest, v.mostlyLow, v.lasted, v.relief, v.airOver, v.spread = 0.5, 0.9, 0.9, 1800, 0, -1.5, 0.5
		}},
		{"valve_oversized valve_hunting", func(v *features) {
			v.low, v.swing, v.wettest = 3, 4, 0.5
		}},
		{"valve_hunting valve_oversized", func(v *features) {
			v.low, v.swing, v.hunts, v.wettest = 2, 6, true, 0.6
		}},
		{"iced_coil defrost_incomplete", func(v *features) {
			v.low, v.wettest, v.mostlyLow, v.lasted = 1, 0.8, 0.3, 1500
			v.gapOver, v.leap, v.leapShare, v.sank, v.relief, v.gapRelief, v.length, v.plateau = 3.5, 1, 0.25, 0.3, 3, 2, 2600, 1300
		}},
		{"defrost_incomplete iced_coil", func(v *features) {
			v.low, v.wettest, v.lasted, v.peak, v.length = 1, 0.8, 1500, 0.5, 2700
		}},
		{"low_airflow", func(v *features) {
			v.low, v.wettest, v.lasted, v.gapOver, v.leap, v.leapShare, v.survived, v.sank = 1, 0.8, 1500, 6, 5, 0.8, true, 0
		}},
		{"load_change_after_defrost", func(v *features) {
			v.ago, v.low, v.wettest, v.minuteAgo = 240, 2, 0.7, 14
		}},
		{"overcharge", func(v *features) {
			v.circuits, v.measured, v.wetCoils = 4, 4, 4
			v.low, v.wettest, v.headOver, v.lasted, v.otherSwings = 1, 0.9, 7, 1200, 0.2
		}},
		{"accumulator_full", func(v *features) {
			v.superheat, v.driest, v.wettest, v.spread, v.lasted, v.low = 0.5, 6, 0.1, 0.4, 700, 6
			v.otherAgo = 900
		}},
		{"hot_gas_carryover", func(v *features) {
			v.kind, v.ago, v.minuteAgo, v.superheat, v.lasted = frame.HotGas, 25, 12, 0.2, 90
		}},
		{"sensor_misplaced", func(v *features) {
			v.superheat, v.driest, v.wettest, v.liquid, v.twins, v.lasted, v.minuteAgo = 0, 6, 0.1, 0, 14, 3000, 0.3
		}},
	} {
		v := neutral()
		v.superheat, v.wettest, v.driest, v.swing, v.otherSwings, v.mostlyLow, v.gapOver = 2, 0.2, 5, 0.2, 0.2, 0, 0
		v.defrosts, v.peak = 4, 11
		c.set(&v)
		s := v.degrees()
		got := score(&s, &s, v.outlet)
		if !slices.Contains(strings.Fields(c.want), got[0].Name) {
			t.Errorf("%s: ranked %v", c.want, got[:min(3, len(got))])
		}
		if len(got[0].Why) == 0 {
			t.Errorf("%s: no reason", c.want)
		}
	}
}

// TestNothingKnownIsNotSure: without evidence no cause is sure.
func TestNothingKnownIsNotSure(t *testing.T) {
	v := neutral()
	v.outlet, v.low, v.measured, v.wettest, v.driest, v.defrosts, v.peak = false, nan, 0, nan, nan, 0, nan
	s := v.degrees()
	if got := score(&s, &s, v.outlet); got[0].Score > 0.6 {
		t.Errorf("ranked %v from nothing", got[0])
	}
}
