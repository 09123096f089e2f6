package main

import (
	"bytes"
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"dewgap/collector"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
	"dewgap/simulators/store"
)

// served runs a simulated freezer room behind loopback sockets until the test
// ends, and returns the configuration that reads it and the clock it lives on.
func served(t *testing.T, speed float64) (site string, clock collector.Clock) {
	t.Helper()
	room, err := scenarios.Load("freezer-room")
	if err != nil {
		t.Fatal(err)
	}
	p, err := plant.New(room, 1)
	if err != nil {
		t.Fatal(err)
	}
	start := p.Now()
	plantStore, err := store.Open(p, store.Setting{Bus: "127.0.0.1:0", Broker: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	site = written(t, string(plantStore.Config(store.Location{Listen: "127.0.0.1:0", Data: t.TempDir()})))
	clock = collector.NewScaledClock(start, speed)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- plantStore.Run(ctx, clock) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return site, clock
}

func TestRecord(t *testing.T) {
	site, clock := served(t, 100)
	out := filepath.Join(t.TempDir(), "defrost.csv.gz")
	var errs bytes.Buffer
	cmd := recordCmd{Config: site, Out: out, For: 2 * time.Minute, clock: clock}
	if err := cmd.Run(t.Context(), console{Err: &errs}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"lt c1: ", "superheat ", "lowest so far ", "defrost.csv.gz: ", "next: dewgap report commissioning"} {
		if !strings.Contains(errs.String(), want) {
			t.Errorf("not said: %q in\n%s", want, errs.String())
		}
	}
	if strings.Contains(errs.String(), "\x1b") || strings.Contains(errs.String(), "warning") {
		t.Error(errs.String())
	}
	code, summary, said := called(t, "replay", "--config", site, out)
	if code != 0 || !strings.Contains(summary, "running with superheat known") || said != "" {
		t.Errorf("replay: %d %s %s", code, summary, said)
	}
	if err := cmd.Run(t.Context(), console{Err: &errs}); err == nil || !strings.Contains(err.Error(), "exists: choose another name") {
		t.Errorf("the file is there: %v", err)
	}
	cmd.For = 0
	var usage usageError
	if err := cmd.Run(t.Context(), console{Err: &errs}); !errors.As(err, &usage) {
		t.Errorf("--for 0: %v", err)
	}
}

// Ctrl-C in a terminal: the table has been drawn and redrawn, and the
// recording is whole.
func TestRecordEndsWholeInATerminal(t *testing.T) {
	site, clock := served(t, 60)
	screen, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer screen.Close()
	ctx, interrupt := context.WithCancel(t.Context())
	defer interrupt()
	out := filepath.Join(t.TempDir(), "cut.csv.gz")
	ended := make(chan error, 1)
	go func() {
		cmd := recordCmd{Config: site, Out: out, For: 24 * time.Hour, clock: clock}
		err := cmd.Run(ctx, console{Err: tty})
		tty.Close()
		ended <- err
	}()
	var seen bytes.Buffer
	chunk := make([]byte, 4096)
	for {
		n, err := screen.Read(chunk)
		seen.Write(chunk[:n])
		if strings.Contains(seen.String(), "\x1b[J") { // a second table in the place of the first
			interrupt()
		}
		if err != nil {
			break // the other side is closed
		}
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	for _, want := range []string{"recording to ", "Ctrl-C ends it", "lowest so far", "cut.csv.gz: "} {
		if !strings.Contains(seen.String(), want) {
			t.Errorf("not shown: %q in\n%s", want, seen.String())
		}
	}
	if code, _, said := called(t, "replay", "--config", site, out); code != 0 || said != "" {
		t.Errorf("replay: %d %s", code, said)
	}
}
