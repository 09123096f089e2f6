package phase

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"

	"pgregory.net/rapid"
)

const hour = 3600.0

// The edges of the start phase, contract section 5: the first 120 s of running
// after at least 60 s off.
func TestStartEdges(t *testing.T) {
	for _, c := range []struct {
		off, after float64
		want       frame.Phase
	}{
		{59, 0, frame.Steady}, {59, 119, frame.Steady},
		{60, 0, frame.Start}, {60, 119, frame.Start}, {60, 120, frame.Steady},
		{600, 0, frame.Start}, {600, 119, frame.Start}, {600, 120, frame.Steady},
	} {
		s := store{level: -10, signal: true, flag: true, stop: []span{{hour - c.off, hour}}}
		told := s.play(hour+300, 1, 0)
		if got := told(hour + c.after); got != c.want {
			t.Errorf("off for %.0f s, %.0f s after the start: %s, want %s", c.off, c.after, got, c.want)
		}
		if got := told(hour - 1); got != frame.Off {
			t.Errorf("before the start: %s, want off", got)
		}
	}
}

// A machine that is found running may have just started; one that is found
// standing starts.
func TestFirstSeen(t *testing.T) {
	s := store{level: -10, signal: true, flag: true}
	want(t, s.play(300, 1, 0), map[float64]frame.Phase{0: frame.Unknown, 119: frame.Unknown, 121: frame.Steady})
	s.stop = []span{{0, 100}}
	want(t, s.play(300, 1, 0), map[float64]frame.Phase{0: frame.Off, 99: frame.Off, 100: frame.Start, 219: frame.Start, 221: frame.Steady})
}

// One defrost by its signal: drip belongs to it, refrigeration returns when
// the coil outlet falls, or after the usual drip where there is none.
func TestDefrostBySignal(t *testing.T) {
	for name, s := range map[string]store{
		"coil and air": {},
		"air":          {noCoil: true},
		"coil":         {noAir: true},
		"neither":      {noCoil: true, noAir: true},
	} {
		t.Run(name, func(t *testing.T) {
			s.level, s.signal, s.flag, s.drip = -10, true, true, 180
			s.defrosts = []span{{2 * hour, 2*hour + 1200}}
			end := 2*hour + 1200
			told := s.play(4*hour, 1, 0)
			want(t, told, map[float64]frame.Phase{
				2*hour - 1: frame.Steady, 2 * hour: frame.Defrost, end - 1: frame.Defrost, end + 60: frame.Defrost,
				end + 300: frame.Pulldown, end + 500: frame.Pulldown, end + 180 + 3600 + 60: frame.Steady,
			})
		})
	}
}

// The end of pulldown by what is seen of the load; never past 60 min (contract
// section 5).
func TestPulldownEnds(t *testing.T) {
	s := store{level: -10, signal: true, flag: true, drip: 180, defrosts: []span{{2 * hour, 2*hour + 1200}}}
	back := 2*hour + 1200 + 180
	told := s.play(4*hour, 5, 0)
	// 8 K of excess over 12 K, dying with 480 s: within 10 % after 910 s.
	for at := back + 100; at < back+850; at += 50 {
		if got := told(at); got != frame.Pulldown {
			t.Fatalf("%.0f s after the valve opened: %s, want pulldown", at-back, got)
		}
	}
	want(t, told, map[float64]frame.Phase{back + 2100: frame.Steady})

	warm := s
	g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.Electric})
	x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	over := 0.0
	for at := 0.0; at < 5*hour; at += 5 {
		warm.fill(at, &x)
		if at > back {
			x.Circuits[0].Air += 10 // an open door: the load does not come back
		}
		x.At = int64(1e15 + at*1e9)
		if p := g.Observe(&x)[0]; p == frame.Steady && at > back && over == 0 {
			over = at
		}
	}
	if d := over - back; d < 3600 || d > 3600+150 {
		t.Errorf("a load that does not return: over after %.0f s, want 3600", d)
	}
}

// A thermostat that shuts the valve says that the load is back.
func TestPulldownEndsWithThermostat(t *testing.T) {
	c := NewCircuit(frame.OffCycle)
	s := limitsFrom(Settings{}, 4)
	c.stage, c.since = frame.PullingDown, 1
	c.feed.shut, c.feed.pauses, c.feed.from = true, 3, 1
	for at, want := range map[int64]bool{179e9: false, 181e9: true} {
		if got := c.recovered(at, true, false, &s); got != want {
			t.Errorf("after %d s: %v, want %v", at/1e9, got, want)
		}
	}
}

