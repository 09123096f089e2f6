package cause

import (
	"math"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// TestCircuitOdds pins by which factor one thing to see moves the odds of a
// circuit. The reasons are the trade's; the factors are common practice, no
// source.
func TestCircuitOdds(t *testing.T) {
	for _, c := range []struct {
		feature circuitFeature
		because string
		want    float64
	}{
		{circuitOutletLow, "liquid is seen at its outlet", 403},
		{circuitRestarted, "the valve opened just before", 11.0},
		{circuitFresh, "a restart disturbs for minutes", 7.39},
		{circuitFreshUnmeasured, "nothing clears it", 7.39},
		{circuitFoundBefore, "it was found before", 4.95},
		{circuitShutDriesUp, "the group is dry without it", 36.6},
		{circuitAirCold, "an overfed coil makes cold air", 3.32},
		{circuitAirFar, "its coil takes little heat from the air", 7.39},
		{circuitAirVeryFar, "its coil takes hardly any", 7.39},
		{circuitOutletSwings, "its valve hunts", 4.95},
		{circuitDefrostCold, "ice was left", 3.32},
		{circuitShut, "it gets no liquid", 1 / 3.32},
		{circuitHotGasOn, "what comes of a coil with hot gas in it is condensate", 33.1},
		{circuitDefrostOdd, "its defrosts are unlike its neighbours'", 4.48},
	} {
		var d circuitDegrees
		d[c.feature] = 1
		if got := math.Exp(d.logOdds()); math.Abs(got/c.want-1) > 0.02 {
			t.Errorf("%s: odds move by %.3g, want %.3g", c.because, got, c.want)
		}
	}
}

const noon = 100 * hour

// quiet returns a group of three measured circuits in steady running at noon,
// and the baseline of each: 6 K at the outlet, air 8 K above dew and at 2 °C.
func quiet() (*Group, []baseline) {
	g := NewGroup([]string{"a", "b", "c"}, 2)
	g.now = noon
	base := make([]baseline, 3)
	for i := range g.coils {
		c := &g.coils[i]
		c.kind, c.stage, c.measured = frame.Electric, frame.Refrigerating, true
		c.last = frame.DefrostRun{Peak: units.Celsius(nan)}
		for range recentKept {
			c.update(noon, interval, 6, false)
		}
		c.gap.Set(8)
		c.air.Set(2)
		c.swings.level.Set(0.3)
		base[i] = baseline{normal: 6, own: 6, cleanGap: 8, air: 2, summaries: 100}
	}
	return g, base
}

// TestCircuitThresholds pins from where a feature of a circuit is seen and from
// where it is plain, common practice, no source.
func TestCircuitThresholds(t *testing.T) {
	ended := func(c *coil, secondsAgo float64) {
		c.last = frame.DefrostRun{Began: noon - 3*hour, Ended: noon - int64(secondsAgo*1e9), Resumed: noon - int64(secondsAgo*1e9), Peak: 12}
	}
	defrosted := func(g *Group, x float64) { // circuit a for x times as long as the others
		for i := range g.coils {
			length := 20 * minute
			if i == 0 {
				length = int64(x * float64(length))
			}
			g.coils[i].signalled = true
			g.coils[i].last = frame.DefrostRun{Began: noon - 3*hour, Ended: noon - 3*hour + length, Peak: 12}
		}
	}
	for _, c := range []struct {
		feature     circuitFeature
		set         func(g *Group, x float64) // on circuit a
		none, plain float64
		most        float64 // 0: 1
	}{
		{circuitOutletLow, func(g *Group, x float64) { g.coils[0].recent[3] = float32(x) }, 6, 0, 0},
		{circuitRestarted, func(g *Group, x float64) { ended(&g.coils[0], x) }, 180, 60, 0},
		{circuitAirCold, func(g *Group, x float64) { g.coils[0].air.Set(2 + x) }, -0.7, -2, 0},
		{circuitAirFar, func(g *Group, x float64) { g.coils[0].gap.Set(8 + x) }, 1, 4, 0},
		{circuitAirVeryFar, func(g *Group, x float64) { g.coils[0].gap.Set(8 + x) }, 3, 8, 0},
		{circuitOutletSwings, func(g *Group, x float64) { g.coils[0].swings.level.Set(0.3 + x) }, 0.7, 3, 0},
		{circuitOutletSwings, func(g *Group, x float64) { // no neighbour was watched
			g.coils[1].swings.level.Reset()
			g.coils[2].swings.level.Reset()
			g.coils[0].swings.level.Set(0.5 + x)
		}, 0.7, 3, 0},
		{circuitDefrostCold, func(g *Group, x float64) {
			g.coils[0].last = frame.DefrostRun{Ended: noon - 5*hour, Peak: units.Celsius(x)}
		}, 6, 2, 0},
		{circuitHotGasOn, func(g *Group, x float64) {
			c := &g.coils[0]
			c.kind, c.signalled, c.stage, c.since = frame.HotGas, true, frame.Defrosting, noon-int64(x*1e9)
		}, 30, 90, 0},
		{circuitDefrostOdd, func(g *Group, x float64) { defrosted(g, x) }, 1.6, 2.2, 0},
		{circuitDefrostOdd, func(g *Group, x float64) { defrosted(g, x) }, 0.6, 0.35, 0},
		{circuitShutDriesUp, func(g *Group, x float64) { g.coils[0].shut.gain.Set(x) }, 4, 8, 0.3}, // nothing to compare with
		{circuitShutDriesUp, func(g *Group, x float64) { g.coils[0].shut.gain.Set(x); g.coils[1].shut.gain.Set(1) }, 3, 7, 0},
		{circuitShutDriesUp, func(g *Group, x float64) { g.coils[0].shut.gain.Set(x); g.coils[1].shut.gain.Set(5) }, 5, 9, 0},
	} {
		most := c.most
		if most == 0 {
			most = 1
		}
		at := func(share float64) float64 {
			g, base := quiet()
			c.set(g, c.none+share*(c.plain-c.none))
			d := g.circuitDegrees(0, &base[0], noon)
			return d[c.feature]
		}
		const step = 0.05
		if at(-step) > 1e-6 || at(0) > 1e-6 || !(at(step) > 0) || !(at(1-step) < most-1e-6) || !near(at(1), most, 1e-6) || !near(at(1+step), most, 1e-6) {
			t.Errorf("feature %d from %g to %g: %.3f %.3f %.3f … %.3f %.3f %.3f", c.feature, c.none, c.plain, at(-step), at(0), at(step), at(1-step), at(1), at(1+step))
		}
	}
}

// TestAFreshRestartFades: ten minutes after a restart a circuit is suspected for
// 1/e of what it was, and not at all while it is shut or after an hour.
func TestAFreshRestartFades(t *testing.T) {
	for _, c := range []struct {
		minutes         float64
		valid, shut     bool
		fresh, unseen   float64
		reported        bool
		measured, blame bool
	}{
		{minutes: 0, valid: true, fresh: 1, reported: true}, {minutes: 10, valid: true, fresh: 1 / math.E, reported: true},
		{minutes: 10, valid: false, fresh: 1 / math.E, unseen: 1 / math.E, reported: true},
		{minutes: 59, valid: true, fresh: math.Exp(-5.9), reported: true}, {minutes: 61, valid: true},
		{minutes: 10, valid: true, shut: true, reported: true},
	} {
		g, base := quiet()
		k := &g.coils[0]
		at := noon - int64(c.minutes*60e9)
		k.last = frame.DefrostRun{Began: at - hour, Ended: at, Resumed: at, Peak: 12}
		k.valid = c.valid
		if c.shut {
			k.stage = frame.Defrosting
		}
		d := g.circuitDegrees(0, &base[0], noon)
		if !near(d[circuitFresh], c.fresh, 1e-9) || !near(d[circuitFreshUnmeasured], c.unseen, 1e-9) || (d[circuitShut] == 1) != c.shut {
			t.Errorf("%+v: fresh %.3f, unmeasured %.3f, shut %.0f", c, d[circuitFresh], d[circuitFreshUnmeasured], d[circuitShut])
		}
		why := g.circuitReasons(0, &base[0])
		if got := len(why) == 1 && why[0].Code == evidence.CircuitRestarted && why[0].Number("ago_seconds") == c.minutes*60; got != c.reported {
			t.Errorf("%+v: reasons %v", c, why)
		}
	}
}

// TestWhatWasFoundOfAnUnmeasuredCoilWasAGuess, so it does not count again.
func TestWhatWasFoundOfAnUnmeasuredCoilWasAGuess(t *testing.T) {
	for _, measured := range []bool{true, false} {
		g, base := quiet()
		g.histories[0].add(noon-hour, 1, &degrees{})
		g.coils[0].measured = measured
		want := 0.0
		if measured {
			want = 0.25
		}
		if d := g.circuitDegrees(0, &base[0], noon); !near(d[circuitFoundBefore], want, 1e-9) {
			t.Errorf("measured %v: %g, want %g", measured, d[circuitFoundBefore], want)
		}
	}
}

// TestCircuitReasons pins from where each thing to see is worth a line, with the
// figures that it carries.
func TestCircuitReasons(t *testing.T) {
	cold := func(peak units.Celsius) frame.DefrostRun { return frame.DefrostRun{Ended: noon - 5*hour, Peak: peak} }
	for _, c := range []struct {
		name string
		set  func(g *Group)
		want evidence.Item // zero: none
	}{
		{"quiet", func(*Group) {}, evidence.Item{}},
		{"a third below normal", func(g *Group) { g.coils[0].recent[3] = 4 }, evidence.Item{}},
		{"two fifths below normal", func(g *Group) { g.coils[0].recent[3] = 3.6 }, evidence.New(evidence.CircuitOutletLow, evidence.Difference("superheat", 3.6), evidence.Difference("normal", 6))},
		{"air a bit far", func(g *Group) { g.coils[0].gap.Set(9.4) }, evidence.Item{}},
		{"air far", func(g *Group) { g.coils[0].gap.Set(9.6) }, evidence.New(evidence.CircuitAirFarAboveDew, evidence.Difference("more", 1.6))},
		{"a small swing", func(g *Group) { g.coils[0].swings.level.Set(1.9) }, evidence.Item{}},
		{"a swing", func(g *Group) { g.coils[0].swings.level.Set(2.1) }, evidence.New(evidence.CircuitOutletSwings, evidence.Difference("swing", 2.1))},
		{"a defrost to 4.1 °C", func(g *Group) { g.coils[0].last = cold(4.1) }, evidence.Item{}},
		{"a defrost to 3.9 °C", func(g *Group) { g.coils[0].last = cold(3.9) }, evidence.New(evidence.CircuitDefrostCold, evidence.Temperature("peak", 3.9))},
		{"a bit drier without it", func(g *Group) { g.coils[0].shut.gain.Set(3.7); g.coils[1].shut.gain.Set(0) }, evidence.Item{}},
		{"drier without it", func(g *Group) { g.coils[0].shut.gain.Set(3.9); g.coils[1].shut.gain.Set(0) }, evidence.New(evidence.CircuitShutDriesUp, evidence.Difference("rise", 3.9))},
		{"not measured", func(g *Group) { g.coils[0].measured = false }, evidence.New(evidence.CircuitOutletNotMeasured)},
		{"not measured and shut", func(g *Group) { g.coils[0].measured, g.coils[0].stage = false, frame.Defrosting }, evidence.Item{}},
	} {
		g, base := quiet()
		c.set(g)
		why := g.circuitReasons(0, &base[0])
		if c.want.IsZero() && len(why) == 0 {
			continue
		}
		if len(why) != 1 || !why[0].Equal(c.want) {
			t.Errorf("%s: %+v, want %+v", c.name, why, c.want)
			continue
		}
		if err := evidence.Check(why[0]); err != nil {
			t.Error(err)
		}
	}
}
