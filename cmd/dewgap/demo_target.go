package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"dewgap/cmd/dewgap/internal/notify"
	"dewgap/collector"
)

// demoTarget stands for somebody's phone: it takes the messages that the demo's
// daemon sends and logs them.
type demoTarget struct {
	listen net.Listener
	clock  collector.Clock
	speed  float64
	log    *slog.Logger

	mu    sync.Mutex
	taken []takenMessage
}

// takenMessage is a message with how long after its newest change it came, by the
// machine's clock.
type takenMessage struct {
	notify.Message
	after time.Duration
}

func openDemoTarget(clock collector.Clock, speed float64, log *slog.Logger) (*demoTarget, error) {
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	return &demoTarget{listen: listen, clock: clock, speed: speed, log: log}, nil
}

// config is the target in the demo's site file.
func (d *demoTarget) config() string {
	return fmt.Sprintf(`
[[notify]]
name = "example"
kind = "webhook"
url = "http://%s/"
severity = "minor"
`, d.listen.Addr())
}

// Run answers until ctx ends.
func (d *demoTarget) Run(ctx context.Context) error {
	server := &http.Server{Handler: http.HandlerFunc(d.take), ReadTimeout: 5 * time.Second}
	stop := context.AfterFunc(ctx, func() { server.Close() })
	defer stop()
	if err := server.Serve(d.listen); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

func (d *demoTarget) take(w http.ResponseWriter, r *http.Request) {
	m := takenMessage{}
	if err := json.NewDecoder(io.LimitReader(r.Body, 1<<20)).Decode(&m.Message); err != nil {
		http.Error(w, "this is no message of dewgap", http.StatusBadRequest)
		return
	}
	m.after = time.Duration(float64(d.clock.Now().Sub(m.Time)) / d.speed).Round(time.Millisecond)
	d.mu.Lock()
	d.taken = append(d.taken, m)
	d.mu.Unlock()
	d.log.Info("the example target was told", "title", m.Title, "after", m.after, "link", m.Link)
	w.WriteHeader(http.StatusNoContent)
}

// messages returns what was taken.
func (d *demoTarget) messages() []takenMessage {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.taken
}
