package cause

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// TestLookBack: what is normal for an outlet is its own usual or that of its
// neighbours, whichever is higher; a valve that was never right has no good
// past. An evaporator's usual superheat is 3–7 K (common practice, no source).
func TestLookBack(t *testing.T) {
	for _, c := range []struct {
		name         string
		own, others  float64 // K, NaN not known
		normal, lows float64
	}{
		{"as its neighbours", 5, 5, 5, 0},
		{"drier than its neighbours", 8, 5, 8, 0},
		{"wetter than its neighbours", 2, 7, 7, 1},
		{"alone and dry", 9, nan, 9, 0},
		{"alone and low", 2, nan, 6, 1},
		{"not known, neighbours are", nan, 7, 7, nan},
		{"nothing known", nan, nan, 6, nan},
		{"all low", 1, 1, 3, 1},
	} {
		g := NewGroup([]string{"a", "b"}, 1)
		var end int64
		g.coils[0].past, end = record(overDew, repeat(10, c.own)...)
		g.coils[1].past, _ = record(overDew, repeat(10, c.others)...)
		base := make([]baseline, 2)
		g.lookBack(base, end)
		if !near(base[0].normal, c.normal, 1e-6) || !near(base[0].mostlyLow, c.lows, 1e-6) {
			t.Errorf("%s: normal %g, low for %g of the day, want %g, %g", c.name, base[0].normal, base[0].mostlyLow, c.normal, c.lows)
		}
	}
}

// TestACleanCoilIsTheLowerQuartile of air above dew, and needs half an hour.
func TestACleanCoilIsTheLowerQuartile(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   float64
	}{{[]float64{7, 8, 9, 10, 11}, 8}, {[]float64{8, 9, 10}, 9}, {[]float64{8, 9}, nan}} {
		g := NewGroup([]string{"a"}, 1)
		var end int64
		g.coils[0].past, end = record(airOverDew, c.values...)
		base := make([]baseline, 1)
		g.lookBack(base, end)
		if !near(base[0].cleanGap, c.want, 1e-6) {
			t.Errorf("%v: clean coil at %g, want %g", c.values, base[0].cleanGap, c.want)
		}
	}
}

func TestFromOthersIsTheirMedian(t *testing.T) {
	values := []float64{100, 3, nan, 1, 2, 9}
	if got := fromOthers(len(values), 0, func(j int) float64 { return values[j] }); got != 2.5 {
		t.Errorf("got %g, want 2.5", got)
	}
	if got := fromOthers(1, 0, func(int) float64 { return 5 }); !math.IsNaN(got) {
		t.Errorf("of no others: %g", got)
	}
}

// instant is the frame of quiet at noon.
func instant() frame.Frame {
	x := frame.Frame{At: noon, Compressors: make([]frame.Compressor, 2), Circuits: make([]frame.Circuit, 3)}
	x.Compressors[0].Inlet.Superheat, x.Compressors[0].Floor = 1, 11
	return x
}

// TestExtractOthers counts coils and looks for the lowest; a coil that is shut
// needs no outlet, a fed one that is not measured leaves it open.
func TestExtractOthers(t *testing.T) {
	for _, c := range []struct {
		name            string
		set             func(g *Group)
		measured, wet   int
		wettest, driest float64
		otherAgo        float64
	}{
		{"all dry", func(*Group) {}, 3, 0, 0, 6, math.Inf(1)},
		{"one wet", func(g *Group) { g.coils[1].recent[0] = 1.2 }, 3, 1, 0.8, 1.2, math.Inf(1)},
		{"one at just below half", func(g *Group) { g.coils[1].recent[0] = 2.9 }, 3, 1, 1 - 2.9/6, 2.9, math.Inf(1)},
		{"one at just above half", func(g *Group) { g.coils[1].recent[0] = 3.1 }, 3, 0, 1 - 3.1/6, 3.1, math.Inf(1)},
		{"one fed and not known", func(g *Group) { g.coils[2].valid = false }, 2, 0, nan, nan, math.Inf(1)},
		{"one shut", func(g *Group) { g.coils[2].valid, g.coils[2].stage = false, frame.Defrosting }, 2, 0, 0, 6, math.Inf(1)},
		{"two neighbours restarted", func(g *Group) {
			g.coils[0].last.Resumed = noon - 5*minute
			g.coils[1].last.Resumed = noon - 9*minute
			g.coils[2].last.Resumed = noon - 7*minute
		}, 3, 0, 0, 6, 420},
	} {
		g, base := quiet()
		c.set(g)
		k := NewDiagnosis(g, 0)
		k.base, k.began = base, noon
		x := instant()
		f := g.extract(0, &x, &k, nan, false)
		if f.measured != c.measured || f.wetCoils != c.wet || !near(f.wettest, c.wettest, 1e-6) || !near(f.driest, c.driest, 1e-6) || f.otherAgo != c.otherAgo {
			t.Errorf("%s: measured %d, wet %d, wettest %.3f, driest %.2f, other restart %g s ago", c.name, f.measured, f.wetCoils, f.wettest, f.driest, f.otherAgo)
		}
	}
}

