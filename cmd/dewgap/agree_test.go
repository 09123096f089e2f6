package main

import (
	"encoding/json"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/web"
)

// fixedEvents is the events that a page shows.
type fixedEvents []alert.Event

func (f fixedEvents) Events(time.Time, bool) []alert.Event { return f }

// TestFiguresOfADemoDayAgree plays a day of the invented store and compares, for
// each event and both systems of units, what its JSON, the page's state, the
// explanation, the summary and the commissioning record show.
func TestFiguresOfADemoDayAgree(t *testing.T) {
	day := "24h"
	if testing.Short() {
		day = "7h" // one floodback from opening to closing
	}
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	run := func(args ...string) string {
		code, out, errs := called(t, args...)
		if code != 0 {
			t.Fatalf("%v: %s", args, errs)
		}
		return out
	}
	run("simulate", "--scenario", "demo", "--for", day, "--step", "5s", "--out", file("day.csv"), "--config", file("si.toml"))
	site, err := os.ReadFile(file("si.toml"))
	if err != nil {
		t.Fatal(err)
	}
	us := strings.Replace(string(site), "[site]\n", "[site]\nunits = \"us\"\n", 1)
	if err := os.WriteFile(file("us.toml"), []byte(us), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, system := range []units.System{units.SI, units.US} {
		conf := file(system.String() + ".toml")
		run("replay", "--config", conf, "--events", file("events.jsonl"), "--force", file("day.csv"))
		summary := run("replay", "--config", conf, file("day.csv"))
		record := run("report", "commissioning", "--config", conf, "--format", "text", file("day.csv"))
		events, err := readEventLines(file("events.jsonl"))
		if err != nil {
			t.Fatal(err)
		}
		floods, recorded := 0, 0
		for _, ev := range events {
			if ev.Kind == floodback.Floodback.String() {
				floods++
				headlineAddsUp(t, &ev)
				if strings.Contains(record, "floodback "+ev.Severity+" from "+ev.Began.UTC().Format("15:04:05")) {
					recorded++
					if !containsOne(record, ev.Evidence) {
						t.Errorf("%s: the record shows none of its evidence", ev.ID)
					}
				}
			}
			sameNames(t, &ev)
			sameText(t, &ev, system, summary, run("explain", "--config", conf, "--events", file("events.jsonl"), ev.ID))
		}
		if floods == 0 {
			t.Error("the faulty valve of the invented store causes no floodback")
		}
		if recorded == 0 {
			t.Error("no floodback of the day is in the commissioning record")
		}
	}
}

// containsOne reports whether text holds the words of one of the items.
func containsOne(text string, items []evidence.Item) bool {
	for _, i := range items {
		if strings.Contains(text, i.Text) {
			return true
		}
	}
	return false
}

// headlineAddsUp holds the headline of a floodback against its event: the same
// numbers, and floor less superheat is what it shows as below.
func headlineAddsUp(t *testing.T, ev *alert.Event) {
	t.Helper()
	h := ev.Evidence[0]
	floor := h.Number("floor_k")
	if h.Code == evidence.SuperheatBelowChangedFloor {
		floor = h.Number("floor_at_minimum_k")
	}
	if h.Number("min_superheat_k") != *ev.MinSuperheatK || h.Number("floor_k") != *ev.FloorK || math.Abs(floor-*ev.MinSuperheatK-h.Number("below_k")) > 0.1001 {
		t.Errorf("%s: headline %v, event %g K, %g K over the floor of %g K", ev.ID, h.Values, *ev.MinSuperheatK, *ev.MinMarginK, *ev.FloorK)
	}
	margin := -h.Number("below_k")
	if m := ev.Evidence[1]; m.Code == evidence.LowestMargin {
		margin = m.Number("min_margin_k")
		if math.Abs(m.Number("superheat_at_min_margin_k")-m.Number("floor_at_min_margin_k")-margin) > 0.1001 {
			t.Errorf("%s: lowest margin %v", ev.ID, m.Values)
		}
	}
	if margin != *ev.MinMarginK {
		t.Errorf("%s: margin %g K in the headline, %g K in the event", ev.ID, margin, *ev.MinMarginK)
	}
}

// sameNames: a value that bears the name of a figure of the event is that figure.
func sameNames(t *testing.T, ev *alert.Event) {
	t.Helper()
	own := map[string]*float64{
		"floor_k": ev.FloorK, "min_superheat_k": ev.MinSuperheatK, "min_margin_k": ev.MinMarginK,
		"below_seconds": &ev.SecondsBelow, "seconds_below": &ev.SecondsBelow,
	}
	items := ev.Evidence
	for _, c := range ev.Circuits {
		items = append(items, c.Why...)
	}
	for _, c := range ev.Causes {
		items = append(items, c.Why...)
	}
	for _, i := range items {
		for _, v := range i.Values {
			if figure, ok := own[v.Name]; ok && (figure == nil || *figure != v.Number) {
				t.Errorf("%s: %s of %s is %g, the event has another", ev.ID, v.Name, i.Code, v.Number)
			}
		}
	}
}

// sameText: page, explanation and summary show each figure and each sentence of
// the event alike.
func sameText(t *testing.T, ev *alert.Event, system units.System, summary, explanation string) {
	t.Helper()
	board := snapshot.NewBoard(time.Now)
	board.Publish(&snapshot.Snapshot{Time: ev.Opened, Units: system.String(), Atmosphere: units.StandardAtmosphere, Recent: []alert.Event{*ev}})
	server := web.New(web.Parts{Board: board, Events: fixedEvents{*ev}, Metrics: http.NotFoundHandler(), Log: slog.New(slog.DiscardHandler)})
	answer := httptest.NewRecorder()
	server.Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/api/v1/state", nil))
	var page struct {
		Recent []struct {
			alert.Event
			Facts []alert.Fact `json:"facts"`
		} `json:"recent_events"`
	}
	if err := json.Unmarshal(answer.Body.Bytes(), &page); err != nil || len(page.Recent) != 1 {
		t.Fatalf("%v: %s", err, answer.Body)
	}
	card := page.Recent[0]
	for _, f := range card.Facts {
		if !strings.Contains(explanation, f.Name+": "+f.Text+"\n") {
			t.Errorf("%s in %s: the explanation lacks %s %s:\n%s", ev.ID, system, f.Name, f.Text, explanation)
		}
		if !strings.Contains(strings.ToLower(summary), strings.ToLower(f.Name+" "+f.Text)) {
			t.Errorf("%s in %s: the summary lacks %s %s", ev.ID, system, f.Name, f.Text)
		}
	}
	if ev.Kind == floodback.Floodback.String() && (len(card.Facts) < 4 || card.Facts[0].Text != system.Difference(units.Kelvin(*ev.MinSuperheatK)) || card.Facts[1].Text != system.Difference(units.Kelvin(*ev.MinMarginK))) {
		t.Errorf("%s in %s: the page shows %v", ev.ID, system, card.Facts)
	}
	for n, i := range ev.Evidence {
		if card.Evidence[n].Text != i.Text || !strings.Contains(explanation, i.Text) || !strings.Contains(summary, i.Text) {
			t.Errorf("%s in %s: %q is not everywhere", ev.ID, system, i.Text)
		}
	}
	for _, c := range ev.Causes[:min(3, len(ev.Causes))] {
		for _, i := range c.Why {
			if !strings.Contains(explanation, i.Text) || !strings.Contains(summary, i.Text) {
				t.Errorf("%s in %s: %q is not everywhere", ev.ID, system, i.Text)
			}
		}
	}
}
