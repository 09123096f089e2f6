package phase

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// A thermostat's pause ends a pulldown: any, where pauses were seen before, else
// one of three minutes. The only machine's rest ends it at once, never within
// the first three minutes.
func TestPulldownEndsAtRest(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		name            string
		minutes         float64
		pumping, rested bool
		shutFor         float64 // minutes
		pauses          int
		near            float64 // minutes since the load looks recovered
		want            bool
	}{
		{"nothing seen", 5, true, false, 0, 0, 0, false},
		{"shut for three minutes", 5, true, false, 3.05, 0, 0, true},
		{"shut for less", 5, true, false, 2.95, 0, 0, false},
		{"shut, pauses known", 5, true, false, 0.5, 1, 0, true},
		{"rested", 5, false, true, 0, 0, 0, true},
		{"rested too early", 2.9, false, true, 0, 0, 0, false},
		{"long enough, just", 40, true, false, 0, 0, 0, false},
		{"long enough, for a minute", 40, true, false, 0, 0, 1.01, true},
		{"long enough, for less", 40, true, false, 0, 0, 0.99, false},
		{"long enough, nothing runs", 40, false, false, 0, 0, 2, false},
		{"at the limit", 60, true, false, 0, 0, 0, true},
	} {
		k := coil()
		at := int64(1e15)
		k.stage, k.since = frame.PullingDown, at-int64(c.minutes*60e9)
		k.Last = frame.DefrostRun{Began: k.since - 1200e9, Resumed: k.since}
		k.first = 1
		if c.shutFor > 0 {
			k.feed.shut, k.feed.from, k.feed.pauses = true, at-int64(c.shutFor*60e9), c.pauses
		}
		if c.near > 0 {
			k.near = at - int64(c.near*60e9)
		}
		if got := k.recovered(at, c.pumping, c.rested, &s); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		if c.name == "long enough, just" && k.near != at || c.name == "long enough, nothing runs" && k.near != 0 {
			t.Errorf("%s: looks recovered since %d", c.name, k.near)
		}
	}
}

// How much longer a pulldown is expected to last, of what is seen. Which way is
// physics; how far is fitted on simulated coils of three kinds.
func TestPulldownStretch(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		name              string
		before, gap, over float64 // K, gap of air over dew before and now; outlet over its usual
		away, idle        float64 // s; share
		want              float64 // times the typical one
	}{
		{"as before", 10, 10, 0, 1200, 0, 1},
		{"gap wider by a twentieth", 10, 10.5, 0, 1200, 0, 1.35},
		{"gap a fifth narrower", 10, 8, 0, 1200, 0, 3.32},
		{"gap a little narrower", 10, 9.3, 0, 1200, 0, 0.698},
		{"a gap too narrow to measure", 0.9, 3, 0, 1200, 0, 1},
		{"a narrow gap", 1.2, 1.26, 0, 1200, 0, 1.35},
		{"outlet 1 K over its usual", 10, 10, 1, 1200, 0, 1.162},
		{"outlet far over it", 10, 10, 9, 1200, 0, 1.35},
		{"outlet far under it", 10, 10, -9, 1200, 0, 0.861},
		{"no time without refrigeration", 10, 10, 0, 10, 0, 0.415},
		{"half the time", 10, 10, 0, 600, 0, 0.574},
		{"hours without refrigeration", 10, 10, 0, 9999, 0, 2.41},
		{"machines stand a fifth of the time", 10, 10, 0, 1200, 0.2, 2.01},
	} {
		k := coil()
		k.Before.gap.Set(c.before)
		k.air.Set(-10 + c.gap)
		k.coil.Update(1e15, -4+c.over)
		k.coil.Update(1e15+5e9, -4+c.over)
		k.idle.Set(c.idle)
		k.first = 1
		k.Last = frame.DefrostRun{Began: 1e15, Resumed: 1e15 + int64(c.away*1e9)}
		if got := float64(k.expected(&s)) / float64(s.typicalPulldown); math.Abs(got/c.want-1) > 0.01 {
			t.Errorf("%s: %.3f times a typical one, want %.3f", c.name, got, c.want)
		}
	}
}