// How long a pulldown is expected to last, by what is seen of it. Which way
// each goes is physics; how far is common practice, no source.
func TestExpectedPulldown(t *testing.T) {
	nan := math.NaN()
	set := Default()
	set.TypicalPulldown = 12 * time.Minute
	s := limitsFrom(set, 4)
	for _, x := range []struct {
		name            string
		gap, over       float64 // now, against 10 K and 6 K before the defrost
		atLeast, atMost time.Duration
	}{
		{"as before", 10, 6, 12 * time.Minute, 12 * time.Minute},
		{"nothing measured", nan, nan, 12 * time.Minute, 12 * time.Minute},
		{"air a tenth too far over dew", 11, 6, 15 * time.Minute, 30 * time.Minute},
		{"air still warm", 14, nan, time.Hour, time.Hour},
		{"air as much below as frost makes it", 9.3, 6, 6 * time.Minute, 12 * time.Minute},
		{"it was iced before", 7.5, 6, 40 * time.Minute, time.Hour},
		{"the coil is not full", 10, 10, 14 * time.Minute, 20 * time.Minute},
		{"the coil overfed", nan, 2, 8 * time.Minute, 12 * time.Minute},
	} {
		c := NewCircuit(frame.Electric)
		put := func(at int64, gap, over float64) {
			c.air, c.dew = filter.LowPass{}, filter.LowPass{}
			c.dew.Update(-10, 0, 1)
			c.air.Update(-10+gap, 0, 1)
			c.coil.Update(at, -10+over)
			c.coil.Update(at+filter.DefaultSpacing, -10+over)
		}
		c.Before.gap.Update(10, 0, 1)
		c.Before.superheat.Update(6, 0, 1)
		put(int64(1e15), x.gap, x.over)
		if got := time.Duration(c.expected(&s)); got < x.atLeast-time.Second || got > x.atMost+time.Second {
			t.Errorf("%s: %v, want %v to %v", x.name, got, x.atLeast, x.atMost)
		}
	}
}

// The heat that has to leave again came in during the time without
// refrigeration; where machines cycle the load does not settle. Common practice,
// no source.
func TestPulldownLasts(t *testing.T) {
	const min = 60.0
	set := Default()
	set.TypicalPulldown = 12 * time.Minute
	s := limitsFrom(set, 4)
	for name, x := range map[string]struct {
		away, idle float64 // s; share
		unseen     bool    // the defrost was under way when it was first seen
		low, high  float64 // times the typical one
	}{
		"usual":                      {away: 20 * min, low: 1, high: 1},
		"short":                      {away: 10 * min, low: 0.5, high: 0.7},
		"long":                       {away: 40 * min, low: 1.5, high: 2},
		"not seen to begin":          {away: 2 * min, unseen: true, low: 1, high: 1},
		"machines that cycle":        {away: 20 * min, idle: 0.5, low: 5, high: 5},
		"machines that rest a while": {away: 20 * min, idle: 0.1, low: 1.2, high: 1.6},
	} {
		c := NewCircuit(frame.Electric)
		c.first = 1
		c.Last = frame.DefrostRun{Began: 1e9, Resumed: 1e9 + int64(x.away*1e9)}
		if x.unseen {
			c.first = c.Last.Began
		}
		c.idle.Update(x.idle, 0, 1)
		if got := float64(c.expected(&s)) / float64(s.typicalPulldown); got < x.low-1e-6 || got > x.high+1e-6 {
			t.Errorf("%s: %.2f times a typical one, want %.2f to %.2f", name, got, x.low, x.high)
		}
	}
}

// The only circuit of a group has all that it draws.
func TestLonePulldownIsShorter(t *testing.T) {
	lone, among := limitsFrom(Settings{}, 1), limitsFrom(Settings{}, 2)
	if !(lone.typicalPulldown < among.typicalPulldown) {
		t.Errorf("alone %d ns, among others %d ns", lone.typicalPulldown, among.typicalPulldown)
	}
}

// An outlet that is still warm from the defrost is not one without liquid.
func TestWarmOutletIsNoPause(t *testing.T) {
	c, s := NewCircuit(frame.Electric), limitsFrom(Settings{}, 4)
	c.Before.superheat.Update(6, 0, 1)
	c.Before.outlet.Update(-4, 0, 1)
	c.dew.Update(-10, 0, 1)
	c.stage = frame.PullingDown
	shut := func(outlet float64, from, to int64) bool {
		for at := from; at < to; at += 5e9 {
			c.coil.Update(at, outlet)
			c.feed.watch(at, &c, 5, &s)
		}
		return c.feed.shut
	}
	if shut(10, 1e12, 1e12+120e9) {
		t.Error("an outlet that has not been cold yet is told as a shut valve")
	}
	shut(-3, 1e12+120e9, 1e12+300e9)
	if !shut(10, 1e12+300e9, 1e12+420e9) {
		t.Error("one that was cold and warms up is not")
	}
}

