package web

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/cmd/dewgap/internal/snapshot"
)

var (
	//go:embed page/event.html
	eventHTML string
	//go:embed page/event.css
	eventCSS string
)

// eventPolicy allows the page's style by its hash and nothing else.
var eventPolicy = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; style-src " + hashOf(eventCSS)

var eventTemplate = template.Must(template.New("event").Funcs(template.FuncMap{
	"words": cause.Words,
	"share": func(score float64) string { return fmt.Sprintf("%.0f %%", 100*score) },
}).Parse(eventHTML))

// eventPage is an event for somebody who comes from a message: what it is, what
// to check, and what speaks for it.
type eventPage struct {
	explain.Explanation
	Site, State string
	Style       template.CSS
	Curve       *curve
	Neighbours  []neighbour
}

type neighbour struct{ Link, Text string }

// neighboursShown is how many events in time are named to either side.
const neighboursShown = 2

// event answers with one event as a page of its own.
func (s *Server) event(w http.ResponseWriter, r *http.Request) {
	render, ok := s.renderer(w, r)
	if !ok {
		return
	}
	all, i, ok := s.eventAsked(w, r)
	if !ok {
		return
	}
	ev := all[i]
	page := eventPage{Explanation: s.explanation(ev, render), Site: ev.Site, Style: template.CSS(eventCSS), State: "open"}
	if ev.Closed != nil {
		page.State = "closed " + ev.Closed.Format("2006-01-02 15:04:05 MST")
	}
	if shown, _ := s.parts.Board.Current(); shown != nil {
		page.Curve = s.curve(shown, &ev, render)
	}
	for j := max(0, i-neighboursShown); j < min(len(all), i+neighboursShown+1); j++ {
		if n := &all[j]; j != i {
			page.Neighbours = append(page.Neighbours, neighbour{url.PathEscape(n.ID), n.Opened.Format("2006-01-02 15:04") + " " + explain.Of(*n, render).Title})
		}
	}
	var text bytes.Buffer
	if err := eventTemplate.Execute(&text, page); err != nil {
		s.parts.Log.Error("event page", "event", ev.ID, "error", err)
		http.Error(w, "this event cannot be shown; its explanation is in the API", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", eventPolicy)
	_, _ = w.Write(text.Bytes()) // the reader may have closed the connection
}

// curve is the superheat of an event's compressor over the hour that is kept,
// as points of a drawing of 600 by 180.
type curve struct {
	Words     string
	Floor     string
	Superheat []string // in pieces, where it was not known in between
}

// curve draws what is kept of the event's hour; nil where nothing is.
func (s *Server) curve(shown *snapshot.Snapshot, ev *alert.Event, r evidence.Renderer) *curve {
	i := slices.IndexFunc(shown.States, func(st analyze.State) bool { return st.Group == ev.Group && st.Name == ev.Compressor })
	if i < 0 {
		return nil
	}
	tr := s.parts.Board.Trace(i)
	if n := len(tr.Superheat); n < 2 || ev.Opened.Before(tr.From) {
		return nil
	}
	low, high := 0.0, 10.0
	for j := range tr.Superheat {
		for _, v := range []float64{float64(tr.Superheat[j]), float64(tr.Floor[j])} {
			if !math.IsNaN(v) {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	point := func(j int, v float32) string {
		x := 600 * float64(j) / float64(len(tr.Superheat)-1)
		return fmt.Sprintf("%.1f,%.1f", x, 175-170*(float64(v)-low)/(high-low))
	}
	c := &curve{}
	var piece, floor []string
	for j, v := range tr.Superheat {
		if f := tr.Floor[j]; !math.IsNaN(float64(f)) {
			floor = append(floor, point(j, f))
		}
		if math.IsNaN(float64(v)) {
			if len(piece) > 1 {
				c.Superheat = append(c.Superheat, strings.Join(piece, " "))
			}
			piece = nil
			continue
		}
		piece = append(piece, point(j, v))
	}
	if len(piece) > 1 {
		c.Superheat = append(c.Superheat, strings.Join(piece, " "))
	}
	c.Floor = strings.Join(floor, " ")
	c.Words = fmt.Sprintf("Superheat of %s %s since %s, between %s and %s; the broken line is the floor.", ev.Group, ev.Compressor,
		tr.From.Format("15:04"), r.System.Difference(units.Kelvin(low)), r.System.Difference(units.Kelvin(high)))
	return c
}