// What is usual is learned over twenty minutes, faster at first; the defrost's
// peak and melting plateau (within 1 K of 0 °C) are measured.
func TestCircuitLearns(t *testing.T) {
	c := NewCircuit(frame.Electric)
	x := frame.Circuit{CoilOutlet: -4, Air: 2}
	for i := range 100 {
		c.air.Set(2)
		if c.learn(&x, -10, 1e9); i == 0 && (c.Gap() != 12 || c.Before.Superheat() != 6 || c.Before.Dew() != -10 || c.Before.Air() != 2 || c.Before.outlet.Value() != -4) {
			t.Errorf("learned %+v", c.Before)
		}
	}
	x = frame.Circuit{CoilOutlet: -4, Air: 12}
	c.air.Set(12)
	c.learn(&x, -10, 1e9)
	if got := c.Before.Air(); math.Abs(got-(2+10.0/102)) > 1e-6 {
		t.Errorf("after 100 s, one second of 12 °C: %.4f °C, want %.4f", got, 2+10.0/102)
	}
	if got := c.Before.sway.Value(); math.Abs(got-9.902/102) > 1e-3 {
		t.Errorf("sways by %.4f K, want %.4f", got, 9.902/102)
	}
	var fresh Before
	c.Before = fresh
	x.Air = 2
	c.learn(&x, -10, 1e9)
	x.Air = 33
	c.learn(&x, -10, 1e9)
	if got := c.Before.Air(); math.Abs(got-3) > 1e-9 { // 30 s at first: 31 K/31
		t.Errorf("after a second, one second of 33 °C: %.4f °C, want 3", got)
	}
	c.Before.seconds = 1e4
	x.Air = 63 + 1201
	c.Before.air.Set(63)
	c.learn(&x, -10, 1e9)
	if got := c.Before.Air(); math.Abs(got-64) > 1e-9 || c.Before.seconds != 1e4 {
		t.Errorf("after hours, one second of 1201 K more: %.4f °C, want 64", got)
	}
	c.stage, c.Last = frame.Defrosting, frame.DefrostRun{Peak: units.Celsius(nan)}
	at := int64(1e15)
	for _, v := range []float64{-4, -1.2, -0.9, 0.9, 1.2, 12, 5} {
		c.coil.Update(at, v)
		c.coil.Update(at+5e9, v)
		c.watchDefrost(&frame.Circuit{CoilOutlet: units.Celsius(v)}, 5e9)
		at += 10e9
	}
	if c.Last.Peak != 12 || math.Abs(c.Last.Plateau-10) > 1e-9 {
		t.Errorf("peak %g °C and %g s of plateau, want 12 and 10", float64(c.Last.Peak), c.Last.Plateau)
	}
}

// Refrigeration is back after the drip where no outlet is measured (2 min), else when it falls, at
// last after eight minutes.
func TestDripEnds(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		outlet  float64
		seconds int64
		want    bool
	}{{nan, 119, false}, {nan, 120, true}, {5, 479, false}, {5, 480, true}} {
		k := coil()
		k.stage, k.Last.Ended = frame.Dripping, 1e15
		if !math.IsNaN(c.outlet) {
			k.coil.Update(1e15, 5)
			k.coil.Update(1e15+5e9, 5)
		}
		if got := k.resumed(1e15+c.seconds*1e9, &frame.Circuit{CoilOutlet: units.Celsius(c.outlet)}, &s); got != c.want {
			t.Errorf("outlet %g, after %d s: %v", c.outlet, c.seconds, got)
		}
	}
}

// A defrost signal without a history is believed for 90 min; of five known
// defrosts three times the median counts, never less than 20 min. A signal that
// is off or goes off ends it, and a gap in the data keeps the lengths.
func TestSignalLimit(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		lengths []int64 // minutes
		limit   int64
	}{
		{nil, 90}, {[]int64{10, 10, 10, 10}, 90}, {[]int64{10, 10, 10, 10, 10}, 30},
		{[]int64{5, 6, 10, 40, 50}, 30}, {[]int64{5, 5, 5, 5, 5}, 20}, {[]int64{40, 40, 40, 40, 40}, 90},
		{[]int64{60, 10, 10, 10, 12, 12}, 30},
	} {
		var f defrostSignal
		for _, l := range c.lengths {
			f.ended(l * 60e9)
		}
		f.reset()
		if got := f.limit(&s); got != c.limit*60e9 {
			t.Errorf("after %v min: %d min, want %d", c.lengths, got/60e9, c.limit)
		}
	}
}