// Without signals: running by pipe and discharge, defrost by the coil outlet.
func TestWithoutSignals(t *testing.T) {
	for _, level := range []float64{-10, -32} {
		s := store{level: level, drip: 180, plateau: true, defrosts: []span{{2 * hour, 2*hour + 1500}}, stop: []span{{5 * hour, 5*hour + 1800}}}
		told := s.play(6*hour, 5, 0)
		back := 2*hour + 1500 + 180
		want(t, told, map[float64]frame.Phase{
			hour: frame.Steady, 2*hour + 240: frame.Defrost, 2*hour + 1400: frame.Defrost, back + 150: frame.Pulldown, back + 500: frame.Pulldown,
			4 * hour: frame.Steady, 5*hour + 240: frame.Off, 5*hour + 1700: frame.Off, 5*hour + 1800 + 45: frame.Start, 5*hour + 1800 + 300: frame.Steady,
		})
		if p := share(told, 600, 2*hour, frame.Steady); p != 1 {
			t.Errorf("dew %g: %.3f of two quiet hours told as steady", level, p)
		}
	}
}

// A thermostat's pauses are no defrosts once the first was seen to end.
func TestPausesAreNoDefrosts(t *testing.T) {
	s := store{level: -10, pause: 300}
	told := s.play(6*hour, 5, 0)
	if p := share(told, hour, 6*hour, frame.Steady); p < 0.99 {
		t.Errorf("%.3f of the time with pauses told as steady", p)
	}
}

// Trap 34: pressure swings with each stage, and spikes of 0.5 bar (3.7 K of
// dew at MT) reach the phases as dew; neither is a stop, a defrost or its end.
func TestTrap34(t *testing.T) {
	s := store{level: -10, noise: func(t float64) float64 {
		swing := 1.5 // staging: square, 4 min
		if math.Mod(t, 240) < 120 {
			swing = -1.5
		}
		if math.Mod(t, 97) < 1 {
			swing += 3.7
		}
		return swing
	}}
	for _, signals := range []bool{true, false} {
		s.signal, s.flag = signals, signals
		told := s.play(4*hour, 1, 0)
		if p := share(told, 600, 4*hour, frame.Steady); p != 1 {
			t.Errorf("signals %v: %.4f of the time told as steady", signals, p)
		}
	}
}

// Trap 35: off and the first seconds of a run are phases of their own, whatever
// the pipe shows.
func TestTrap35(t *testing.T) {
	s := store{level: -10, signal: true, flag: true, stop: []span{{hour, hour + 1200}}}
	told := s.play(2*hour, 1, 0)
	if share(told, hour, hour+1200, frame.Off) != 1 || share(told, hour+1200, hour+1320, frame.Start) != 1 || told(hour+1320) != frame.Steady {
		t.Error("a stop of 20 min and its start are not told as off, then start for 120 s")
	}
}