// TestExtractGroup: dew, running compressors and condensing are compared with
// before, and the compressor with its neighbours.
func TestExtractGroup(t *testing.T) {
	g, base := quiet()
	g.dewSlow.Set(-12)
	g.running.Set(0.5)
	g.head.Set(40)
	g.headDay.Set(34)
	g.inlets[1].running = true
	g.inlets[1].over.Set(13)
	k := NewDiagnosis(g, 0)
	k.base, k.began, k.usualDew, k.usualRun, k.minuteAgo, k.recurs = base, noon-3*minute, -10, 0.8, 9, 2
	x := instant()
	f := g.extract(0, &x, &k, 0.01, true)
	if f.dewOver != -2 || !near(f.drawOver, -0.3, 1e-9) || f.headOver != 6 || f.twins != 13 || f.lasted != 180 || f.superheat != 1 ||
		f.minuteAgo != 9 || f.recurs != 2 || f.liquid != 0.01 || !f.hunts || f.circuits != 3 {
		t.Errorf("%+v", f)
	}
	g.inlets[1].running = false
	if f := g.extract(0, &x, &k, 0.01, true); !math.IsNaN(f.twins) {
		t.Errorf("a stopped compressor is a twin of %g K", f.twins)
	}
}

// TestTheInletStandsForAnOutlet that is not measured; its normal is what it
// usually has, but no less than the floor.
func TestTheInletStandsForAnOutlet(t *testing.T) {
	for _, c := range []struct{ usual, floor, normal float64 }{{14, 11, 14}, {9, 11, 11}, {nan, 11, 11}} {
		g, base := quiet()
		g.coils[0].measured = false
		in := &g.inlets[0]
		in.past, _ = record(overDew, repeat(10, c.usual)...)
		for _, v := range []float64{5, 2, 3} {
			in.over.Reset()
			in.update(noon, interval, v, false)
		}
		in.swings.level.Set(4)
		k := NewDiagnosis(g, 0)
		k.base, k.began = base, noon+3*hour
		x := instant()
		x.At = noon + 3*hour
		x.Compressors[0].Floor = units.Kelvin(c.floor)
		f := g.extract(0, &x, &k, nan, false)
		if f.outlet || f.normal != c.normal || f.low != 2 || f.high != 5 || f.swing != 4 || !math.IsNaN(f.otherSwings) {
			t.Errorf("usual %g: outlet %v, normal %g, low %g, high %g, swing %g, others %g", c.usual, f.outlet, f.normal, f.low, f.high, f.swing, f.otherSwings)
		}
	}
}

// TestAGoodDefrostThatDoesNotHelp: only one that got warm, began after the air
// went away from dew, and is long enough ago, shows that ice is not behind it.
func TestAGoodDefrostThatDoesNotHelp(t *testing.T) {
	good := frame.DefrostRun{Began: noon - 80*minute, Ended: noon - 60*minute, Resumed: noon - 55*minute, Peak: 12}
	for _, c := range []struct {
		name string
		gap  float64 // K, of the air above dew now; 8 K with a clean coil
		rise float64 // K, at once, 5 hours ago
		run  func(r *frame.DefrostRun)
		want bool
	}{
		{"a fan failed", 12, 4, func(*frame.DefrostRun) {}, true},
		{"the air is just far", 9.1, 4, func(*frame.DefrostRun) {}, true},
		{"the air is back", 8.9, 4, func(*frame.DefrostRun) {}, false},
		{"a leap that is hardly one", 12, 0.9, func(*frame.DefrostRun) {}, false},
		{"a small leap", 12, 1.1, func(*frame.DefrostRun) {}, true},
		{"the defrost stayed cold", 12, 4, func(r *frame.DefrostRun) { r.Peak = 5.9 }, false},
		{"the defrost was not seen", 12, 4, func(r *frame.DefrostRun) { r.Peak = units.Celsius(nan) }, false},
		{"the defrost was before", 12, 4, func(r *frame.DefrostRun) { r.Ended = noon - 8*hour }, false},
		{"too soon to know", 12, 4, func(r *frame.DefrostRun) { r.Resumed = noon - 24*minute }, false},
		{"soon enough", 12, 4, func(r *frame.DefrostRun) { r.Resumed = noon - 26*minute }, true},
		{"still dripping", 12, 4, func(r *frame.DefrostRun) { r.Resumed = 0 }, false},
	} {
		g, base := quiet()
		k := &g.coils[0]
		k.past = past{}
		for i := range int64(60) {
			v := 8.0
			if i >= 30 {
				v += c.rise
			}
			for n := range int64(6) {
				k.past.update(noon-(60-i)*summaryLength+n*interval, nan, v)
			}
		}
		k.past.close()
		k.gap.Set(c.gap)
		k.last = good
		c.run(&k.last)
		var f features
		f.extractAir(k, &base[0], noon, noon)
		if f.survived != c.want {
			t.Errorf("%s: a good defrost did not help is %v, want %v (%+v)", c.name, f.survived, c.want, f)
		}
		if !near(f.gapOver, c.gap-8, 1e-9) || !near(f.airOver, 0, 1e-9) || !f.air {
			t.Errorf("%s: air above dew by %g more, air by %g", c.name, f.gapOver, f.airOver)
		}
	}
}

