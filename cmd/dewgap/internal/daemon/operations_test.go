package daemon

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/collector"
)

// peopleSite is a site with rows so far apart that an operation cannot have
// waited for the next.
func peopleSite(dir string) string {
	text := fmt.Sprintf(siteText, dir, 11, fmt.Sprintf(compressorText, "c1"))
	return text + `
  [[suction_group.circuit]]
  name = "case-1"
`
}

// What a person does to an open event is on the disk and in the snapshot when
// the call returns, at once, and goes on after a restart.
func TestOperationsOnAnOpenEvent(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		h := newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(10 * time.Minute)
		ev := h.open()[0]
		row := func() time.Time { s, _ := h.board.Current(); return s.Time }
		asked := time.Now()
		until := row().Add(20 * time.Minute)
		got, err := h.Acknowledge(ctx, ev.ID, alert.Acknowledgement{By: "anna", Note: "on my way", Until: &until})
		if err != nil || got.Acknowledged == nil || !got.Acknowledged.At.Equal(row()) {
			t.Fatalf("%+v, %v", got, err)
		}
		if waited := time.Since(asked); waited != 0 {
			t.Errorf("waited %s", waited)
		}
		shown := func() *alert.Acknowledgement {
			s, _ := h.board.Current()
			for _, o := range s.Open {
				if o.ID == ev.ID {
					return o.Acknowledged
				}
			}
			return nil
		}
		onDisk := func() alert.Event {
			events, _, err := alert.ReadEvents(dir)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range events {
				if e.ID == ev.ID {
					return e
				}
			}
			return alert.Event{}
		}
		if a := shown(); a == nil || a.By != "anna" {
			t.Errorf("on the page: %+v", a)
		}
		if a := onDisk().Acknowledged; a == nil || a.By != "anna" {
			t.Errorf("on the disk: %+v", a)
		}
		if !strings.Contains(h.log.String(), `by=anna `) {
			t.Error("not in the log")
		}
		found := alert.Found{Cause: "valve_stuck_open", Circuit: "case-1", By: "an engineer"}
		if got, err := h.Found(ctx, ev.ID, found); err != nil || got.Found == nil || got.Acknowledged == nil {
			t.Errorf("%+v, %v", got, err)
		}
		h.stop()

		h = newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(5 * time.Minute)
		if a := shown(); a == nil || a.Note != "on my way" {
			t.Errorf("after a restart: %+v", a)
		}
		h.pass(20 * time.Minute)
		if a := shown(); a != nil {
			t.Errorf("past its time: %+v", a)
		}
		if e := onDisk(); e.Acknowledged != nil || e.Found == nil || e.Found.Cause != found.Cause {
			t.Errorf("on the disk past its time: %+v, found %+v", e.Acknowledged, e.Found)
		}
		if _, err := h.Unacknowledge(ctx, ev.ID, "x"); err == nil {
			t.Error("what has ended was ended")
		}
		if _, err := h.Acknowledge(ctx, ev.ID, alert.Acknowledgement{By: "x"}); err != nil {
			t.Error(err)
		}
		if _, err := h.Unacknowledge(ctx, ev.ID, "x"); err != nil || shown() != nil || onDisk().Acknowledged != nil {
			t.Errorf("taken back: %v", err)
		}
		if notes := h.journal.Notes(); len(notes) == 0 || notes[len(notes)-1].What.Code != evidence.AcknowledgementTakenBack || notes[len(notes)-1].What.Word("by") != "x" {
			t.Errorf("notes %+v", notes)
		}
		h.stop()
	})
}

