package phase

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// A machine that stood through a defrost and runs again feeds the coils: an
// off-cycle coil was not heated and hardly falls, and a coil that nobody measures
// shows nothing. A heated coil shows it itself, and a machine that ran all along,
// or another circuit that it may draw from, shows nothing.
func TestMachineThatRunsAgainFeeds(t *testing.T) {
	for _, c := range []struct {
		name           string
		kind           frame.DefrostKind
		outlet         float64 // °C, throughout the defrost and after
		runsOn, second bool    // the machine runs throughout; a second circuit refrigerates
		want           frame.Stage
	}{
		{"off cycle", frame.OffCycle, 5, false, false, frame.PullingDown},
		{"nobody measures the coil", frame.Electric, math.NaN(), false, false, frame.PullingDown},
		{"a heated coil", frame.Electric, 5, false, false, frame.Dripping},
		{"the machine ran all along", frame.OffCycle, 5, true, false, frame.Dripping},
		{"another circuit refrigerates", frame.OffCycle, 5, false, true, frame.Dripping},
	} {
		t.Run(c.name, func(t *testing.T) {
			kinds := []frame.DefrostKind{c.kind}
			if c.second {
				kinds = append(kinds, frame.OffCycle)
			}
			g := NewGroup(Settings{}, 1, kinds)
			const begin, end, starts = 600, 1800, 1830
			for s := int64(0); s <= starts+int64(fedAfter/1e9); s++ {
				x := frame.Frame{At: 1e15 + s*1e9, Dew: -10, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, len(kinds))}
				x.Compressors[0].Signal = frame.Of(c.runsOn || s < begin || s >= starts)
				outlet := -4.0
				if s >= begin || math.IsNaN(c.outlet) {
					outlet = c.outlet
				}
				x.Circuits[0] = frame.Circuit{Signal: frame.Of(s >= begin && s < end), CoilOutlet: units.Celsius(outlet), Air: 2}
				if c.second {
					x.Circuits[1] = frame.Circuit{Signal: frame.No, CoilOutlet: -4, Air: 2}
				}
				g.Observe(&x)
				if st := g.Circuits[0].stage; s >= end && s < starts+60 && st != frame.Dripping {
					t.Fatalf("%d s: stage %v", s, st)
				}
			}
			k := &g.Circuits[0]
			if k.stage != c.want {
				t.Fatalf("stage %v, want %v", k.stage, c.want)
			}
			if c.want == frame.PullingDown && k.Last.Resumed != 1e15+starts*1e9 {
				t.Errorf("resumed %d s after the start of the machine", (k.Last.Resumed-1e15)/1e9-starts)
			}
		})
	}
}

// Without a defrost signal an off-cycle defrost ends when the machine runs again.
func TestMachineThatRunsAgainFeedsWithoutSignal(t *testing.T) {
	for _, kind := range []frame.DefrostKind{frame.OffCycle, frame.HotGas} {
		g := NewGroup(Settings{}, 1, []frame.DefrostKind{kind})
		const begin, starts = 2400, 3600
		for s := int64(0); s <= starts+60; s++ {
			x := frame.Frame{At: 1e15 + s*1e9, Dew: -10, Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
			x.Compressors[0].Signal = frame.Of(s < begin || s >= starts)
			outlet, air := -4.0, 1.0
			if s >= begin { // it warms slowly, and hardly falls when the machine is back
				outlet = min(-4+float64(s-begin)/50, 9)
				air = min(1+float64(s-begin)/300, 4)
			}
			x.Circuits[0] = frame.Circuit{Signal: frame.Unset, CoilOutlet: units.Celsius(outlet), Air: units.Celsius(air)}
			g.Observe(&x)
		}
		k := &g.Circuits[0]
		if pulls := k.stage == frame.PullingDown; pulls != (kind == frame.OffCycle) {
			t.Errorf("defrost by %v: stage %v", kind, k.stage)
		} else if pulls && k.Last.Resumed != 1e15+starts*1e9 {
			t.Errorf("resumed %d s after the start of the machine", (k.Last.Resumed-1e15)/1e9-starts)
		}
	}
}
