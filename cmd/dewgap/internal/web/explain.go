package web

import (
	"fmt"
	"net/http"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
)

// renderer returns a renderer of evidence in the site's units, or in SI before
// the first snapshot.
func (s *Server) renderer() evidence.Renderer {
	if shown, _ := s.parts.Board.Current(); shown != nil {
		return shown.Renderer()
	}
	return evidence.Renderer{Atmosphere: units.StandardAtmosphere}
}

// explain answers with the explanation of one event: JSON, or text for people.
// Units are the site's, or those of ?units=.
func (s *Server) explain(w http.ResponseWriter, r *http.Request) {
	query := r.URL.Query()
	render := s.renderer()
	if text := query.Get("units"); text != "" {
		var err error
		if render.System, err = units.ParseSystem(text); err != nil {
			badParameter(w, "units", text, "si or us")
			return
		}
	}
	format := query.Get("format")
	if format != "" && format != "json" && format != "text" {
		badParameter(w, "format", format, "json or text")
		return
	}
	id := r.PathValue("id")
	for _, ev := range s.parts.Events.Events(time.Time{}, false) {
		if ev.ID != id {
			continue
		}
		explanation := explain.Of(ev, render)
		if format != "text" {
			s.writeJSON(w, explanation)
			return
		}
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		if err := explanation.Write(w); err != nil {
			s.parts.Log.Debug("answer not sent", "err", err)
		}
		return
	}
	http.Error(w, fmt.Sprintf("no event %q: ids are in /api/v1/events", id), http.StatusNotFound)
}
