package web

import (
	"html"
	"math"
	"net/url"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// A person who comes from a message reads what to check before anything that
// explains why.
func TestEventPage(t *testing.T) {
	s := snaptest.EveryState()
	var ev alert.Event
	for _, e := range s.Open {
		if e.Kind == "floodback" {
			ev = e
		}
	}
	before := ev
	before.ID, before.Opened = "mt.c3-floodback-20260301T060000Z", ev.Opened.Add(-6*time.Hour)
	hostile := ev
	hostile.ID, hostile.Compressor = `x"><script>alert(1)</script>`, "<b>c3</b>"
	board := boardOf(s)
	h := handlerOf(board, fixedEvents{before, ev, hostile})
	code, body, head := get(t, h, "/events/"+url.PathEscape(ev.ID))
	if code != 200 || !strings.HasPrefix(head.Get("Content-Type"), "text/html") || !strings.Contains(head.Get("Content-Security-Policy"), "default-src 'none'") {
		t.Fatalf("%d %v", code, head)
	}
	last := -1
	for _, part := range []string{"<h1>", "owest superheat", "Likely <b>", "What to check", "<h2>Likely circuit", "<h2>Likely cause", "What was seen", "Before and after", before.ID} {
		at := strings.Index(body, part)
		if at < 0 {
			t.Errorf("no %q in the page", part)
		} else if at < last {
			t.Errorf("%q comes too early", part)
		}
		last = max(last, at)
	}
	if verdict := explain.Of(ev, evidence.Renderer{}).Verdict; verdict == "" || !strings.Contains(body, ": <b>"+html.EscapeString(verdict)+"</b>") {
		t.Errorf("the headline does not say %q", verdict)
	}
	if strings.Contains(body, "<script") {
		t.Error("the page has a script")
	}
	if _, us, _ := get(t, h, "/events/"+url.PathEscape(ev.ID)+"?units=us"); !strings.Contains(us, "°F") {
		t.Error("no °F where US units are asked for")
	}
	code, body, _ = get(t, h, "/events/"+url.PathEscape(hostile.ID))
	if code != 200 || strings.Contains(body, "<script>") || strings.Contains(body, "<b>c3") {
		t.Errorf("%d: names of the field are not escaped", code)
	}
	for path, want := range map[string]int{"/events/none": 404, "/events/" + url.PathEscape(ev.ID) + "?units=metric": 400} {
		if code, _, _ := get(t, h, path); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
}

// The curve shows what is kept of the event's hour, with a hole where nothing was
// known.
func TestCurveOfAnEvent(t *testing.T) {
	s := snaptest.EveryState()
	board := boardOf(s)
	server := &Server{parts: Parts{Board: board, Events: fixedEvents{}}}
	var ev alert.Event
	for _, e := range s.Open {
		if e.Kind == "floodback" {
			ev = e
		}
	}
	if c := server.curve(s, &ev, s.Renderer()); c != nil {
		t.Errorf("a curve of one value: %+v", c)
	}
	ev.Opened = snaptest.Noon.Add(time.Minute)
	for i, v := range []float64{9, 4, math.NaN(), 2, 8} {
		states := append(s.States[:0:0], s.States...)
		for k := range states {
			if states[k].Name == ev.Compressor {
				states[k].Superheat = units.Kelvin(v)
			}
		}
		board.AddToTraces(snaptest.Noon.Add(time.Duration(i+1)*10*time.Second), states)
	}
	c := server.curve(s, &ev, s.Renderer())
	if c == nil || len(c.Superheat) != 2 || strings.Count(c.Superheat[0], ",") != 3 || strings.Count(c.Superheat[1], ",") != 2 || !strings.Contains(c.Words, "since 12:00") {
		t.Errorf("%+v", c)
	}
	ev.Opened = snaptest.Noon.Add(-2 * time.Hour)
	if c := server.curve(s, &ev, s.Renderer()); c != nil {
		t.Error("a curve of another hour")
	}
}
