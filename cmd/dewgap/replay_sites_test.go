package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Many sites at a time give what each gives alone; one that cannot be replayed is
// named and costs no other.
func TestReplayOfManySites(t *testing.T) {
	dir := t.TempDir()
	sites := filepath.Join(dir, "sites")
	want := map[string]string{}
	for site, scenario := range map[string]string{"store-1": "valve-stuck-open", "store-2": "sensor-open", "store-3": "flooded-start"} {
		place := filepath.Join(sites, site)
		if site == "store-2" {
			place = filepath.Join(place, recordingsDir)
		}
		if err := os.MkdirAll(place, 0o755); err != nil {
			t.Fatal(err)
		}
		conf, recording, events := filepath.Join(sites, site, "site.toml"), filepath.Join(place, "day.csv.gz"), filepath.Join(dir, site)
		if code, _, errs := called(t, "simulate", "--scenario", scenario, "--for", "3h", "--out", recording, "--config", conf); code != 0 {
			t.Fatal(errs)
		}
		if code, _, errs := called(t, "replay", "--config", conf, "--events", events, recording); code != 0 {
			t.Fatal(errs)
		}
		text, err := os.ReadFile(events)
		if err != nil {
			t.Fatal(err)
		}
		want[site] = string(text)
	}
	if want["store-1"] == "" || want["store-1"] == want["store-3"] {
		t.Fatal("the scenarios show nothing")
	}
	same := func(out string, sites ...string) {
		t.Helper()
		for _, site := range sites {
			text, err := os.ReadFile(filepath.Join(out, site+".jsonl"))
			if err != nil || string(text) != want[site] {
				t.Errorf("%s: %v; %d bytes, want %d", site, err, len(text), len(want[site]))
			}
		}
	}
	for _, jobs := range []string{"1", "3"} {
		out := filepath.Join(dir, "out-"+jobs)
		code, stdout, errs := called(t, "replay", "--sites", sites, "--out", out, "--jobs", jobs)
		if code != 0 || stdout != "" || strings.Count(errs, " rows, ") != 3 {
			t.Fatalf("status %d: %s", code, errs)
		}
		same(out, "store-1", "store-2", "store-3")
	}
	if code, _, errs := called(t, "replay", "--sites", sites, "--out", filepath.Join(dir, "out-1")); code != 1 || strings.Count(errs, "exists") != 3 {
		t.Errorf("status %d over existing files: %s", code, errs)
	}
	if err := os.WriteFile(filepath.Join(sites, "store-2", "site.toml"), []byte("[site]\nname = 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "one-fails")
	code, _, errs := called(t, "replay", "--sites", sites, "--out", out)
	if code != 1 || !strings.Contains(errs, "store-2: ") || !strings.Contains(errs, "1 of 3 sites could not be replayed") {
		t.Errorf("status %d: %s", code, errs)
	}
	same(out, "store-1", "store-3")
	if left, err := filepath.Glob(filepath.Join(out, "*")); err != nil || len(left) != 2 {
		t.Errorf("%v in %s, %v", left, out, err)
	}
	for _, c := range []struct {
		args []string
		want string
		code int
	}{
		{[]string{"--sites", sites}, "give --out DIR", 2},
		{[]string{"--sites", sites, "--out", out, "--states", "x"}, "and nothing else", 2},
		{[]string{"--sites", sites, "--out", out, "--jobs=-1"}, "no number of sites", 2},
		{[]string{"--sites", dir, "--out", out}, "there is no SITE/site.toml in", 1},
		{[]string{"--out", out}, "--out and --jobs are for --sites", 2},
		{[]string{}, "give --config and recordings", 2},
	} {
		if code, _, errs := called(t, append([]string{"replay"}, c.args...)...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: status %d, want %d with %q: %s", c.args, code, c.code, c.want, errs)
		}
	}
}
