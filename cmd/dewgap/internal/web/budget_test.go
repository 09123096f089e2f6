package web

import (
	"strings"
	"testing"
	"time"

	"dewgap/analyze/superheat"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// TestStateExplainsUncertainty: the parts, the lag with its spread and source,
// and a warning where the floor is not above the uncertainty; nothing where
// there is no superheat.
func TestStateExplainsUncertainty(t *testing.T) {
	s := snaptest.EveryState()
	s.Units = "us"
	for range s.States {
		s.Budgets = append(s.Budgets, superheat.Budget{
			Parts:    []superheat.Part{{Name: "mounting", Standard: 7, Share: 0.98, Assumed: true}, {Name: "pressure", Standard: 1, Share: 0.02}},
			Expanded: 14, Lag: superheat.LagSource{Lag: 31 * time.Second, Spread: 0.2, Fits: 9},
		})
	}
	for _, c := range stateAt(t, boardOf(s)).Compressors {
		if c.Superheat == nil {
			if len(c.Parts) != 0 || c.SensorLag != nil || c.FloorWarning != "" {
				t.Errorf("%s has no superheat, but %+v", c.Compressor, c)
			}
			continue
		}
		if len(c.Parts) != 2 || c.Parts[0].Part != "mounting" || c.Parts[0].K != 14 || !c.Parts[0].Assumed {
			t.Errorf("%s: %+v", c.Compressor, c.Parts)
		}
		if l := c.SensorLag; l == nil || l.Seconds != 31 || l.Spread != 0.2 || l.Source != "learned" || l.Fits != 9 {
			t.Errorf("%s: %+v", c.Compressor, l)
		}
		if !strings.Contains(c.FloorWarning, "improve the mounting first") || !strings.Contains(c.FloorWarning, "25.2 °F") {
			t.Errorf("%s: %q", c.Compressor, c.FloorWarning)
		}
	}
}
