package cause

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"

	"pgregory.net/rapid"

	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
)

// plain is a view in which nothing is known and nothing is wrong.
func plain() view {
	v := view{
		kind: phase.Electric, circuits: 3, measured: 3, outlet: true,
		ago: math.Inf(1), otherAgo: math.Inf(1), lasted: 200,
		low: 6, high: 6, normal: 6, mostlyLow: 0, relief: nan,
		wettest: 0.2, driest: 5, swing: 0.2, otherSwings: 0.2, period: nan,
		gapOver: 0, leap: nan, leapShare: nan, sank: nan, gapRelief: nan, airOver: 0,
		defrosts: 4, peak: 11, length: 1500, lengths: 1500, plateau: 400, plateaus: 400,
		superheat: 2, minuteAgo: 6, spread: 2, liquid: nan, twins: nan, offRise: nan,
	}
	return v
}

// Patterns of the trade (shared trade notes, sections 10 and 12; common
// practice, no source), drawn by hand.
func TestEachCauseIsFirstWhenItsPatternIsPlain(t *testing.T) {
	for _, c := range []struct {
		want string // either of two words that stand for each other
		set  func(v *view)
	}{
		{"valve_stuck_open", func(v *view) {
			v.low, v.wettest, v.mostlyLow, v.lasted, v.relief, v.airOver, v.spread = 0.5, 0.9, 0.9, 1800, 0, -1.5, 0.5
		}},
		{"valve_oversized valve_hunting", func(v *view) {
			v.low, v.swing, v.period, v.wettest = 3, 4, 120, 0.5
		}},
		{"valve_hunting valve_oversized", func(v *view) {
			v.low, v.swing, v.period, v.hunts, v.wettest = 2, 6, 90, true, 0.6
		}},
		{"iced_coil defrost_incomplete", func(v *view) {
			v.low, v.wettest, v.mostlyLow, v.lasted = 1, 0.8, 0.3, 1500
			v.gapOver, v.leap, v.leapShare, v.sank, v.relief, v.gapRelief, v.length, v.plateau = 3.5, 1, 0.25, 0.3, 3, 2, 2600, 1300
		}},
		{"defrost_incomplete iced_coil", func(v *view) {
			v.low, v.wettest, v.lasted, v.peak, v.length = 1, 0.8, 1500, 0.5, 2700
		}},
		{"low_airflow", func(v *view) {
			v.low, v.wettest, v.lasted, v.gapOver, v.leap, v.leapShare, v.survived, v.sank = 1, 0.8, 1500, 6, 5, 0.8, true, 0
		}},
		{"load_change_after_defrost", func(v *view) {
			v.ago, v.low, v.wettest, v.minuteAgo = 240, 2, 0.7, 14
		}},
		{"overcharge", func(v *view) {
			v.circuits, v.measured, v.wetCoils = 4, 4, 4
			v.low, v.wettest, v.headOver, v.lasted, v.otherSwings = 1, 0.9, 7, 1200, 0.2
		}},
		{"accumulator_full", func(v *view) {
			v.superheat, v.driest, v.wettest, v.spread, v.lasted, v.low = 0.5, 6, 0.1, 0.4, 700, 6
			v.otherAgo = 900
		}},
		{"hot_gas_carryover", func(v *view) {
			v.kind, v.ago, v.minuteAgo, v.superheat, v.lasted = phase.HotGas, 25, 12, 0.2, 90
		}},
		{"sensor_misplaced", func(v *view) {
			v.superheat, v.driest, v.wettest, v.liquid, v.twins, v.lasted, v.minuteAgo = 0, 6, 0.1, 0, 14, 3000, 0.3
		}},
	} {
		v := plain()
		c.set(&v)
		s := read(&v)
		got := weigh(&s, &s, v.outlet)
		if !slices.Contains(strings.Fields(c.want), got[0].Name) {
			t.Errorf("%s: told %v", c.want, got[:min(3, len(got))])
		}
		if len(got[0].Why) == 0 {
			t.Errorf("%s: no word of why", c.want)
		}
	}
}

// Without evidence nobody is sure.
func TestNothingKnownIsNotSure(t *testing.T) {
	v := plain()
	v.outlet, v.low, v.measured, v.wettest, v.driest, v.defrosts, v.peak = false, nan, 0, nan, nan, 0, nan
	s := read(&v)
	if got := weigh(&s, &s, v.outlet); got[0].Score > 0.6 {
		t.Errorf("told %v from nothing", got[0])
	}
}