// Trap 41: defrosts as they are.
func TestTrap41(t *testing.T) {
	t.Run("several at once", func(t *testing.T) {
		g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.Electric, frame.Electric})
		a := store{level: -10, signal: true, flag: true, drip: 180, defrosts: []span{{hour, hour + 1200}}}
		b := store{level: -10, signal: true, flag: true, drip: 180, defrosts: []span{{hour + 600, hour + 2400}}}
		x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
		both := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 2)}
		for at := 0.0; at < 2*hour; at++ {
			a.fill(at, &x)
			both.SuctionPressure, both.Dew, both.Ambient, both.Compressors[0], both.Circuits[0] = x.SuctionPressure, x.Dew, x.Ambient, x.Compressors[0], x.Circuits[0]
			b.fill(at, &x)
			both.Circuits[1] = x.Circuits[0]
			both.At = int64(1e15 + at*1e9)
			got := g.Observe(&both)[0]
			switch want := map[float64]frame.Phase{hour + 1000: frame.Defrost, hour + 1500: frame.Pulldown, hour + 2390: frame.Pulldown, hour + 2700: frame.Pulldown}[at]; {
			case want != frame.Unknown && got != want:
				t.Errorf("at %.0f s: %s, want %s", at, got, want)
			}
		}
	})
	t.Run("no signal", func(t *testing.T) {
		s := store{level: -10, signal: true, drip: 180, plateau: true, defrosts: []span{{hour, hour + 1500}}}
		told := s.play(3*hour, 5, 0)
		if p := share(told, hour+150, hour+1500, frame.Defrost); p != 1 {
			t.Errorf("%.3f of a defrost without signal told", p)
		}
	})
	t.Run("signal stays on", func(t *testing.T) {
		s := store{level: -10, signal: true, flag: true, stuck: hour, noCoil: true, noAir: true}
		told := s.play(4*hour, 5, 0)
		want(t, told, map[float64]frame.Phase{hour: frame.Defrost, hour + 89*60: frame.Defrost, hour + 94*60: frame.Steady, 4 * hour: frame.Steady})
	})
	t.Run("signal stays on, length known", func(t *testing.T) {
		f, l := defrostSignal{}, limitsFrom(Settings{}, 4)
		for range signalLengths {
			f.ended(15 * 60e9)
		}
		f.isStuck(1, frame.Yes, &l)
		if f.isStuck(1+45*60e9, frame.Yes, &l) || !f.isStuck(2+45*60e9, frame.Yes, &l) || f.isStuck(3+46*60e9, frame.No, &l) {
			t.Error("a signal with a median of 15 min is not given up after 45 min, or not taken up again")
		}
	})
	t.Run("ends by time", func(t *testing.T) {
		s := store{level: -10, signal: true, flag: true, drip: 180, plateau: true}
		for h := 1.0; h < 20; h += 4 {
			s.defrosts = append(s.defrosts, span{h * hour, h*hour + 880}) // still at 0 °C
		}
		told := s.play(20*hour, 10, 0)
		for _, d := range s.defrosts {
			want(t, told, map[float64]frame.Phase{d.to - 10: frame.Defrost, d.to + 400: frame.Pulldown, d.to + 3900: frame.Steady})
		}
	})
}

// After a long gap in the data nothing from before stands; it is recovered from.
func TestLongGap(t *testing.T) {
	g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.Electric})
	s := store{level: -10, signal: true, flag: true}
	x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	at := 0.0
	var gaps reading.GapDetector
	step := func(dt float64) frame.Phase {
		at += dt
		x.LongGap = gaps.Next(time.Unix(0, int64(1e15+at*1e9))).Long
		s.fill(at, &x)
		x.At = int64(1e15 + at*1e9)
		return g.Observe(&x)[0]
	}
	for range 120 {
		step(5)
	}
	if p := step(110); p != frame.Steady {
		t.Errorf("after a gap of 110 s: %s, want steady", p)
	}
	if p := step(120); p != frame.Unknown {
		t.Errorf("after a gap of 120 s: %s, want unknown", p)
	}
	for range 30 {
		step(5)
	}
	if p := step(5); p != frame.Steady {
		t.Errorf("two minutes after it: %s, want steady", p)
	}
}

// Phases do not depend on when or how often a site is sampled, but for edges
// that are noticed within three minutes of each other.
func TestSamplingDoesNotMatter(t *testing.T) {
	s := store{level: -10, drip: 180, plateau: true, defrosts: []span{{hour, hour + 1500}}, stop: []span{{3 * hour, 3*hour + 900}}}
	for _, signals := range []bool{true, false} {
		s.signal, s.flag = signals, signals
		base := s.play(4*hour, 1, 0)
		rapid.Check(t, func(t *rapid.T) {
			step := float64(rapid.SampledFrom([]int{1, 2, 5, 10, 15}).Draw(t, "step"))
			told := s.play(4*hour, step, float64(rapid.IntRange(0, int(step)-1).Draw(t, "offset")))
			for at := 600.0; at < 4*hour-200; at += 20 {
				near := false
				for d := -180.0; d <= 180 && !near; d += 15 {
					near = told(at) == base(at+d)
				}
				if !near {
					t.Fatalf("signals %v, at %.0f s: %s, at one sample a second %s", signals, at, told(at), base(at))
				}
			}
		})
	}
}

// Nothing set is Default; a drip of zero in what is set stays zero.
func TestSettings(t *testing.T) {
	if s := (Settings{}).WithDefaults(); s != Default() {
		t.Errorf("nothing set: got %+v", s)
	}
	set := Default()
	set.Drip = 0
	if s := set.WithDefaults(); s != set {
		t.Errorf("got %+v, want %+v", s, set)
	}
}

func BenchmarkGroupObserve(b *testing.B) {
	s := store{level: -10}
	g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.Electric})
	x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	s.fill(0, &x)
	b.ReportAllocs()
	for at := int64(1e15); b.Loop(); at += 5e9 {
		x.At = at
		g.Observe(&x)
	}
}