// TestAgo: a restart counts from when liquid flows again; a drip from the end of
// the heat; one that shows late counts as having been at once.
func TestAgo(t *testing.T) {
	for _, c := range []struct {
		name           string
		ended, resumed int64 // before noon
		fed            int64
		want           float64
	}{
		{"none", 0, 0, 0, math.Inf(1)},
		{"resumed", noon - 10*minute, noon - 5*minute, 0, 300},
		{"dripping", noon - 10*minute, noon - 6*hour, 0, 600},
		{"a pause that was no defrost", 0, 0, noon - 2*minute, 120},
		{"noticed two minutes late", noon + 2*minute, noon + 2*minute, 0, 0},
		{"another, later", noon + 4*minute, noon + 4*minute, 0, math.Inf(1)},
	} {
		k := coil{fedAgain: c.fed}
		k.last.Ended, k.last.Resumed = c.ended, c.resumed
		if got := k.ago(noon); got != c.want {
			t.Errorf("%s: %g s ago, want %g", c.name, got, c.want)
		}
	}
}

// TestDewRises: an open valve lets dew jump by the high side's gas in two
// minutes; each stop counts once.
func TestDewRises(t *testing.T) {
	var r dewRises
	var before past
	at := noon
	stop := func(rise float64, seconds int64) {
		r.update(at, true, -30, &before)
		for s := int64(0); s <= seconds; s += 10 {
			at += interval
			r.update(at, false, -30+rise*float64(s)/120, &before)
		}
	}
	stop(12, 110)
	if r.mean.Known() {
		t.Errorf("a stop of less than two minutes counts: %g K", r.mean.Value())
	}
	stop(12, 600)
	if !near(r.mean.Value(), 12, 1e-9) {
		t.Errorf("%g K, want 12", r.mean.Value())
	}
	stop(2, 600) // a fifth of the mean is the newest
	if !near(r.mean.Value(), 10, 1e-9) {
		t.Errorf("%g K, want 10", r.mean.Value())
	}
	r = dewRises{}
	before, at = record(groupDew, repeat(6, -20)...)
	stop(12, 600) // from -30 °C, pumped down, to 2 K above what it runs at
	if !near(r.mean.Value(), 2, 1e-9) {
		t.Errorf("of a coil that was pumped down: %g K, want 2", r.mean.Value())
	}
}

// TestBouts: floodbacks that come back within three hours, no restart near.
func TestBouts(t *testing.T) {
	g, _ := quiet()
	for i, c := range []struct {
		at, resumed int64
		want        int
	}{
		{noon, 0, 0}, {noon + hour, 0, 1}, {noon + 2*hour, noon + 2*hour - 24*minute, 2}, // this one comes from a restart
		{noon + 2*hour + 30*minute, noon + 2*hour - 24*minute, 2}, {noon + 3*hour + minute, 0, 2}, {noon + 20*hour, 0, 0},
	} {
		g.coils[1].last.Resumed = c.resumed
		if got := g.beginBout(0, c.at); got != c.want {
			t.Errorf("floodback %d: %d before, want %d", i, got, c.want)
		}
	}
}

