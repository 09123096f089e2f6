package phase

import (
	"math"
	"slices"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// TestStandstills plays lists of stops and looks which of them are taken for
// defrosts. Times: common practice, no source.
func TestStandstills(t *testing.T) {
	const minutes = int64(60e9)
	type stop struct{ every, length, times int64 } // minutes from begin to begin, minutes
	day := func(stops ...stop) (at, length []int64) {
		now := int64(1e15)
		for _, s := range stops {
			for range s.times {
				now += s.every * minutes
				at, length = append(at, now), append(length, s.length*minutes)
			}
		}
		return at, length
	}
	pauses := stop{20, 5, 10}
	for _, c := range []struct {
		name  string
		stops []stop
		want  []int // which stops are defrosts
	}{
		{"pauses, and one far longer", []stop{pauses, {20, 22, 1}, {30, 5, 3}, {20, 22, 1}}, []int{10, 14}},
		{"three times as long as usual, and half again as long as the longest", []stop{pauses, {20, 15, 1}}, []int{10}},
		{"less than three times", []stop{pauses, {20, 14, 1}}, nil},
		{"long pauses at night", []stop{pauses, {40, 12, 10}}, nil},
		{"little more than the longest", []stop{pauses, {40, 14, 1}, {40, 20, 1}}, nil},
		{"longer than the longest by half", []stop{pauses, {40, 14, 1}, {40, 21, 1}}, []int{11}},
		{"five minutes melt nothing", []stop{{20, 1, 10}, {20, 5, 1}}, nil},
		{"six minutes may", []stop{{20, 1, 10}, {20, 6, 1}}, []int{10}},
		{"too few pauses to know", []stop{{20, 5, 4}, {20, 22, 1}}, nil},
		{"enough of them", []stop{{20, 5, 5}, {20, 22, 1}}, []int{5}},
		{"a timer, known by the fourth time", []stop{{180, 21, 6}}, []int{3, 4, 5}},
		{"it is known after one that did not come", []stop{{180, 21, 4}, {360, 21, 2}}, []int{3, 4, 5}},
		{"after a day without one it is not", []stop{{180, 21, 4}, {180 * 8, 21, 1}}, []int{3}},
		{"a stop at another time", []stop{{180, 21, 4}, {60, 21, 1}, {120, 21, 1}}, []int{3, 5}},
		{"two minutes late", []stop{{180, 21, 4}, {182, 21, 1}}, []int{3, 4}},
		{"three minutes late", []stop{{180, 21, 4}, {183, 21, 1}}, []int{3}},
		{"no timer is that uneven", []stop{{180, 21, 2}, {183, 21, 1}, {180, 21, 1}}, nil},
		{"nor that quick", []stop{{100, 21, 6}}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			var s standstills
			var got []int
			at, length := day(c.stops...)
			for i := range at {
				if s.defrosted(at[i], at[i]+length[i]) {
					got = append(got, i)
				}
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("defrosts %v, want %v", got, c.want)
			}
		})
	}
}

// What was taken for pauses before the timer was known does not hide a longer
// stop at another time.
func TestTimedStopsAreNoPauses(t *testing.T) {
	var s standstills
	at := int64(1e15)
	for range 4 {
		s.defrosted(at, at+21*60e9)
		for i := int64(1); i <= 5; i++ {
			s.defrosted(at+i*1800e9, at+i*1800e9+300e9)
		}
		at += 3 * 3600e9
	}
	if s.timer == 0 {
		t.Fatal("the timer is not known")
	}
	if !s.defrosted(at+3600e9, at+3600e9+22*60e9) {
		t.Error("a long stop by hand is hidden by the earlier ones")
	}
}

// Only where no input could show a defrost does a standstill: a group of bare
// pressures and lines is in pulldown from the restart; a coil that is measured
// tells for itself.
func TestStandstillOfABareGroup(t *testing.T) {
	for name, outlet := range map[string]float64{"bare": math.NaN(), "measured": -4} {
		g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.OffCycle})
		stage := frame.StageUnknown
		const stands = 9 * 1200
		for s := int64(0); s < 9*1200+1320+200; s++ {
			x := frame.Frame{At: 1e15 + s*1e9, Dew: -10, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
			x.Compressors[0].Signal = frame.Of(s < stands && s%1200 < 900 || s >= stands+1320)
			x.Circuits[0] = frame.Circuit{Signal: frame.Unset, CoilOutlet: units.Celsius(outlet), Air: units.Celsius(math.NaN())}
			g.Observe(&x)
			if stage = g.Circuits[0].stage; s < stands && stage == frame.PullingDown {
				t.Fatalf("%s: pulldown after a pause", name)
			}
		}
		if pulls := stage == frame.PullingDown; pulls != (name == "bare") {
			t.Errorf("%s: stage %v after 27 min of standing", name, stage)
		}
		if k := &g.Circuits[0]; name == "bare" && (k.Last.Began != 1e15+(stands-300)*1e9 || k.Last.Resumed != 1e15+(stands+1320)*1e9) {
			t.Errorf("defrost from %d to %d s", (k.Last.Began-1e15)/1e9, (k.Last.Resumed-1e15)/1e9)
		}
	}
}