// An event that has ended takes what was found, and nothing else.
func TestOperationsOnAnEventThatHasEnded(t *testing.T) {
	dir := t.TempDir()
	journal, err := alert.OpenJournal(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	closed := time.Date(2000, 1, 1, 1, 0, 0, 0, time.UTC)
	old := alert.Event{ID: "mt.c1-floodback-old", Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Opened: closed.Add(-time.Hour), Closed: &closed}
	journal.Add(alert.Change{Kind: alert.Closed, At: closed, Event: old})
	if err := journal.Close(); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		h := newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(10 * time.Second)
		for _, tc := range []struct {
			name string
			do   func() error
			want string
		}{
			{"acknowledge", func() error {
				_, err := h.Acknowledge(ctx, old.ID, alert.Acknowledgement{By: "x"})
				return err
			}, "ended at 2000-01-01T01:00:00Z: only an open event"},
			{"take back", func() error { _, err := h.Unacknowledge(ctx, old.ID, "x"); return err }, "only an open event"},
			{"an id that is near", func() error {
				_, err := h.Found(ctx, "mt.c1-floodback-odl", alert.Found{Cause: "none", By: "x"})
				return err
			}, "near it: " + old.ID},
			{"a circuit that is none", func() error {
				_, err := h.Found(ctx, old.ID, alert.Found{Cause: "iced_coil", Circuit: "case-2", By: "x"})
				return err
			}, "it has case-1"},
		} {
			if err := tc.do(); err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("%s: %v, want %q", tc.name, err, tc.want)
			}
		}
		if _, err := h.Found(ctx, old.ID, alert.Found{Cause: "sensor_misplaced", By: "x"}); err != nil {
			t.Error(err)
		}
		s, _ := h.board.Current()
		if len(s.Recent) == 0 || s.Recent[len(s.Recent)-1].Found == nil {
			t.Errorf("on the page: %+v", s.Recent)
		}
		h.stop()
	})
	events, _, err := alert.ReadEvents(dir)
	if err != nil || events[0].Found == nil || events[0].Found.Cause != "sensor_misplaced" || events[0].Closed == nil {
		t.Errorf("on the disk: %+v, %v", events, err)
	}
}

// A maintenance is on the page and in the metrics until its time, over a restart,
// and what floods meanwhile is counted.
func TestMaintenanceOfARunningSite(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		ctx := t.Context()
		h := newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(10 * time.Second)
		until := time.Now().Add(30 * time.Minute)
		m, err := h.SetMaintenance(ctx, alert.Maintenance{Group: "mt", Compressor: "c1", Until: until, By: "x", Note: "oil"})
		if err != nil || m.ID == "" {
			t.Fatal(m, err)
		}
		metric := func() string { return h.metric("dewgap_maintenance_until_seconds c1") }
		if metric() == "" || !h.journal.Muted("mt", "c1", time.Now()) {
			t.Errorf("metric %q", metric())
		}
		h.stop()
		h = newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(10 * time.Minute)
		if metric() == "" || len(h.open()) != 1 {
			t.Errorf("after a restart: metric %q, %d open floodbacks", metric(), len(h.open()))
		}
		s, _ := h.board.Current()
		if s.Totals[0].FloodbackSeconds < 300 {
			t.Errorf("%v s counted", s.Totals[0].FloodbackSeconds)
		}
		if ev := h.open()[0]; alert.During(s.Maintenance, &ev) == nil {
			t.Error("the event does not show it")
		}
		h.pass(25 * time.Minute)
		if metric() != "" || h.journal.Muted("mt", "c1", time.Now()) {
			t.Errorf("past its time: %q", metric())
		}
		if m, err = h.SetMaintenance(ctx, alert.Maintenance{Group: "mt", Until: time.Now().Add(time.Hour), By: "x", Note: "oil"}); err != nil {
			t.Fatal(err)
		}
		if _, err := h.EndMaintenance(ctx, m.ID, ""); err == nil {
			t.Error("ended by nobody")
		}
		if _, err := h.EndMaintenance(ctx, m.ID, "y"); err != nil || h.metric("dewgap_maintenance_until_seconds mt") != "" {
			t.Errorf("ended by hand: %v", err)
		}
		if _, err := h.SetMaintenance(ctx, alert.Maintenance{Group: "mt", Until: time.Now().Add(31 * 24 * time.Hour), By: "x", Note: "oil"}); err == nil {
			t.Error("31 days")
		}
		h.stop()
	})
}

// A daemon that stops, and a caller that goes away, leave nobody waiting.
func TestOperationsEnd(t *testing.T) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		h := newHarness(t, peopleSite(dir), collector.NewRealClock())
		h.pass(10 * time.Second)
		gone, cancel := context.WithCancel(t.Context())
		cancel()
		h.stop()
		if _, err := h.Acknowledge(t.Context(), "x", alert.Acknowledgement{By: "x"}); !errors.Is(err, errEnding) {
			t.Errorf("after the end: %v", err)
		}
		if _, err := h.Unacknowledge(gone, "x", "x"); err == nil {
			t.Error("taken after the caller was gone")
		}
	})
}
