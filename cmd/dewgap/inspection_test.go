package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/inspection"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
)

// demoDay writes a day of the invented store to dir, with its configuration, and
// returns their paths.
func demoDay(t *testing.T, dir string, hours string) (conf, day string) {
	t.Helper()
	conf, day = filepath.Join(dir, "site.toml"), filepath.Join(dir, "day.csv")
	if code, _, errs := called(t, "simulate", "--scenario", "demo", "--for", hours, "--step", "5s", "--out", day, "--config", conf); code != 0 {
		t.Fatal(errs)
	}
	return conf, day
}

// liveDay runs a recording as the daemon does, into a data directory with journal
// and ledger. Between rows it calls people, which may act on what is open.
func liveDay(t *testing.T, conf, day, data string, people func(p *pipeline.Pipeline, j *alert.Journal, changes []alert.Change)) {
	t.Helper()
	cfg, err := config.Load(conf)
	if err != nil {
		t.Fatal(err)
	}
	in, err := openRecordings(cfg, []string{day}, t.Output())
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	p, err := pipeline.New(in.site)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(data, 0o755); err != nil {
		t.Fatal(err)
	}
	j, err := alert.OpenJournal(data, 0)
	if err != nil {
		t.Fatal(err)
	}
	j.SetRenderer(evidence.Renderer{Atmosphere: cfg.Site.Atmosphere})
	ledger, _, err := alert.OpenLedger(data)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Time{}
	row := &reading.Row{}
	for in.Next(t.Context(), row) == nil {
		at = row.Time
		_, changes := p.Step(row)
		j.Add(changes...)
		if people != nil && len(changes) > 0 {
			people(p, j, changes)
		}
		if err := j.Commit(); err != nil {
			t.Fatal(err)
		}
	}
	j.Refresh(at, p.Tracker.Open(), true)
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := ledger.Save(at, 0, p.Tracker.Totals, false, true); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// inspected returns the report of a compressor as its JSON.
func inspected(t *testing.T, args ...string) *inspection.Report {
	t.Helper()
	code, out, errs := called(t, append([]string{"report", "inspection", "--format", "json"}, args...)...)
	if code != 0 {
		t.Fatalf("%v: %s", args, errs)
	}
	r := &inspection.Report{}
	if err := json.Unmarshal([]byte(out), r); err != nil {
		t.Fatal(err)
	}
	return r
}

// TestInspectionAgreesWithJournalLedgerAndSummary compares the report of a demo
// day with what journal, ledger and the replay's summary hold.
func TestInspectionAgreesWithJournalLedgerAndSummary(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "12h")
	data := filepath.Join(dir, "data")
	acked := ""
	liveDay(t, conf, day, data, func(p *pipeline.Pipeline, j *alert.Journal, changes []alert.Change) {
		for _, c := range changes {
			// An escalation ends an acknowledgement.
			first := acked == "" && c.Kind == alert.Opened && c.Event.Kind == "floodback" && c.Event.Compressor == "c2"
			if first || c.Event.ID == acked && c.Kind == alert.Escalated {
				acked = c.Event.ID
				change, err := p.Tracker.Acknowledge(acked, alert.Acknowledgement{By: "anna", At: c.At, Note: "on the way"})
				if err != nil {
					t.Error(err)
				}
				j.Add(change)
			}
			if c.Kind == alert.Closed && c.Event.ID == acked {
				change, found := p.Tracker.FoundOnSite(acked, alert.Found{Cause: "valve_stuck_open", Circuit: "island-2", By: "field", At: c.At, Note: "needle eroded"})
				if !found {
					change = alert.Change{Kind: alert.FoundOnSite, At: c.At, Event: c.Event}
					change.Event.Found = &alert.Found{Cause: "valve_stuck_open", Circuit: "island-2", By: "field", At: c.At, Note: "needle eroded"}
				}
				j.Add(change)
			}
		}
	})
	events, _, err := alert.ReadEvents(data)
	if err != nil {
		t.Fatal(err)
	}
	_, totals, err := alert.ReadLedger(data)
	if err != nil {
		t.Fatal(err)
	}
	_, summary, _ := called(t, "replay", "--config", conf, day)
	floods := 0
	for _, of := range []struct{ group, name string }{{"lt", "c1"}, {"lt", "c2"}, {"mt", "c1"}, {"mt", "c2"}, {"mt", "c3"}} {
		ledger := totalsOf(totals, of.group, of.name)
		for _, args := range [][]string{{"--data", data, day}, {day}} {
			r := inspected(t, append([]string{"--config", conf, "--compressor", of.group + "/" + of.name}, args...)...)
			place := of.group + "/" + of.name
			var own inspection.Part
			for _, ev := range events {
				if ev.Group == of.group && ev.Compressor == of.name && ev.Kind == "floodback" {
					floods++
					own.Events++
					own.Seconds += ev.SecondsBelow
					own.KelvinSeconds += ev.KelvinSecondsBelow
					if kept := r.Floodback(ev.ID); kept == nil || *kept.MinSuperheatK != *ev.MinSuperheatK || kept.SecondsBelow != ev.SecondsBelow {
						t.Errorf("%s: %s is not in the report as in the journal", place, ev.ID)
					}
					if !strings.Contains(summary, ev.ID) {
						t.Errorf("%s is not in the summary", ev.ID)
					}
				}
			}
			if r.Exposure != own {
				t.Errorf("%s: exposure %+v, the journal's events add up to %+v", place, r.Exposure, own)
			}
			for what, parts := range map[string][]inspection.Part{"severity": r.BySeverity, "phase": r.ByPhase, "month": partsOf(r.Months)} {
				if sum := sumOf(parts); sum != own {
					t.Errorf("%s by %s: %+v, want %+v", place, what, sum, own)
				}
			}
			// An event rounds to whole seconds and K·s, the ledger does not.
			if n := float64(own.Events); math.Abs(ledger.FloodbackSeconds-own.Seconds) > 0.5*n+0.001 || math.Abs(ledger.FloodbackKelvinSeconds-own.KelvinSeconds) > 0.5*n+0.001 {
				t.Errorf("%s: the ledger has %g s and %g K·s, the report %+v", place, ledger.FloodbackSeconds, ledger.FloodbackKelvinSeconds, own)
			}
			if r.Ledger == nil || r.Ledger.RunningSeconds != ledger.RunningSeconds || r.Ledger.Starts != ledger.Starts || r.Ledger.FloodbackSeconds != ledger.FloodbackSeconds {
				t.Errorf("%s: ledger %+v, want %+v", place, r.Ledger, ledger)
			}
			if math.Abs(r.Recorded.RunningSeconds-ledger.RunningSeconds) > 0.002 || r.Recorded.Starts != ledger.Starts {
				t.Errorf("%s: recordings show %g s and %d starts, the ledger %g s and %d", place, r.Recorded.RunningSeconds, r.Recorded.Starts, ledger.RunningSeconds, ledger.Starts)
			}
			if r.Exposure.Seconds > r.Recorded.RunningSeconds {
				t.Errorf("%s: %g s below the floor in %g s of running", place, r.Exposure.Seconds, r.Recorded.RunningSeconds)
			}
		}
	}
	if floods == 0 || acked == "" {
		t.Fatal("the faulty valve of the invented store causes no floodback")
	}
	code, text, errs := called(t, "report", "inspection", "--config", conf, "--compressor", "lt/c2", "--data", data)
	if code != 0 {
		t.Fatal(errs)
	}
	for _, want := range []string{"needle eroded", "on the way", "Vertical play of the crankshaft", "There is no recording", "no verdict"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
}

func partsOf(months []inspection.Month) []inspection.Part {
	var parts []inspection.Part
	for _, m := range months {
		parts = append(parts, m.Part)
	}
	return parts
}

func sumOf(parts []inspection.Part) (sum inspection.Part) {
	for _, p := range parts {
		sum.Events += p.Events
		sum.Seconds += p.Seconds
		sum.KelvinSeconds += p.KelvinSeconds
	}
	return sum
}

func TestInspectionUsage(t *testing.T) {
	dir := t.TempDir()
	conf, day := demoDay(t, dir, "10m")
	for _, tt := range []struct {
		name string
		args []string
		code int
		want string
	}{
		{"another compressor", []string{"--compressor", "lt/c9", day}, 2, "mt/c1"},
		{"no group", []string{"--compressor", "c2", day}, 2, "lt/c2"},
		{"a time that is none", []string{"--compressor", "lt/c2", "--since", "yesterday", day}, 2, "2026-03-01"},
		{"no journal", []string{"--compressor", "lt/c2", "--data", dir}, 1, "no journal"},
		{"the recording as output", []string{"--compressor", "lt/c2", "--out", day, day}, 1, "reads"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			code, _, errs := called(t, append([]string{"report", "inspection", "--config", conf}, tt.args...)...)
			if code != tt.code || !strings.Contains(errs, tt.want) {
				t.Errorf("status %d, want %d: %s", code, tt.code, errs)
			}
		})
	}
}