func TestScoresAreShares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(label string, from, to float64) float64 {
			if rapid.Bool().Draw(t, label+" unknown") {
				return nan
			}
			return rapid.Float64Range(from, to).Draw(t, label)
		}
		v := plain()
		v.kind = phase.DefrostKind(rapid.IntRange(0, 3).Draw(t, "kind"))
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
		s := read(&v)
		for i, x := range s {
			if !(x >= 0 && x <= 1) {
				t.Fatalf("sign %d is %v", i, x)
			}
		}
		sum := 0.0
		last := 1.0
		for _, r := range weigh(&s, &s, v.outlet) {
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

func TestEveryLineOfTheTableHasAReason(t *testing.T) {
	known := map[string]bool{}
	for _, w := range weights {
		if w.s != always && (w.w == 0 || w.why == "") {
			t.Errorf("%s, sign %d: no weight or no reason", w.cause, w.s)
		}
		known[w.cause] = true
	}
	for _, c := range strings.Fields("valve_oversized valve_stuck_open valve_hunting iced_coil low_airflow defrost_incomplete load_change_after_defrost overcharge accumulator_full hot_gas_carryover sensor_misplaced unknown") {
		if !known[c] {
			t.Errorf("the table lacks %s", c) // contract, section 4
		}
	}
}

func TestChecksBeginWithTheReadingAndPromiseNothing(t *testing.T) {
	for _, c := range append(slices.Clone(causeNames), "no such cause") {
		list := Checks(c)
		if len(list) < 3 || !strings.Contains(list[0].Do, "On the screen") || !strings.Contains(list[1].Do, "clamp") {
			t.Errorf("%s: the search does not begin with whether the reading is true", c)
		}
		for _, k := range list {
			if k.Do == "" || k.Confirms == "" || k.Clears == "" {
				t.Errorf("%s: %+v is not complete", c, k)
			}
			all := strings.ToLower(k.Do + k.Confirms + k.Clears)
			for _, never := range []string{"turn", "compressor is safe", "close the valve"} { // shared trade notes, section 19
				if strings.Contains(strings.ReplaceAll(all, "return", ""), never) && !strings.Contains(all, "fan") {
					t.Errorf("%s: says %q: %s", c, never, k.Do)
				}
			}
		}
	}
}

// store is three circuits on one compressor, as their sensors see them.
type store struct {
	group  *Group
	phases *phase.Group
	sample frame.Frame
	order  []int // order[i] is the circuit of the drawing that stands at place i
}

func newStore(order []int) *store {
	names := make([]string, len(order))
	kinds := make([]phase.DefrostKind, len(order))
	for i, k := range order {
		names[i], kinds[i] = string(rune('a'+k)), phase.Electric
	}
	s := &store{order: order, group: NewGroup(names, kinds), phases: phase.NewGroup(phase.Settings{}, 1, kinds)}
	s.sample = frame.Frame{
		At: 1_700_000_000e9, SuctionPressure: 2e5, DischargePressure: 10e5, Dew: -10, CondensingDew: 35, Ambient: 24,
		Compressors: []frame.Compressor{{Signal: phase.Yes, Inlet: superheat.Value{Dew: -10, Temperature: 4}, Discharge: 80, Sump: 40}},
		Circuits:    make([]frame.Circuit, len(order)),
	}
	return s
}

// run lets time pass; draw gives the outlet superheat of each circuit of the
// drawing at a second of it.
func (s *store) run(seconds int, draw func(circuit, second int) float64) {
	for t := 0; t < seconds; t += 5 {
		s.sample.At += 5e9
		for i, k := range s.order {
			s.sample.Circuits[i] = frame.Circuit{Signal: phase.No, CoilOutlet: units.Celsius(-10 + draw(k, t)), Air: 2}
		}
		s.group.Observe(&s.sample, s.phases)
		s.phases.Observe(&s.sample)
	}
}

func (s *store) ask(c *Case, superheat float64) (circuits, causes []Ranked) {
	return c.Present(Moment{At: s.sample.At, Superheat: superheat, Floor: 11, LiquidAtMost: nan})
}

func TestTheWetCoilIsBlamedWhereverItStands(t *testing.T) {
	var want []Ranked
	for _, order := range [][]int{{0, 1, 2}, {2, 0, 1}, {1, 2, 0}} {
		s := newStore(order)
		c := NewCase(s.group)
		s.run(4*3600, func(k, _ int) float64 { return 6 + float64(k)/2 })
		var circuits, causes []Ranked
		for range 60 {
			s.run(10, func(k, _ int) float64 {
				if k == 1 {
					return 0.3
				}
				return 6 + float64(k)/2
			})
			circuits, causes = s.ask(&c, 3)
		}
		if circuits[0].Name != "b" || circuits[0].Score < 0.7 {
			t.Errorf("order %v: told %v", order, circuits)
		}
		if want == nil {
			want = append(want, circuits...)
			want = append(want, causes...)
			continue
		}
		for i, r := range append(slices.Clone(circuits), causes...) {
			if r.Name != want[i].Name || math.Abs(r.Score-want[i].Score) > 1e-9 {
				t.Errorf("order %v: place %d is %v, was %v", order, i, r, want[i])
			}
		}
	}
}

func TestASwingingOutletIsAValve(t *testing.T) {
	s := newStore([]int{0, 1, 2})
	c := NewCase(s.group)
	swing := func(k, t int) float64 {
		if k == 2 {
			return 4.5 + 4*math.Sin(2*math.Pi*float64(t)/120)
		}
		return 6
	}
	s.run(3*3600, swing)
	var circuits, causes []Ranked
	for range 60 {
		s.run(10, func(k, _ int) float64 { return swing(k, int(s.sample.At/1e9)) })
		circuits, causes = s.ask(&c, 6)
	}
	if circuits[0].Name != "c" || !strings.HasPrefix(causes[0].Name, "valve_") || causes[0].Name == "valve_stuck_open" {
		t.Errorf("told %v, %v", circuits, causes)
	}
}

// What is not measured is said to be missing, and nothing breaks.
func TestMissingOutletsAreSaid(t *testing.T) {
	s := newStore([]int{0, 1, 2})
	c := NewCase(s.group)
	s.run(3600, func(int, int) float64 { return nan })
	circuits, causes := s.ask(&c, 2)
	if len(circuits) != 3 || len(causes) == 0 || math.IsNaN(circuits[0].Score) || math.IsNaN(causes[0].Score) {
		t.Fatalf("told %v, %v", circuits, causes)
	}
	if !slices.ContainsFunc(circuits[0].Why, func(i evidence.Item) bool { return strings.Contains(evidence.Renderer{}.Text(i), "would tell") }) {
		t.Errorf("does not say what is missing: %v", circuits[0].Why)
	}
}

// A floodback can be found by the discharge alone, while the line's superheat
// is not known.
func TestAnUnknownSuperheatLeavesScoresKnown(t *testing.T) {
	for _, order := range [][]int{{}, {0, 1}} {
		s := newStore(order)
		c := NewCase(s.group)
		s.run(600, func(int, int) float64 { return 6 })
		s.ask(&c, nan)
		circuits, causes := s.ask(&c, 2)
		if len(causes) == 0 {
			t.Fatalf("%d circuits: no cause", len(order))
		}
		for _, r := range append(circuits, causes...) {
			if !(r.Score >= 0 && r.Score <= 1) {
				t.Errorf("%d circuits: %s has score %v", len(order), r.Name, r.Score)
			}
		}
	}
}

func TestObserveDoesNotAllocate(t *testing.T) {
	s := newStore([]int{0, 1, 2})
	s.run(3600, func(int, int) float64 { return 6 })
	if n := testing.AllocsPerRun(200, func() {
		s.sample.At += 5e9
		s.group.Observe(&s.sample, s.phases)
	}); n != 0 {
		t.Errorf("%v allocations a sample", n)
	}
}

// A clue without a weight is work for nothing.
func TestEveryClueWeighs(t *testing.T) {
	for c, w := range clueWeights {
		if w == 0 {
			t.Errorf("clue %d has no weight", c)
		}
	}
}

// A swing that compressors which come and go leave no time to be seen is not
// known; one that is watched for long enough and does not come is none.
func TestASwingThatCannotBeSeenIsNotKnown(t *testing.T) {
	var w wave
	at := minute
	for range 12 { // four hours in runs of three minutes
		for range 18 {
			w.take(at, 6, 10)
			at += 10 * second
		}
		w.pause()
		at += 17 * minute
	}
	if got := w.swing(); !math.IsNaN(got) {
		t.Errorf("short runs only: swing %.1f K, want not known", got)
	}
	for range 60 {
		w.take(at, 6, 10)
		at += 10 * second
	}
	if got := w.swing(); got != 0 {
		t.Errorf("ten minutes without a break: swing %.1f K, want 0", got)
	}
}

// The climb and the bend that each start of a compressor makes are no swing of
// a valve; what comes after them may be.
func TestARestartIsNoSwing(t *testing.T) {
	play := func(superheat func(s int) float64) float64 {
		var w wave
		at := minute
		for range 12 { // four hours in runs of eight minutes
			for s := 0; s < 480; s += 10 {
				w.take(at, superheat(s), 10)
				at += 10 * second
			}
			w.pause()
			at += 12 * minute
		}
		return w.swing()
	}
	bend := func(s int) float64 { return 8 * math.Sin(float64(s)/480*math.Pi) }
	if got := play(bend); got != 0 {
		t.Errorf("up and down once in each run: swing %.1f K, want 0", got)
	}
	hunt := func(s int) float64 { return bend(s) + 4*math.Sin(float64(s)/90*2*math.Pi) }
	if got := play(hunt); got < 4 {
		t.Errorf("a hunt of 8 K on top: swing %.1f K, want most of it", got)
	}
}
