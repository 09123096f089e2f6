package cause

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// store is three circuits on one compressor, as their sensors see them.
type store struct {
	group  *Group
	phases *phase.Group
	sample frame.Frame
	order  []int // order[i] is the circuit of the drawing that stands at place i
}

func newStore(order []int) *store {
	names := make([]string, len(order))
	kinds := make([]frame.DefrostKind, len(order))
	for i, k := range order {
		names[i], kinds[i] = string(rune('a'+k)), frame.Electric
	}
	s := &store{order: order, group: NewGroup(names, 1), phases: phase.NewGroup(phase.Settings{}, 1, kinds)}
	s.sample = frame.Frame{
		At: 1_700_000_000e9, SuctionPressure: 2e5, DischargePressure: 10e5, Dew: -10, CondensingDew: 35, Ambient: 24,
		Compressors: []frame.Compressor{{Signal: frame.Yes, Inlet: superheat.Value{Dew: -10, Temperature: 4}, Discharge: 80, Sump: 40}},
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
			s.sample.Circuits[i] = frame.Circuit{Kind: frame.Electric, Signal: frame.No, CoilOutlet: units.Celsius(-10 + draw(k, t)), Air: 2}
		}
		s.phases.Observe(&s.sample)
		s.group.Observe(&s.sample)
	}
}

func (s *store) ask(c *Diagnosis, superheat float64) (circuits, causes []Ranked) {
	s.sample.Compressors[0].Inlet.Superheat, s.sample.Compressors[0].Floor = units.Kelvin(superheat), 11
	return c.Update(&s.sample, nan, false)
}

func TestTheWetCoilIsBlamedWhereverItStands(t *testing.T) {
	var want []Ranked
	for _, order := range [][]int{{0, 1, 2}, {2, 0, 1}, {1, 2, 0}} {
		s := newStore(order)
		c := NewDiagnosis(s.group, 0)
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
			t.Errorf("order %v: ranked %v", order, circuits)
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
	c := NewDiagnosis(s.group, 0)
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
		t.Errorf("ranked %v, %v", circuits, causes)
	}
}

// An outlet that is not measured is listed as missing, and nothing breaks.
func TestMissingOutletsAreSaid(t *testing.T) {
	s := newStore([]int{0, 1, 2})
	c := NewDiagnosis(s.group, 0)
	s.run(3600, func(int, int) float64 { return nan })
	circuits, causes := s.ask(&c, 2)
	if len(circuits) != 3 || len(causes) == 0 || math.IsNaN(circuits[0].Score) || math.IsNaN(causes[0].Score) {
		t.Fatalf("ranked %v, %v", circuits, causes)
	}
	if !slices.ContainsFunc(circuits[0].Why, func(i evidence.Item) bool { return i.Code == evidence.CircuitOutletNotMeasured }) {
		t.Errorf("what is missing is not among the reasons: %v", circuits[0].Why)
	}
}

// A floodback can be found by the discharge alone, while the line's superheat
// is not known.
func TestAnUnknownSuperheatLeavesScoresKnown(t *testing.T) {
	for _, order := range [][]int{{}, {0, 1}} {
		s := newStore(order)
		c := NewDiagnosis(s.group, 0)
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
		s.group.Observe(&s.sample)
	}); n != 0 {
		t.Errorf("%v allocations a sample", n)
	}
}
