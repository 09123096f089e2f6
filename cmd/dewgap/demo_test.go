package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// The demo records what it analyses; replaying the recording must give the
// same events, byte for byte, and among them the floodback that the faulty
// valve of the invented store causes.
func TestLiveEqualsReplay(t *testing.T) {
	data, conf := t.TempDir(), t.TempDir()
	var told []takenMessage
	demo := demoCmd{Listen: "127.0.0.1:0", Speed: 200, For: 9 * time.Second, WriteConfig: conf, Data: data, Seed: 1,
		Notify: true, told: func(m []takenMessage) { told = m }}
	var summary bytes.Buffer
	if err := demo.Run(context.Background(), console{Out: &summary, Err: io.Discard}); err != nil {
		t.Fatal(err)
	}
	journal, err := alert.OpenJournal(data, 0)
	if err != nil {
		t.Fatal(err)
	}
	var live bytes.Buffer
	if err := alert.WriteEvents(&live, journal.Events(time.Time{}, false), evidence.Renderer{Atmosphere: units.StandardAtmosphere}); err != nil {
		t.Fatal(err)
	}
	if err := journal.Close(); err != nil {
		t.Fatal(err)
	}
	recordings, err := filepath.Glob(filepath.Join(data, "recordings", "*.csv.gz"))
	if err != nil || len(recordings) == 0 {
		t.Fatalf("recordings %v, %v", recordings, err)
	}
	events := filepath.Join(t.TempDir(), "events.jsonl")
	replay := replayCmd{Config: filepath.Join(conf, "site.toml"), Events: events, Recordings: recordings}
	if err := replay.Run(context.Background(), console{Out: io.Discard, Err: io.Discard}); err != nil {
		t.Fatal(err)
	}
	replayed, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	if live.String() != string(replayed) {
		t.Errorf("live:\n%s\nreplayed:\n%s", live.String(), replayed)
	}
	soonTold(t, told)
	for line := range strings.Lines(live.String()) {
		if strings.Contains(line, `"kind":"floodback"`) && !strings.Contains(line, `"group":"lt","compressor":"c2"`) {
			t.Errorf("floodback where the plant has none: %s", line)
		}
	}
	if !strings.Contains(live.String(), `"kind":"floodback"`) {
		t.Errorf("the faulty valve caused no floodback event; summary:\n%s", summary.String())
	}
}

// soonTold: the example target hears of the floodback two seconds after it has
// opened, by the machine's clock; a busy machine may take longer for a row.
func soonTold(t *testing.T, told []takenMessage) {
	t.Helper()
	for _, m := range told {
		if len(m.Changes) == 0 || m.Changes[0].Event.Kind != "floodback" || m.Changes[0].What != "opened" {
			continue
		}
		t.Logf("%s: %v after it opened", m.Title, m.after)
		if m.after > 2*time.Second+time.Second {
			t.Errorf("%s: told %v after it opened", m.Title, m.after)
		}
		if !strings.Contains(m.Link, "/events/lt.c2-floodback-") {
			t.Error("the message leads to", m.Link)
		}
		return
	}
	t.Errorf("nobody was told of the floodback: %d messages", len(told))
}
