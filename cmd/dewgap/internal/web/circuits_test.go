package web

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// What a circuit does stands in the state. A coil is held against dew only while
// it is fed and something draws; what has not come, or is not known, is null.
func TestCircuitsInTheState(t *testing.T) {
	nan := units.Celsius(math.NaN())
	noon := snaptest.Noon.UnixNano()
	fed := analyze.CircuitState{Group: "mt", Name: "case-1", Kind: frame.Electric, Stage: frame.Refrigerating, Since: noon - 3600e9, CoilOutlet: -4, Air: 2,
		Last: frame.DefrostRun{Began: noon - 6000e9, Ended: noon - 4800e9, Resumed: noon - 4600e9, Over: noon - 3600e9, Peak: 12, Plateau: 300}}
	base := snaptest.EveryState()
	runs := base.States[0]
	runs.Group, runs.Running, runs.Dew, runs.Quality = "mt", frame.Yes, -10, reading.Good
	stopped := runs
	stopped.Running = frame.No
	for _, c := range []struct {
		name    string
		machine analyze.State
		change  func(c *analyze.CircuitState)
		age     time.Duration
		want    []string
	}{
		{"refrigerating", runs, func(*analyze.CircuitState) {}, 0, []string{`"defrost_kind":"electric","stage":"refrigerating","since":"2026-`, `"coil_outlet_c":-4,"coil_superheat_k":6,"air_c":2,"air_over_dew_k":12`, `"heat_s":1200,"peak_c":12,"plateau_s":300`}},
		{"nothing draws", stopped, func(*analyze.CircuitState) {}, 0, []string{`"coil_outlet_c":-4,"coil_superheat_k":null,"air_c":2,"air_over_dew_k":null`}},
		{"in defrost", runs, func(c *analyze.CircuitState) {
			c.Stage, c.Last.Ended, c.Last.Resumed, c.Last.Over = frame.Defrosting, 0, 0, 0
		}, 0, []string{`"stage":"defrosting"`, `"coil_superheat_k":null`, `"heat_ended":null,"refrigerating":null,"pulldown_over":null,"heat_s":null`}},
		{"not measured", runs, func(c *analyze.CircuitState) { c.CoilOutlet, c.Air, c.Last.Peak = nan, nan, nan }, 0, []string{`"coil_outlet_c":null,"coil_superheat_k":null,"air_c":null,"air_over_dew_k":null`, `"peak_c":null,"plateau_s":null`}},
		{"no defrost was seen", runs, func(c *analyze.CircuitState) {
			c.Last, c.Since, c.Kind = frame.DefrostRun{Peak: nan}, 0, frame.DefrostUnset
		}, 0, []string{`"circuit":"case-1","stage":"refrigerating","since":null`, `"last_defrost":null`}},
		{"too long ago", runs, func(*analyze.CircuitState) {}, time.Hour, []string{`"stage":"unknown","since":null,"coil_outlet_c":null,"coil_superheat_k":null,"air_c":null,"air_over_dew_k":null`}},
	} {
		s := *base
		circuit := fed
		c.change(&circuit)
		s.States, s.Circuits = []analyze.State{c.machine}, []analyze.CircuitState{circuit}
		text, err := json.Marshal(stateOf(&s, c.age, "test", evidence.Renderer{}).Circuits)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range c.want {
			if !strings.Contains(string(text), want) {
				t.Errorf("%s: no %s in %s", c.name, want, text)
			}
		}
	}
}
