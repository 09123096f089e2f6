package notify

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"dewgap/alert"
	"dewgap/config"
)

// TestTargetsAreApart: a target that hangs and one that cannot be prepared delay
// neither the journal nor another target; all end when they are told to.
func TestTargetsAreApart(t *testing.T) {
	defer goleak.VerifyNone(t)
	arrived := make(chan Message, 10)
	well := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m Message
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			t.Error(err)
		}
		arrived <- m
	}))
	defer well.Close()
	hangs := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		<-r.Context().Done()
	}))
	defer hangs.Close()
	journal, err := alert.OpenJournal(t.TempDir(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := journal.Close(); err != nil {
			t.Error(err)
		}
	}()
	quiet := config.Quiet{Zone: time.UTC}
	n := New(Setting{Site: "demo", Dir: t.TempDir(), Now: time.Now, Condition: func() string { return "" }, Log: slog.New(slog.DiscardHandler), Targets: []config.Notify{
		{Name: "hangs", Kind: config.Webhook, URL: hangs.URL, Least: 1, Quiet: quiet},
		{Name: "broken", Kind: config.Webhook, URL: well.URL, CAFile: "missing.pem", Quiet: quiet},
		{Name: "alerts", Kind: config.Alertmanager, URL: hangs.URL, CAFile: "missing.pem", Quiet: quiet},
		{Name: "well", Kind: config.Webhook, URL: well.URL, Least: 1, Quiet: quiet},
	}})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- n.Run(ctx, journal) }()
	at := time.Now().UTC()
	journal.Add(alert.Change{Kind: alert.Opened, At: at, Event: alert.Event{ID: "mt.c1-hunting-x", Kind: "hunting", Severity: "warning", Site: "demo", Group: "mt", Compressor: "c1", Opened: at, Began: at}})
	if err := journal.Commit(); err != nil {
		t.Fatal(err)
	}
	n.Wake()
	if m := <-arrived; m.Type != "event.opened" || m.Changes[0].Event.ID != "mt.c1-hunting-x" {
		t.Errorf("%+v", m)
	}
	if taken, ok := n.Taken(); !ok || taken > journal.Last() {
		t.Error("taken", taken, ok)
	}
	for _, s := range n.Status() {
		if broken := s.Name == "broken" || s.Name == "alerts"; broken != strings.Contains(s.Fault, "missing.pem") {
			t.Errorf("%+v", s)
		}
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if n := New(Setting{}); n.Run(t.Context(), journal) != nil {
		t.Error("no target is a fault")
	} else if _, ok := n.Taken(); ok {
		t.Error("no target needs the journal")
	}
}
