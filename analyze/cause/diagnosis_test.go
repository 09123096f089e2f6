package cause

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// at returns the frame of quiet so long after noon, with a compressor's superheat.
func at(after int64, superheat, floor units.Kelvin) frame.Frame {
	x := instant()
	x.At = noon + after
	x.Compressors[0].Inlet.Superheat, x.Compressors[0].Floor = superheat, floor
	return x
}

// TestDepthWeighs: an instant at dew weighs fifty times as much as one at the
// floor; half of the way down weighs a quarter. What is not known weighs as
// little as the floor.
func TestDepthWeighs(t *testing.T) {
	for _, c := range []struct {
		superheat, floor units.Kelvin
		want             float64
	}{
		{0, 10, 1.02}, {5, 10, 0.27}, {9, 10, 0.03}, {10, 10, 0.02}, {12, 10, 0.02}, {-3, 10, 1.02}, {units.Kelvin(nan), 10, 0.02}, {0.2, 0.5, 0.38}, {-1, 0, 0.02},
	} {
		g, _ := quiet()
		d := NewDiagnosis(g, 0)
		x := at(0, c.superheat, c.floor)
		d.Update(&x, nan, false)
		if !near(d.weight, c.want, 1e-9) {
			t.Errorf("%g K against a floor of %g K weighs %g, want %g", float64(c.superheat), float64(c.floor), d.weight, c.want)
		}
	}
}

// TestOneFloodbackOrTwo: two minutes without one begin another diagnosis; so
// does a clock that was set back. Evidence is gathered every five seconds.
func TestOneFloodbackOrTwo(t *testing.T) {
	for _, c := range []struct {
		name  string
		gap   int64
		began int64 // after noon
		n     float64
	}{
		{"five seconds later", 5 * second, 0, 2}, {"sooner", 4 * second, 0, 1}, {"two minutes later", 2 * minute, 0, 2},
		{"more than that", 2*minute + second, 2*minute + second, 1}, {"the clock was set back", -second, -second, 1},
	} {
		g, _ := quiet()
		d := NewDiagnosis(g, 0)
		x := at(0, 0, 10)
		d.Update(&x, nan, false)
		x = at(c.gap, 0, 10)
		d.Update(&x, nan, false)
		if d.began != noon+c.began || !near(d.weight, c.n*1.02, 1e-9) {
			t.Errorf("%s: began %g s after noon with weight %g, want %g, %g", c.name, float64(d.began-noon)/1e9, d.weight, float64(c.began)/1e9, c.n*1.02)
		}
	}
}

// TestOnlyWhatWasDeepIsRemembered: a floodback that hardly went below the floor
// is no history of a circuit.
func TestOnlyWhatWasDeepIsRemembered(t *testing.T) {
	for _, c := range []struct {
		superheat units.Kelvin
		want      bool
	}{{0, true}, {9.5, false}, {2.9, true}, {3.2, false}} { // weights of 1.02, 0.02, 0.52, 0.48
		g, _ := quiet()
		g.coils[1].recent[0] = 0
		d := NewDiagnosis(g, 0)
		x := at(0, c.superheat, 10)
		d.Update(&x, nan, false)
		x = at(hour, 0, 10)
		d.Update(&x, nan, false)
		if got := g.histories[1].n > 0.5; got != c.want || g.histories[0].n != 0 {
			t.Errorf("down to %g K: remembered %v, %v", float64(c.superheat), got, g.histories)
		}
	}
}

// TestReasonsAreOfTheDeepestTime: what is listed for a circuit is what was seen
// when the compressor was wettest, not when it had nearly recovered.
func TestReasonsAreOfTheDeepestTime(t *testing.T) {
	for _, c := range []struct {
		superheat units.Kelvin // later
		renewed   bool
	}{{1, true}, {2, false}} { // 0.83 and 0.66 of the weight at dew
		g, _ := quiet()
		g.coils[1].recent[0] = 1
		d := NewDiagnosis(g, 0)
		x := at(0, 0, 10)
		circuits, _ := d.Update(&x, nan, false)
		if len(circuits[0].Why) != 1 || circuits[0].Name != "b" {
			t.Fatalf("ranked %v", circuits)
		}
		g.coils[1].recent[0] = 2
		x = at(10*second, c.superheat, 10)
		circuits, _ = d.Update(&x, nan, false)
		want := 1.0
		if c.renewed {
			want = 2
		}
		if got := circuits[0].Why[0].Number("superheat_k"); got != want {
			t.Errorf("at %g K: the outlet is listed with %g K, want %g", float64(c.superheat), got, want)
		}
	}
}

// TestALoneCircuitWithoutAirIsJudgedBySuction: a fan that stops lets suction
// fall at once.
func TestALoneCircuitWithoutAirIsJudgedBySuction(t *testing.T) {
	g := NewGroup([]string{"a"}, 2)
	for i := range int64(60) {
		dew := -10.0
		if i >= 30 {
			dew = -13
		}
		for n := range int64(6) {
			g.past.update(noon-(60-i)*summaryLength+n*interval, dew, 1)
		}
	}
	g.past.close()
	k := NewDiagnosis(g, 0)
	k.began = noon
	x := at(0, 0, 10)
	x.Circuits = x.Circuits[:1]
	f := g.extract(0, &x, &k, nan, false)
	if !near(f.leap, 3, 1e-6) || !near(f.leapShare, 1, 1e-6) || f.air {
		t.Errorf("leap %g K, share %g, air measured %v", f.leap, f.leapShare, f.air)
	}
	if !math.IsNaN(f.low) || f.outlet {
		t.Errorf("low %g, outlet %v", f.low, f.outlet)
	}
}
