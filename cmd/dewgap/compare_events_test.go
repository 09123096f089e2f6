package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
)

var compareNoon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// eventAt is an event of minutes after noon; no end: it is open.
func eventAt(kind, compressor, severity string, from, to int) alert.Event {
	began := compareNoon.Add(time.Duration(from) * time.Minute)
	ev := alert.Event{ID: kind + began.Format("-1504"), Kind: kind, Severity: severity, Group: "mt", Compressor: compressor, Began: began, Opened: began}
	if to > 0 {
		closed := compareNoon.Add(time.Duration(to) * time.Minute)
		ev.Closed = &closed
	}
	return ev
}

func TestCompareEvents(t *testing.T) {
	flood := func(compressor, severity string, from, to int) alert.Event {
		return eventAt("floodback", compressor, severity, from, to)
	}
	cause := flood("c1", "minor", 0, 10)
	cause.Causes = []alert.Cause{{Cause: "iced_coil"}}
	for _, c := range []struct {
		name          string
		before, after []alert.Event
		want          string // what: fields, for each difference
		tally         comparedTally
	}{
		{"nothing", nil, nil, "", comparedTally{}},
		{"the same", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c1", "minor", 0, 10)}, "", comparedTally{Old: 1, New: 1}},
		{"vanished", []alert.Event{flood("c1", "minor", 0, 10)}, nil, "vanished", comparedTally{Old: 1, Vanished: 1}},
		{"appeared", nil, []alert.Event{flood("c1", "minor", 0, 10)}, "appeared", comparedTally{New: 1, Appeared: 1}},
		{"worse", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c1", "major", 0, 10)}, "changed severity", comparedTally{Old: 1, New: 1, Changed: 1}},
		{"later and longer", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c1", "minor", 9, 20)}, "changed opened closed", comparedTally{Old: 1, New: 1, Changed: 1}},
		{"touching", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c1", "minor", 10, 20)}, "changed opened closed", comparedTally{Old: 1, New: 1, Changed: 1}},
		{"at another time", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c1", "minor", 11, 20)}, "vanished/appeared", comparedTally{Old: 1, New: 1, Vanished: 1, Appeared: 1}},
		{"at another machine", []alert.Event{flood("c1", "minor", 0, 10)}, []alert.Event{flood("c2", "minor", 0, 10)}, "vanished/appeared", comparedTally{Old: 1, New: 1, Vanished: 1, Appeared: 1}},
		{"still open", []alert.Event{flood("c1", "minor", 0, 0)}, []alert.Event{flood("c1", "minor", 100, 120)}, "changed opened closed", comparedTally{Old: 1, New: 1, Changed: 1}},
		{"another cause", []alert.Event{cause}, []alert.Event{flood("c1", "minor", 0, 10)}, "changed cause", comparedTally{Old: 1, New: 1, Changed: 1}},
		{"two become one", []alert.Event{flood("c1", "minor", 0, 10), flood("c1", "minor", 12, 40)}, []alert.Event{flood("c1", "minor", 0, 40)}, "changed closed/vanished", comparedTally{Old: 2, New: 1, Changed: 1, Vanished: 1}},
		{"the longest overlap", []alert.Event{flood("c1", "minor", 5, 40)}, []alert.Event{flood("c1", "minor", 0, 6), flood("c1", "minor", 8, 40)}, "appeared/changed opened", comparedTally{Old: 1, New: 2, Changed: 1, Appeared: 1}},
	} {
		tallies, differences := compareEvents("demo", c.before, c.after)
		var got []string
		for _, d := range differences {
			words := []string{d.What}
			for _, f := range d.Fields {
				words = append(words, f.Field)
			}
			got = append(got, strings.Join(words, " "))
		}
		if text := strings.Join(got, "/"); text != c.want {
			t.Errorf("%s: %q, want %q", c.name, text, c.want)
		}
		tally := comparedTally{}
		if len(tallies) > 0 {
			tally = tallies[0]
			tally.Site, tally.Kind = "", ""
		}
		if tally != c.tally || len(tallies) > 1 {
			t.Errorf("%s: %+v, want %+v", c.name, tallies, c.tally)
		}
	}
}

// A day of the demo with another floor: what the settings change is told by site
// and kind, and the sums are those of the files.
func TestCompareSettings(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "8h")
	text, err := os.ReadFile(conf)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "other.toml")
	changed := strings.ReplaceAll(string(text), "[[suction_group]]\n", "[[suction_group]]\nfloor = { steady = \"2 K\", pulldown = \"1 K\" }\n")
	if err := os.WriteFile(other, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, file := range map[string]string{"old": conf, "new": other} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
		for _, site := range []string{"store-1", "store-2"} {
			if name == "new" && site == "store-1" {
				file = conf // nothing changes there
			} else if name == "new" {
				file = other
			}
			if code, _, errs := called(t, "replay", "--config", file, "--events", filepath.Join(dir, name, site+".jsonl"), day); code != 0 {
				t.Fatal(errs)
			}
		}
	}
	code, out, errs := called(t, "compare", "--old", filepath.Join(dir, "old"), "--new", filepath.Join(dir, "new"), "--json")
	if code != 0 || errs != "" {
		t.Fatalf("status %d: %s", code, errs)
	}
	differs := 0
	for line := range strings.Lines(out) {
		var both struct {
			comparedTally
			What string `json:"what"`
		}
		if err := json.Unmarshal([]byte(line), &both); err != nil {
			t.Fatal(err)
		}
		if both.What == "" && both.Site == "store-1" && (both.Old == 0 || both.Old != both.New || both.Appeared+both.Vanished+both.Changed > 0) {
			t.Errorf("the same settings: %s", line)
		}
		if both.What != "" && both.Site != "store-2" {
			t.Errorf("a difference of the same settings: %s", line)
		}
		if both.What == "vanished" || both.What == "changed" {
			differs++
		}
	}
	if differs == 0 {
		t.Errorf("a floor of 2 K changes nothing:\n%s", out)
	}
	code, out, _ = called(t, "compare", "--old", filepath.Join(dir, "old"), "--new", filepath.Join(dir, "new"))
	if code != 0 || !strings.Contains(out, "all 2 sites  floodback") || !strings.Contains(out, "store-2: ") || strings.Contains(out, "store-1: ") {
		t.Errorf("status %d:\n%s", code, out)
	}
	if err := os.Remove(filepath.Join(dir, "new", "store-1.jsonl")); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := called(t, "compare", "--old", filepath.Join(dir, "old"), "--new", filepath.Join(dir, "new")); code != 1 || !strings.Contains(errs, "store-1.jsonl is missing in") {
		t.Errorf("status %d: %s", code, errs)
	}
	if code, _, errs := called(t, "compare", "--old", dir, "--new", dir); code != 1 || !strings.Contains(errs, "there is no SITE.jsonl") {
		t.Errorf("status %d: %s", code, errs)
	}
}
