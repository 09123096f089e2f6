package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/access"
)

// Operations are what people do to events. Each returns when its result is on
// the disk. Their errors are alert.UnknownError, alert.RefusedError or a fault.
type Operations interface {
	Acknowledge(ctx context.Context, id string, a alert.Acknowledgement) (alert.Event, error)
	Unacknowledge(ctx context.Context, id, by string) (alert.Event, error)
	Found(ctx context.Context, id string, f alert.Found) (alert.Event, error)
	SetMaintenance(ctx context.Context, m alert.Maintenance) (alert.Maintenance, error)
	EndMaintenance(ctx context.Context, id, by string) (alert.Maintenance, error)
}

// maxBody bounds what a request may send, in bytes: a note of a thousand letters
// fits in any script.
const maxBody = 16 << 10

// IsLoopback reports whether only this machine can reach an address.
func IsLoopback(a net.Addr) bool {
	tcp, ok := a.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

func (s *Server) peopleRoutes(mux *http.ServeMux) {
	mux.Handle("POST /api/v1/events/{id}/acknowledge", s.change(s.acknowledge))
	mux.Handle("DELETE /api/v1/events/{id}/acknowledge", s.change(s.unacknowledge))
	mux.Handle("POST /api/v1/events/{id}/found", s.change(s.found))
	mux.HandleFunc("GET /api/v1/maintenance", s.maintenance)
	mux.Handle("POST /api/v1/maintenance", s.change(s.setMaintenance))
	mux.Handle("DELETE /api/v1/maintenance/{id}", s.change(s.endMaintenance))
}

// statusError is an error with the HTTP status that it is answered with.
type statusError struct {
	status int
	text   string
}

func (e *statusError) Error() string { return e.text }

func answer(status int, format string, args ...any) error {
	return &statusError{status, fmt.Sprintf(format, args...)}
}

// change answers a request that changes something. It must come from this
// server's own page or from no page at all, and from a user who operates. Where
// nobody is authenticated it must reach the server on the loopback address and
// call it by its address or as localhost, so that no foreign name can be made to
// point here.
func (s *Server) change(do func(*http.Request) (any, error)) http.Handler {
	own := http.NewCrossOriginProtection()
	own.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, answer(http.StatusForbidden, "origin %q is not this page: nothing was changed", r.Header.Get("Origin")))
	}))
	return own.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var result any
		err := s.allowed(r)
		if err == nil {
			r.Body = http.MaxBytesReader(w, r.Body, maxBody)
			result, err = do(r)
		}
		if err != nil {
			s.refuse(w, err)
			return
		}
		s.writeJSON(w, result)
	}))
}

// allowed returns why a request may change nothing; nil where it may.
func (s *Server) allowed(r *http.Request) error {
	user, authenticated := access.UserOf(r.Context())
	switch {
	case s.parts.Operations == nil:
		return answer(http.StatusForbidden, "a recording is played here: its events are of the past, and nothing can be changed")
	case authenticated && user.Operate:
		return nil
	case authenticated:
		return answer(http.StatusForbidden, "user %q only reads: daemon.operators lists who may change something", user.Name)
	case !s.parts.Loopback:
		return answer(http.StatusForbidden, `nobody is authenticated here, so events are changed only where dewgap listens on the loopback address: set daemon.web_config and daemon.operators, or daemon.listen = "127.0.0.1:9480"`)
	case !namedByAddress(r.Host):
		return answer(http.StatusForbidden, "host %q: call this server by its address or as localhost", r.Host)
	}
	return nil
}

// by is who asks: the authenticated user, or whom the request names where nobody
// is authenticated.
func by(r *http.Request, named string) string {
	if user, authenticated := access.UserOf(r.Context()); authenticated {
		return user.Name
	}
	return named
}

// refuse answers with {"error":…} and the status that fits err.
func (s *Server) refuse(w http.ResponseWriter, err error) {
	status := http.StatusInternalServerError
	var (
		own     *statusError
		unknown *alert.UnknownError
		refused *alert.RefusedError
	)
	switch {
	case errors.As(err, &own):
		status = own.status
	case errors.As(err, &unknown):
		status = http.StatusNotFound
	case errors.As(err, &refused) && refused.Conflict:
		status = http.StatusConflict
	case errors.As(err, &refused):
		status = http.StatusBadRequest
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	s.writeJSON(w, struct {
		Error string `json:"error"`
	}{err.Error()})
}

// read decodes the JSON object that a request must send; example is one that
// would be right.
func read(r *http.Request, into any, example string) error {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return answer(http.StatusUnsupportedMediaType, "send JSON with Content-Type application/json, as in %s", example)
	}
	body := json.NewDecoder(r.Body)
	body.DisallowUnknownFields()
	err := body.Decode(into)
	if err == nil {
		if _, err = body.Token(); err == nil {
			err = errors.New("there is more than one JSON value")
		} else if errors.Is(err, io.EOF) {
			return nil
		}
	}
	var long *http.MaxBytesError
	if errors.As(err, &long) {
		return answer(http.StatusRequestEntityTooLarge, "the request is longer than %d bytes", long.Limit)
	}
	return answer(http.StatusBadRequest, "%v; send an object like %s", err, example)
}

