// Package web is what people and programs reach over HTTP: the live page,
// metrics, health, and the API of the contract's section 7.
//
// It reads the newest snapshot and the journal's memory, never a device. What
// people do to events (people.go) changes the journal and nothing else; the
// controls of a replay (replay.go) exist only where a recording is played. Every
// other path answers GET and HEAD alone.
package web

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/access"
	"dewgap/cmd/dewgap/internal/snapshot"
)

// Events is where the API's events come from: the journal.
type Events interface {
	// Events returns events in order of opening.
	Events(since time.Time, onlyOpen bool) []alert.Event
}

// Parts are what a server shows.
type Parts struct {
	Board   *snapshot.Board
	Events  Events
	Metrics http.Handler
	Version string
	Log     *slog.Logger
	Replay  Replay         // nil unless a recording is played
	Access  *access.Policy // nil: nobody is asked who they are
	History History        // nil where nothing is kept
	// Operations are what people do to events; nil where nothing can be changed.
	Operations Operations
	// Loopback states that the server listens on the loopback address alone. Where
	// nobody is authenticated, only then is anything changed.
	Loopback bool
}

// closingTime is how long answers in progress have once the server closes.
const closingTime = 3 * time.Second

// Server answers HTTP.
type Server struct {
	parts Parts
	http  *http.Server
}

// New returns a server of parts.
func New(parts Parts) *Server {
	if parts.Access == nil {
		parts.Access = &access.Policy{}
	}
	s := &Server{parts: parts}
	s.http = &http.Server{
		Handler:           parts.Access.Guard(access.Default.Handler(s.routes())),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(parts.Log.Handler(), slog.LevelDebug),
	}
	return s
}

// Run answers on l until ctx ends, then lets answers in progress finish for
// closingTime and closes.
func (s *Server) Run(ctx context.Context, l net.Listener) error {
	l = access.Default.Listener(l)
	if c := s.parts.Access.TLS(); c != nil {
		l = tls.NewListener(l, c)
	}
	stopped := make(chan error, 1)
	go func() { stopped <- s.http.Serve(l) }()
	select {
	case err := <-stopped:
		return fmt.Errorf("serve http on %s: %w", l.Addr(), err)
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), closingTime)
	defer cancel()
	err := s.http.Shutdown(grace)
	if err != nil {
		err = s.http.Close()
	}
	if serveErr := <-stopped; err == nil && !errors.Is(serveErr, http.ErrServerClosed) {
		err = serveErr
	}
	return err
}

// Handler returns what Run serves.
func (s *Server) Handler() http.Handler { return s.http.Handler }

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", thePage.serve)
	mux.HandleFunc("GET /history", theHistoryPage.serve)
	mux.Handle("GET /metrics", s.parts.Metrics)
	mux.HandleFunc("GET /events/{id}", compressed(s.event))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "ok") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.HandleFunc("GET /api/v1/state", compressed(s.state))
	mux.HandleFunc("GET /api/v1/events", compressed(s.events))
	mux.HandleFunc("GET /api/v1/events/{id}/explain", compressed(s.explain))
	mux.HandleFunc("GET /api/v1/history", compressed(s.history))
	s.peopleRoutes(mux)
	if s.parts.Replay != nil {
		mux.Handle("POST /api/v1/replay", s.controls())
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Referrer-Policy", "no-referrer")
		w.Header().Set("Cache-Control", "no-store")
		mux.ServeHTTP(w, r)
	})
}

func (s *Server) ready(w http.ResponseWriter, _ *http.Request) {
	shown, age := s.parts.Board.Current()
	if shown == nil {
		http.Error(w, "not ready: nothing has been analysed yet", http.StatusServiceUnavailable)
		return
	}
	ok, waiting := shown.Ready()
	switch {
	case !ok && len(waiting) > 0:
		http.Error(w, "not ready: nothing yet from "+strings.Join(waiting, ", "), http.StatusServiceUnavailable)
	case !ok:
		http.Error(w, "not ready: nothing has been analysed yet", http.StatusServiceUnavailable)
	case age > snapshot.MaxAge:
		http.Error(w, fmt.Sprintf("not ready: nothing analysed for %d s", int(age.Seconds())), http.StatusServiceUnavailable)
	default:
		fmt.Fprintln(w, "ready")
	}
}

func (s *Server) state(w http.ResponseWriter, r *http.Request) {
	shown, age := s.parts.Board.Current()
	if shown == nil {
		http.Error(w, "nothing has been analysed yet", http.StatusServiceUnavailable)
		return
	}
	if render, ok := s.renderer(w, r); ok {
		state := stateOf(shown, age, s.parts.Version, render)
		state.MayChange = s.allowed(r) == nil
		state.User = by(r, "")
		s.writeJSON(w, state)
	}
}

// events answers with the events as JSON lines in order of opening; ?limit=
// keeps the newest.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	var since time.Time
	onlyOpen, limit := false, -1
	query := r.URL.Query()
	for name, values := range query {
		value := values[len(values)-1]
		var err error
		switch name {
		case "since":
			since, err = time.Parse(time.RFC3339, value)
			if err != nil {
				badParameter(w, name, value, "a time with zone, as in 2026-03-01T06:40:00Z (a + in a zone is written %2B)")
				return
			}
		case "open":
			onlyOpen, err = strconv.ParseBool(value)
			if err != nil {
				badParameter(w, name, value, "true or false")
				return
			}
		case "limit":
			limit, err = strconv.Atoi(value)
			if err != nil || limit < 1 {
				badParameter(w, name, value, "a whole number of events, 1 or more")
				return
			}
		case "units":
		default:
			http.Error(w, fmt.Sprintf("unknown parameter %q: there are since, open, limit and units", name), http.StatusBadRequest)
			return
		}
	}
	render, ok := s.renderer(w, r)
	if !ok {
		return
	}
	found := s.parts.Events.Events(since, onlyOpen)
	if limit > 0 && limit < len(found) {
		found = found[len(found)-limit:]
	}
	w.Header().Set("Content-Type", "application/jsonl; charset=utf-8")
	if err := alert.WriteEvents(w, found, render); err != nil {
		s.parts.Log.Debug("events not sent", "err", err)
	}
}

func badParameter(w http.ResponseWriter, name, value, right string) {
	http.Error(w, fmt.Sprintf("parameter %s: %q is not %s", name, value, right), http.StatusBadRequest)
}

func (s *Server) writeJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	if err := json.NewEncoder(w).Encode(v); err != nil {
		s.parts.Log.Debug("answer not sent", "err", err)
	}
}
