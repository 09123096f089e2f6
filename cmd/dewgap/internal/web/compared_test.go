package web

import (
	"encoding/json"
	"testing"

	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// TestStateShowsGaugePressuresAndComparisons: a pressure as the site's own gauge
// shows it, in the unit of the file, and which inputs nobody compared; a reader
// who asks for other units gets those.
func TestStateShowsGaugePressuresAndComparisons(t *testing.T) {
	s := snaptest.EveryState()
	s.Atmosphere = units.StandardAtmosphere
	kPag, err := units.ParseUnit("kPag")
	if err != nil {
		t.Fatal(err)
	}
	s.Points[0].Unit = kPag
	s.Compared = []string{"2026-11-30: gauge 119 kPag, read 120 kPag", ""}
	h := handlerOf(boardOf(s), fixedEvents{})
	for path, want := range map[string]string{"/api/v1/state": "120 kPag", "/api/v1/state?units=us": "17.4 psig"} {
		_, body, _ := get(t, h, path)
		var state struct {
			Compressors []struct {
				Pressure string `json:"suction_pressure"`
			}
			Inputs []struct {
				Text     string
				Compared *string
			}
		}
		if err := json.Unmarshal([]byte(body), &state); err != nil {
			t.Fatal(err)
		}
		in := state.Inputs
		if state.Compressors[0].Pressure != want || in[0].Text != want {
			t.Errorf("%s: %q and %q, want %q", path, state.Compressors[0].Pressure, in[0].Text, want)
		}
		if in[0].Compared == nil || *in[0].Compared != s.Compared[0] || in[1].Compared == nil || *in[1].Compared != "" {
			t.Errorf("%s: %+v", path, in)
		}
	}
}
