package explain

import (
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

func event() alert.Event {
	at := func(text string) time.Time {
		t, err := time.Parse(time.RFC3339, text)
		if err != nil {
			panic(err)
		}
		return t
	}
	closed := at("2026-03-01T06:44:10Z")
	low, margin, floor := 0.6, -7.4, 8.0
	return alert.Event{
		ID: "mt.c1-floodback-20260301T064120Z", Kind: "floodback", Severity: "minor", Site: "harbour", Group: "mt", Compressor: "c1",
		Began: at("2026-03-01T06:40:50Z"), Opened: at("2026-03-01T06:41:20Z"), Closed: &closed, Phase: "pulldown",
		FloorK: &floor, MinSuperheatK: &low, MinMarginK: &margin, SecondsBelow: 170, KelvinSecondsBelow: 910,
		Circuits: []alert.Score{{Name: "case-1", Score: 0.83, Why: []evidence.Item{evidence.New(evidence.ClosedClockAhead)}}},
		Causes:   []alert.Cause{{Cause: "iced_coil", Score: 0.61, Why: evidence.Sentences([]string{"its last defrost was cold"})}, {Cause: "low_airflow", Score: 0.2}},
		Evidence: []evidence.Item{evidence.New(evidence.SuperheatBelowFloor, evidence.Difference("min_superheat", 0.6), evidence.Difference("below", 7.4), evidence.Difference("floor", 8), evidence.Name("phase", "pulldown"))},
	}
}

// 1 K of difference is 1.8 °F of difference; a temperature has 32 °F besides
// (NIST SP 811, appendix B.8): 0.6 K is 1.08 °F, −2 °C is 28.4 °F.
func TestStoryInBothSystems(t *testing.T) {
	for _, c := range []struct {
		system units.System
		want   []string
		never  []string
	}{
		{units.SI, []string{"Lowest superheat: 0.6 K\n", "Lowest margin over the floor: -7.4 K\n", "Floor at opening: 8.0 K\n", "Below the floor: 2 min 50 s, 15.2 K·min\n"}, nil},
		{units.US, []string{"Lowest superheat: 1.1 °F\n", "Lowest margin over the floor: -13.3 °F\n", "Floor at opening: 14.4 °F\n", "27.3 °F·min"}, []string{" K"}},
	} {
		var b strings.Builder
		if err := Of(event(), evidence.Renderer{System: c.system}).Write(&b); err != nil {
			t.Fatal(err)
		}
		for _, w := range append(c.want, "Floodback, minor, at compressor c1", "closed at 2026-03-01T06:44:10Z, 3 min 20 s after", "case-1, 83 %", "Likely cause: iced coil (61 %) or too little air over the coil (20 %)\n", "iced coil (iced_coil), 61 %", cause.Cautions) {
			if !strings.Contains(b.String(), w) {
				t.Errorf("%s: lacks %q in\n%s", c.system, w, b.String())
			}
		}
		for _, n := range c.never {
			if strings.Contains(b.String(), n) {
				t.Errorf("%s: still shows %q", c.system, n)
			}
		}
	}
}

func TestChecksComeOnceAndReadingFirst(t *testing.T) {
	s := Of(event(), evidence.Renderer{})
	if n := cause.BeforeAnyCause; len(s.Checks) < 5 || s.Checks[0].For != "" || s.Checks[n].For != "iced_coil" || s.Checks[n+1].For != "low_airflow" {
		t.Fatalf("order of checks: %+v", s.Checks)
	}
	seen := map[string]bool{}
	for _, k := range s.Checks {
		if seen[k.Do] {
			t.Errorf("twice: %s", k.Do)
		}
		seen[k.Do] = true
	}
}

// What is not known is left out, and nothing is made up.
func TestBareEvent(t *testing.T) {
	var b strings.Builder
	ev := alert.Event{ID: "x", Kind: "no_data", Severity: "warning", Group: "mt", Input: "mt.suction_pressure"}
	if err := Of(ev, evidence.Renderer{}).Write(&b); err != nil {
		t.Fatal(err)
	}
	if text := b.String(); strings.Contains(text, "Lowest superheat") || strings.Contains(text, "Likely") || !strings.Contains(text, "still open") {
		t.Errorf("got\n%s", text)
	}
}

// A withdrawn event comes with its reason and asks nobody to look for a cause.
func TestWithdrawn(t *testing.T) {
	ev := event()
	ev.Withdrawn = &evidence.Item{Code: evidence.Sentence, Text: "the sensor hung free"}
	var b strings.Builder
	if err := Of(ev, evidence.Renderer{}).Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Withdrawn: Floodback, minor", "proved it false: the sensor hung free. It is no part of the exposure.", "It was withdrawn at 2026-03-01T06:44:10Z, 3 min 20 s after it began."} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "Check next") || strings.Contains(b.String(), "closed at") {
		t.Errorf("explained like an event that stands:\n%s", b.String())
	}
}

// What was said and what was found stand side by side.
func TestSaidAndFound(t *testing.T) {
	at := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	ev := event()
	ev.Acknowledged = &alert.Acknowledgement{By: "anna", At: at, Note: "on my way"}
	for _, tc := range []struct {
		found alert.Found
		want  string
	}{
		{alert.Found{Cause: "low_airflow", Circuit: "case-1", By: "an engineer", At: at, Note: "fan 2 stood still"},
			"Said and found\n  said:  iced coil (iced_coil), 61 %; circuit case-1, 83 %\n  found: too little air over the coil (low_airflow); circuit case-1; by an engineer at 2026-03-01T08:00:00Z: fan 2 stood still\n"},
		{alert.Found{Cause: "none", By: "x", At: at}, "  found: nothing was the matter (none); by x at 2026-03-01T08:00:00Z\n"},
	} {
		ev.Found = &tc.found
		var b strings.Builder
		if err := Of(ev, evidence.Renderer{}).Write(&b); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{tc.want, "Acknowledged by anna at 2026-03-01T08:00:00Z: on my way.\n"} {
			if !strings.Contains(b.String(), want) {
				t.Errorf("lacks %q in\n%s", want, b.String())
			}
		}
	}
}