// TestFloodbacksWithAStart: those that begin within five minutes of the machine's
// own start, in three hours.
func TestFloodbacksWithAStart(t *testing.T) {
	g, _ := quiet()
	for i, c := range []struct {
		at   int64
		ran  float64 // s
		want int
	}{
		{noon, 60, 0}, {noon + hour, 299, 1}, {noon + 2*hour, 300, 2}, {noon + 2*hour + minute, nan, 2},
		{noon + 3*hour + minute, 60, 1}, {noon + 20*hour, 60, 0},
	} {
		if got := g.beginStart(0, c.at, c.ran); got != c.want {
			t.Errorf("floodback %d: %d before, want %d", i, got, c.want)
		}
	}
}

// TestInHotGas: a floodback that begins while hot gas goes through a circuit. Where
// no signal shows the defrost, it is noticed some minutes late.
func TestInHotGas(t *testing.T) {
	for _, c := range []struct {
		name      string
		kind      frame.DefrostKind
		signalled bool
		from, to  int64 // of the defrost, before now; to 0: it goes on
		began     int64 // of the floodback
		want      float64
	}{
		{"in the middle of one that goes on", frame.HotGas, true, 10 * minute, 0, noon - 5*minute, 300},
		{"in the middle of one that is over", frame.HotGas, true, 20 * minute, 5 * minute, noon - 10*minute, 600},
		{"before it", frame.HotGas, true, 10 * minute, 0, noon - 11*minute, nan},
		{"after it", frame.HotGas, true, 20 * minute, 5 * minute, noon - 4*minute, nan},
		{"before it is noticed", frame.HotGas, false, 10 * minute, 0, noon - 12*minute, 60},
		{"long before it is noticed", frame.HotGas, false, 10 * minute, 0, noon - 14*minute, nan},
		{"another kind of heat", frame.Electric, true, 10 * minute, 0, noon - 5*minute, nan},
		{"no defrost was seen", frame.HotGas, true, 0, 0, noon, nan},
	} {
		k := coil{kind: c.kind, signalled: c.signalled, stage: frame.Refrigerating}
		switch {
		case c.from == 0:
		case c.to == 0:
			k.stage, k.since = frame.Defrosting, noon-c.from
		default:
			k.last.Began, k.last.Ended = noon-c.from, noon-c.to
		}
		if got := k.inHotGas(c.began); !near(got, c.want, 1e-9) {
			t.Errorf("%s: %g s, want %g", c.name, got, c.want)
		}
	}
}

// TestNeighboursDefrost: lengths are compared where signals tell them and the
// heat may be of the same kind.
func TestNeighboursDefrost(t *testing.T) {
	g, _ := quiet()
	for i, minutes := range []int64{5, 20, 30} {
		g.coils[i].signalled = true
		g.coils[i].last = frame.DefrostRun{Began: noon - hour, Ended: noon - hour + minutes*minute}
	}
	for _, c := range []struct {
		name string
		set  func()
		want float64
	}{
		{"two neighbours", func() {}, 1500},
		{"one has another kind of heat", func() { g.coils[1].kind = frame.HotGas }, 1800},
		{"one may have the same", func() { g.coils[1].kind = frame.DefrostUnset }, 1500},
		{"one is not signalled", func() { g.coils[1].signalled = false }, 1800},
		{"one still defrosts for the first time", func() { g.coils[2].last.Ended = 0 }, nan},
		{"its own length is a guess", func() { g.coils[1].signalled, g.coils[0].signalled = true, false }, nan},
	} {
		c.set()
		if got := g.neighboursDefrost(0); !near(got, c.want, 1e-9) {
			t.Errorf("%s: %g s, want %g", c.name, got, c.want)
		}
	}
}

// TestShutTrial: the compressors were wet before a circuit's defrost and dry in
// it. A group that was dry before, or a short defrost, shows nothing.
func TestShutTrial(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, while float64
		minutes       int64
		want          float64
	}{
		{"wet before, dry while", 4, 14, 20, 10}, {"dry before", 10.1, 14, 20, nan}, {"just wet before", 9.9, 14, 20, 4.1},
		{"too short to compare", 4, 14, 6, nan}, {"long enough", 4, 14, 7, 10},
	} {
		g, _ := quiet()
		g.lowest.Set(c.before)
		g.inlets[0].running = true
		g.inlets[0].over.Set(c.while)
		var s shutTrial
		for at := noon; at < noon+c.minutes*minute; at += interval {
			s.update(true, at, noon, g)
		}
		s.update(false, noon+c.minutes*minute, noon, g)
		if !near(s.gain.Value(), c.want, 1e-9) {
			t.Errorf("%s: gain %g, want %g", c.name, s.gain.Value(), c.want)
		}
	}
}
