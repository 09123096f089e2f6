package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
)

// renderer returns a renderer of evidence in the units of ?units=, else in the
// site's, or in SI before the first snapshot. It answers a request with wrong
// units itself and returns false.
func (s *Server) renderer(w http.ResponseWriter, r *http.Request) (evidence.Renderer, bool) {
	render := evidence.Renderer{Atmosphere: units.StandardAtmosphere}
	if shown, _ := s.parts.Board.Current(); shown != nil {
		render = shown.Renderer()
	}
	text := r.URL.Query().Get("units")
	if text == "" {
		return render, true
	}
	system, err := units.ParseSystem(text)
	if err != nil {
		badParameter(w, "units", text, "si or us")
		return render, false
	}
	return render.In(system), true
}

// explain answers with the explanation of one event: JSON, or text for people.
// Units are the site's, or those of ?units=.
func (s *Server) explain(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	render, ok := s.renderer(w, r)
	if !ok {
		return
	}
	format := query.Get("format")
	if format != "" && format != "json" && format != "text" {
		badParameter(w, "format", format, "json or text")
		return
	}
	all, i, ok := s.eventAsked(w, r)
	if !ok {
		return
	}
	explanation := s.explanation(all[i], render)
	if format != "text" {
		s.writeJSON(w, explanation)
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := explanation.Write(w); err != nil {
		s.parts.Log.Debug("answer not sent", "err", err)
	}
}

// eventAsked returns all events and the position of the one that a path names. It
// answers a request for one that is not known itself and returns false.
func (s *Server) eventAsked(w http.ResponseWriter, r *http.Request) (all []alert.Event, i int, ok bool) {
	id := r.PathValue("id")
	all = s.parts.Events.Events(time.Time{}, false)
	i = slices.IndexFunc(all, func(ev alert.Event) bool { return ev.ID == id })
	if i < 0 {
		http.Error(w, fmt.Sprintf("no event %q: ids are in /api/v1/events", id), http.StatusNotFound)
	}
	return all, i, i >= 0
}

// explanation explains an event, the maintenance that it fell into included.
func (s *Server) explanation(ev alert.Event, r evidence.Renderer) explain.Explanation {
	e := explain.Of(ev, r)
	if shown, _ := s.parts.Board.Current(); shown != nil {
		e.DuringMaintenance(alert.During(shown.Maintenance, &ev))
	}
	return e
}
