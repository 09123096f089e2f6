package web

import (
	"fmt"
	"net/http"
	"time"

	"dewgap/cmd/dewgap/internal/history"
)

// History is where answers about the past come from.
type History interface {
	// Query returns a span in steps; group leaves out all others, empty: none. Its
	// error may be shown to whoever asks.
	Query(from, to time.Time, step time.Duration, group string) (*history.Answer, error)
}

// mostEvents is the most events of one answer about the past; the newest stay.
const mostEvents = 500

type pastJSON struct {
	*history.Answer
	Events  []eventState `json:"events"`   // those that were open in the span
	LeftOut int          `json:"left_out"` // older events of the span that are too many
}

// history answers with a span of the past: /api/v1/history?from=&to=&step=&group=.
// With compressor, it is the last hour of that one, for the page's small plot.
func (s *Server) history(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	if query.Has("compressor") {
		s.trace(w, query.Get("group"), query.Get("compressor"))
		return
	}
	if s.parts.History == nil {
		http.Error(w, "no history is kept here: it needs a daemon with daemon.record = true", http.StatusNotFound)
		return
	}
	render, ok := s.renderer(w, r)
	if !ok {
		return
	}
	shown, _ := s.parts.Board.Current()
	to := time.Now()
	if shown != nil && !shown.Time.IsZero() {
		to = shown.Time.Add(time.Second)
	}
	var from time.Time
	var step time.Duration
	for name, values := range query {
		value := values[len(values)-1]
		var err error
		switch name {
		case "from":
			from, err = time.Parse(time.RFC3339, value)
		case "to":
			to, err = time.Parse(time.RFC3339, value)
		case "step":
			if step, err = time.ParseDuration(value); err != nil {
				badParameter(w, name, value, "a width of step, as in 1m, 15m or 2h")
				return
			}
		case "group", "units":
		default:
			http.Error(w, fmt.Sprintf("unknown parameter %q: there are from, to, step, group and units", name), http.StatusBadRequest)
			return
		}
		if err != nil {
			badParameter(w, name, value, "a time with zone, as in 2026-03-01T06:40:00Z (a + in a zone is written %2B)")
			return
		}
	}
	if from.IsZero() {
		from = to.Add(-24 * time.Hour)
	}
	if step == 0 {
		step = history.StepFor(to.Sub(from))
	}
	if err := history.Check(from, to, step); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	group := query.Get("group")
	found, err := s.parts.History.Query(from, to, step, group)
	if err != nil {
		s.parts.Log.Error("history cannot be read", "error", err)
		http.Error(w, "the history cannot be read: "+err.Error(), http.StatusInternalServerError)
		return
	}
	out := pastJSON{Answer: found, Events: []eventState{}}
	events := s.parts.Events.Events(time.Time{}, false)
	kept := events[:0:0]
	for i := range events {
		e := &events[i]
		if e.Began.Before(to) && (e.Closed == nil || e.Closed.After(from)) && (group == "" || e.Group == group) {
			kept = append(kept, *e)
		}
	}
	if out.LeftOut = max(0, len(kept)-mostEvents); out.LeftOut > 0 {
		kept = kept[out.LeftOut:]
	}
	if shown != nil {
		out.Events = withText(kept, shown.Maintenance, render)
	} else {
		out.Events = withText(kept, nil, render)
	}
	s.writeJSON(w, out)
}

// trace answers with the last hour of one compressor.
func (s *Server) trace(w http.ResponseWriter, group, name string) {
	shown, _ := s.parts.Board.Current()
	if shown != nil {
		for i := range shown.States {
			if shown.States[i].Group == group && shown.States[i].Name == name {
				s.writeJSON(w, historyOf(s.parts.Board.Trace(i)))
				return
			}
		}
	}
	http.Error(w, fmt.Sprintf("no compressor %q in group %q: give ?group=…&compressor=… as in /api/v1/state", name, group), http.StatusNotFound)
}
