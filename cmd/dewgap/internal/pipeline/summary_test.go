package pipeline

import (
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// TestTally counts by hand: 10 s rows, each standing until the next; a gap of
// an hour counts for nothing.
func TestTally(t *testing.T) {
	site := analyze.Site{Name: "demo", Groups: []analyze.Group{{Name: "mt", Refrigerant: &refrigerant.Fluid{Name: "R513A"}, Compressors: []analyze.Compressor{{Name: "c1"}}}}}
	site.Groups[0].Detect.Floor.Steady, site.Groups[0].Detect.Floor.Pulldown = 11, 8
	tally := NewTally(site)
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	row := func(after time.Duration, p frame.Phase, superheat float64) {
		at = at.Add(after)
		floor := units.Kelvin(11)
		if p == frame.Pulldown {
			floor = 8
		}
		tally.Add(analyze.Result{Time: at, States: []analyze.State{{Time: at, Phase: p, Superheat: units.Kelvin(superheat), Floor: floor, Margin: units.Kelvin(superheat) - floor}}})
	}
	const s10 = 10 * time.Second
	row(0, frame.Steady, 14)
	row(s10, frame.Steady, 11) // exactly the floor is not below it
	row(s10, frame.Pulldown, 7.9)
	row(s10, frame.Pulldown, 3)
	row(s10, frame.Steady, math.NaN())
	row(s10, frame.Off, math.NaN())
	row(time.Hour, frame.Off, math.NaN())
	row(s10, frame.Steady, 12)
	ev := alert.Event{ID: "x", Kind: "floodback", Severity: "risk", Group: "mt", Compressor: "c1", Opened: at.Add(-time.Minute), Closed: &at, Phase: "pulldown", FloorK: ptr(8), MinSuperheatK: ptr(3), MinMarginK: ptr(-5),
		SecondsBelow: 20, KelvinSecondsBelow: 51, Evidence: []evidence.Item{evidence.New(evidence.SuperheatBelowFloor, evidence.Difference("min_superheat", 3), evidence.Difference("below", 5), evidence.Difference("floor", 8), evidence.Name("phase", "pulldown"))}}
	for system, wants := range map[units.System][]string{
		units.SI: {
			"demo: 8 rows, 2026-03-01T06:00:00Z to 2026-03-01T07:01:00Z",
			"group mt, R513A, floor 11.0 K (pulldown 8.0 K)",
			"below floor 20 s of 40 s running with superheat known",
			"steady 30 s (lowest superheat 11.0 K), pulldown 20 s (lowest superheat 3.0 K), off 10 s\n",
			"2026-03-01T07:00:00Z  floodback risk  mt c1, closed after 60 s",
			"opened in pulldown: lowest superheat 3.0 K; lowest margin over the floor -5.0 K; floor at opening 8.0 K; below the floor 20 s, 0.8 K·min\n",
			"superheat came down to 3.0 K, 5.0 K below the floor of 8.0 K (pulldown)\n",
		},
		units.US: {
			"floor 19.8 °F (pulldown 14.4 °F)", "lowest superheat 5.4 °F; lowest margin over the floor -9.0 °F",
			"superheat came down to 5.4 °F, 9.0 °F below the floor of 14.4 °F (pulldown)\n",
		},
	} {
		var out strings.Builder
		tally.Write(&out, system, []alert.Event{ev})
		for _, want := range wants {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%s lacks %q:\n%s", system, want, out.String())
			}
		}
	}
}

func ptr(v float64) *float64 { return &v }

func TestWithdrawnEventInTheSummary(t *testing.T) {
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	var out strings.Builder
	NewTally(analyze.Site{}).Write(&out, units.SI, []alert.Event{{ID: "x", Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Opened: at.Add(-time.Minute), Closed: &at,
		Withdrawn: &evidence.Item{Code: evidence.Sentence, Text: "the sensor hung free"}}})
	if want := "mt c1, withdrawn after 60 s\n    withdrawn, no part of the exposure: the sensor hung free\n"; !strings.Contains(out.String(), want) {
		t.Errorf("lacks %q:\n%s", want, out.String())
	}
}