// A defrost that its signal ends is one length to learn from, from heat on to
// heat off; a circuit without any input counts as undisturbed after the length
// of a start, as does one whose signal shows no defrost.
func TestFollowSignal(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	k := NewCircuit(frame.Electric)
	for i := range int64(1000) {
		x := frame.Circuit{CoilOutlet: units.Celsius(nan), Air: units.Celsius(nan), Signal: frame.Of(i >= 200 && i < 800)}
		k.Observe(1e15+i*1e9, &x, -10, true, false, 0, false, &s)
		want := [...]frame.Stage{frame.StageUnknown, frame.Refrigerating, frame.Defrosting, frame.Dripping, frame.PullingDown}[boolCount(i >= 120, i >= 200, i >= 800, i >= 920)]
		if k.stage != want {
			t.Fatalf("after %d s: stage %d, want %d", i, k.stage, want)
		}
	}
	if k.signal.n != 1 || k.signal.lengths[0] != 600e9 {
		t.Errorf("learned %d lengths, %d s, want one of 600 s", k.signal.n, k.signal.lengths[0]/1e9)
	}
	k = NewCircuit(frame.Electric)
	for i := range int64(300) {
		x := frame.Circuit{CoilOutlet: units.Celsius(nan), Air: units.Celsius(nan)}
		k.Observe(1e15+i*1e9, &x, -10, true, false, 0, false, &s)
		if want := [...]frame.Stage{frame.StageUnknown, frame.Refrigerating}[boolCount(i >= 120)]; k.stage != want {
			t.Fatalf("without input, after %d s: stage %d, want %d", i, k.stage, want)
		}
	}
}

func boolCount(all ...bool) int {
	n := 0
	for _, b := range all {
		if b {
			n++
		}
	}
	return n
}

// The share of standing is that of ten minutes, air and dew are those of one.
func TestCircuitFilters(t *testing.T) {
	s := limitsFrom(Settings{}, 4)
	for _, c := range []struct {
		pumping     bool
		air, dew, i float64
	}{{true, 12 - 10*math.Exp(-1), -10 * math.Exp(-1), 0.1 * math.Exp(-0.1)}, {false, 12 - 10*math.Exp(-1), -10, 1 - 0.9*math.Exp(-0.1)}} {
		k := NewCircuit(frame.Electric)
		k.air.Set(2)
		k.dew.Set(-10)
		k.idle.Set(0.1)
		for i := range int64(61) {
			k.Observe(1e15+i*1e9, &frame.Circuit{CoilOutlet: units.Celsius(nan), Air: 12}, 0, c.pumping, false, 0, false, &s)
		}
		if math.Abs(k.air.Value()-c.air) > 0.1 || math.Abs(k.dew.Value()-c.dew) > 0.1 || math.Abs(k.idle.Value()-c.i) > 0.003 {
			t.Errorf("pumping %v, after a minute: air %.2f, dew %.2f °C, standing %.3f; want %.2f, %.2f, %.3f", c.pumping, k.air.Value(), k.dew.Value(), k.idle.Value(), c.air, c.dew, c.i)
		}
	}
}

// How long a compressor runs or stands is known whole only where the beginning
// was seen; one found standing starts, however short it was seen to stand.
func TestCompressorTimes(t *testing.T) {
	s := limitsFrom(Settings{}, 1)
	type step struct {
		at      int64 // s
		running frame.Tristate
	}
	for _, c := range []struct {
		name    string
		steps   []step
		ns      int64 // s, at 1000 s
		whole   bool
		stopped int64 // s
		start   frame.Tristate
	}{
		{"found running", []step{{900, frame.Yes}}, 100, false, 0, frame.Unset},
		{"found running long ago", []step{{700, frame.Yes}}, 300, false, 0, frame.No},
		{"found standing", []step{{900, frame.No}}, 100, false, 0, frame.No},
		{"found standing, runs", []step{{900, frame.No}, {930, frame.Yes}}, 70, true, 30, frame.Yes},
		{"a short stop", []step{{100, frame.Yes}, {900, frame.No}, {959, frame.Yes}}, 41, true, 59, frame.No},
		{"a stop", []step{{100, frame.Yes}, {890, frame.No}, {950, frame.Yes}}, 50, true, 60, frame.Yes},
		{"a start that is over", []step{{100, frame.Yes}, {800, frame.No}, {880, frame.Yes}}, 120, true, 80, frame.No},
		{"stands", []step{{100, frame.Yes}, {890, frame.No}}, 110, true, 0, frame.No},
	} {
		var k Compressor
		for _, x := range c.steps {
			k.Observe(1e15+x.at*1e9, x.running, 1e15+x.at*1e9, false, &s)
		}
		at := int64(1e15 + 1000e9)
		if ns, whole := k.For(at); ns != c.ns*1e9 || whole != c.whole || k.Stopped() != c.stopped*1e9 || k.inStart(at, &s) != c.start {
			t.Errorf("%s: for %d s (whole %v) after a stop of %d s, in its start %v", c.name, ns/1e9, whole, k.Stopped()/1e9, k.inStart(at, &s))
		}
	}
}
