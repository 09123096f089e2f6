package daemon

import (
	"bytes"
	"encoding/json"
	"log/slog"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/config"
)

// TestLogShowsTheEventsOwnFigures: what the log shows of an event is what its
// JSON holds, in the site's units where it is a sentence.
func TestLogShowsTheEventsOwnFigures(t *testing.T) {
	lowest := 0.6
	ev := alert.Event{ID: "x", Kind: "floodback", Severity: "minor", MinSuperheatK: &lowest, Evidence: []evidence.Item{
		evidence.New(evidence.SuperheatBelowFloor, evidence.Difference("min_superheat", 0.6), evidence.Difference("below", 7.4), evidence.Difference("floor", 8), evidence.Name("phase", "pulldown")),
	}}
	for _, system := range []units.System{units.SI, units.US} {
		var out bytes.Buffer
		d := &Daemon{log: slog.New(slog.NewJSONHandler(&out, nil)), current: &generation{config: &config.Config{Units: system}}}
		d.logChange(alert.Change{Kind: alert.Opened, At: time.Time{}, Event: ev})
		var line struct {
			Msg      string  `json:"msg"`
			Lowest   float64 `json:"min_superheat_k"`
			Evidence string  `json:"evidence"`
		}
		if err := json.Unmarshal(out.Bytes(), &line); err != nil {
			t.Fatal(err)
		}
		want := evidence.Renderer{System: system}.Text(ev.Evidence[0])
		if line.Msg != "event opened" || line.Lowest != lowest || line.Evidence != want {
			t.Errorf("in %s: %+v, want %q", system, line, want)
		}
	}
}