// readTime reads an optional time; nil where it is not given.
func readTime(name, text string) (*time.Time, error) {
	if text == "" {
		return nil, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return nil, answer(http.StatusBadRequest, "%s %q is no time: write it with its zone, as in 2026-03-01T18:00:00Z", name, text)
	}
	t = t.UTC()
	return &t, nil
}

func (s *Server) acknowledge(r *http.Request) (any, error) {
	var ask struct {
		By    string `json:"by"`
		Note  string `json:"note"`
		Until string `json:"until"`
	}
	if err := read(r, &ask, `{"by":"anna","note":"on my way","until":"2026-03-01T18:00:00Z"}; note and until may be left out`); err != nil {
		return nil, err
	}
	until, err := readTime("until", ask.Until)
	if err != nil {
		return nil, err
	}
	return s.shown(s.parts.Operations.Acknowledge(r.Context(), r.PathValue("id"), alert.Acknowledgement{By: by(r, ask.By), Note: ask.Note, Until: until}))
}

func (s *Server) unacknowledge(r *http.Request) (any, error) {
	return s.shown(s.parts.Operations.Unacknowledge(r.Context(), r.PathValue("id"), by(r, r.URL.Query().Get("by"))))
}

func (s *Server) found(r *http.Request) (any, error) {
	var ask struct {
		By      string `json:"by"`
		Cause   string `json:"cause"`
		Circuit string `json:"circuit"`
		Note    string `json:"note"`
	}
	if err := read(r, &ask, `{"by":"an engineer","cause":"iced_coil","circuit":"case-1","note":"fan 2 stood still"}; circuit and note may be left out`); err != nil {
		return nil, err
	}
	return s.shown(s.parts.Operations.Found(r.Context(), r.PathValue("id"), alert.Found{By: by(r, ask.By), Cause: ask.Cause, Circuit: ask.Circuit, Note: ask.Note}))
}

// shown returns an event with its words, as the API writes it.
func (s *Server) shown(ev alert.Event, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	if now, _ := s.parts.Board.Current(); now != nil {
		ev = ev.WithText(now.Renderer())
	}
	return ev, nil
}

// maintenanceState is a maintenance and whether it is on.
type maintenanceState struct {
	alert.Maintenance
	On bool `json:"on"`
}

// maintenance answers with those that are on, and with ?past=true with the
// newest past ones too.
func (s *Server) maintenance(w http.ResponseWriter, r *http.Request) {
	all := r.URL.Query().Get("past") == "true"
	list := []maintenanceState{}
	if now, _ := s.parts.Board.Current(); now != nil {
		for _, m := range now.Maintenance {
			if on := m.On(now.Time); on || all {
				list = append(list, maintenanceState{m, on})
			}
		}
	}
	s.writeJSON(w, struct {
		Maintenance []maintenanceState `json:"maintenance"`
	}{list})
}

func (s *Server) setMaintenance(r *http.Request) (any, error) {
	var ask struct {
		Group      string `json:"group"`
		Compressor string `json:"compressor"`
		Until      string `json:"until"`
		By         string `json:"by"`
		Note       string `json:"note"`
	}
	if err := read(r, &ask, `{"group":"lt","compressor":"c2","until":"2026-03-01T18:00:00Z","by":"an engineer","note":"oil change"}; compressor may be left out`); err != nil {
		return nil, err
	}
	until, err := readTime("until", ask.Until)
	if err != nil {
		return nil, err
	}
	m := alert.Maintenance{Group: ask.Group, Compressor: ask.Compressor, By: by(r, ask.By), Note: ask.Note}
	if until != nil {
		m.Until = *until
	}
	return s.parts.Operations.SetMaintenance(r.Context(), m)
}

func (s *Server) endMaintenance(r *http.Request) (any, error) {
	return s.parts.Operations.EndMaintenance(r.Context(), r.PathValue("id"), by(r, r.URL.Query().Get("by")))
}
