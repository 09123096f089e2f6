package web

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var noon = snaptest.Noon

// fixedEvents is the events a test shows.
type fixedEvents []alert.Event

func (s fixedEvents) Events(since time.Time, onlyOpen bool) []alert.Event {
	var out []alert.Event
	for _, ev := range s {
		if !ev.Opened.Before(since) && (!onlyOpen || ev.Closed == nil) {
			out = append(out, ev)
		}
	}
	return out
}

// nasty is a name as a field device may deliver it.
const nasty = `</script><img src=x onerror="alert(1)">"` + "\n'"

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }
func fixedNow() time.Time { return noon }
func boardOf(s *snapshot.Snapshot) *snapshot.Board {
	b := snapshot.NewBoard(fixedNow)
	if s != nil {
		b.Publish(s)
	}
	return b
}

func handlerOf(b *snapshot.Board, events Events) http.Handler {
	return New(Parts{Board: b, Events: events, Metrics: http.NotFoundHandler(), Version: "test", Log: quiet()}).Handler()
}

func get(t *testing.T, h http.Handler, path string) (int, string, http.Header) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w.Code, w.Body.String(), w.Header()
}

func TestPaths(t *testing.T) {
	s := snaptest.EveryState()
	waiting := snaptest.EveryState()
	waiting.Sources[1].Delivered = false
	events := fixedEvents{s.Recent[0], s.Open[0], s.Open[1]}
	for _, tc := range []struct {
		name, path string
		board      *snapshot.Board
		code       int
		body       string
	}{
		{"alive before anything", "/healthz", boardOf(nil), 200, "ok"},
		{"not ready before anything", "/readyz", boardOf(nil), 503, "nothing has been analysed"},
		{"not ready: a source is silent", "/readyz", boardOf(waiting), 503, "nothing yet from cases"},
		{"ready", "/readyz", boardOf(s), 200, "ready"},
		{"state before anything", "/api/v1/state", boardOf(nil), 503, "nothing has been analysed"},
		{"bad since", "/api/v1/events?since=yesterday", boardOf(s), 400, "2026-03-01T06:40:00Z"},
		{"since with a plus lost", "/api/v1/events?since=2026-03-01T06:40:00+01:00", boardOf(s), 400, "%2B"},
		{"bad open", "/api/v1/events?open=maybe", boardOf(s), 400, "true or false"},
		{"bad limit", "/api/v1/events?limit=0", boardOf(s), 400, "1 or more"},
		{"limit in words", "/api/v1/events?limit=few", boardOf(s), 400, "1 or more"},
		{"unknown parameter", "/api/v1/events?last=3", boardOf(s), 400, "since, open, limit and units"},
		{"events", "/api/v1/events", boardOf(s), 200, `"id":"mt.c2-floodback`},
		{"who is told", "/api/v1/state", boardOf(s), 200, `"targets":[{"target":"on-call","kind":"webhook","address":"https://hooks.example","waiting":0,"waiting_since":null,"messages_total":12`},
		{"no such compressor", "/api/v1/history?group=mt&compressor=c9", boardOf(s), 404, "/api/v1/state"},
		{"no such path", "/admin", boardOf(s), 404, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			code, body, _ := get(t, handlerOf(tc.board, events), tc.path)
			if code != tc.code || !strings.Contains(body, tc.body) {
				t.Errorf("%d %q, want %d with %q", code, body, tc.code, tc.body)
			}
		})
	}
	for query, want := range map[string]int{"": 3, "?open=true": 2, "?limit=2": 2, "?limit=9": 3, "?limit=1&open=true": 1, "?since=2026-03-01T11:55:00Z": 1, "?since=2026-03-01T11:00:00Z&open=true": 2, "?since=2027-01-01T00:00:00Z": 0} {
		_, body, _ := get(t, handlerOf(boardOf(s), events), "/api/v1/events"+query)
		lines := 0
		for sc := bufio.NewScanner(strings.NewReader(body)); sc.Scan(); lines++ {
			if !json.Valid(sc.Bytes()) {
				t.Errorf("%s: not JSON: %s", query, sc.Text())
			}
		}
		if lines != want {
			t.Errorf("%q: %d events, want %d", query, lines, want)
		}
	}
}

// Only reading: no method that changes anything is answered.
func TestReadsOnly(t *testing.T) {
	h := handlerOf(boardOf(snaptest.EveryState()), fixedEvents{})
	for _, path := range []string{"/", "/api/v1/state", "/api/v1/events", "/healthz"} {
		for _, method := range []string{"POST", "PUT", "PATCH", "DELETE"} {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(method, path, strings.NewReader("{}")))
			if w.Code != http.StatusMethodNotAllowed {
				t.Errorf("%s %s: %d", method, path, w.Code)
			}
		}
	}
}

func stateAt(t *testing.T, b *snapshot.Board) siteState {
	t.Helper()
	_, body, _ := get(t, handlerOf(b, fixedEvents{}), "/api/v1/state")
	var s siteState
	if err := json.Unmarshal([]byte(body), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestUnknownIsNullNeverZero(t *testing.T) {
	s := stateAt(t, boardOf(snaptest.EveryState()))
	for _, c := range s.Compressors {
		unknown := c.Compressor == "c4" || c.Compressor == "c5"
		if (c.Superheat == nil) != unknown || (c.Margin == nil) != unknown {
			t.Errorf("%s: superheat %v, margin %v", c.Compressor, c.Superheat, c.Margin)
		}
	}
	if in := s.Inputs[1]; in.Value != nil || in.Quality != "missing" || in.Reason == "" {
		t.Errorf("input %+v", in)
	}
}

// A main loop that hangs is not a healthy plant.
func TestOldSnapshotIsNotThePresent(t *testing.T) {
	at := noon
	b := snapshot.NewBoard(func() time.Time { return at })
	b.Publish(snaptest.EveryState())
	at = at.Add(snapshot.MaxAge)
	if s := stateAt(t, b); !s.Current || s.Compressors[0].Superheat == nil {
		t.Error("given up too early")
	}
	at = at.Add(time.Nanosecond)
	s := stateAt(t, b)
	if s.Current || len(s.OpenEvents) != 2 {
		t.Errorf("current %v, %d open events", s.Current, len(s.OpenEvents))
	}
	for _, c := range s.Compressors {
		if c.Superheat != nil || c.Dew != nil || c.Quality != "stale" || c.Phase != "unknown" {
			t.Errorf("%+v", c)
		}
	}
	if s.Inputs[0].Value != nil || s.Sources[0].Up {
		t.Error("an old value or source is shown as present")
	}
	if code, _, _ := get(t, handlerOf(b, fixedEvents{}), "/readyz"); code != 503 {
		t.Errorf("readyz %d", code)
	}
}

// Trap 27: names from the field reach the page as data alone.
func TestTrap27NamesAreNeverMarkup(t *testing.T) {
	s := snaptest.EveryState()
	s.Site, s.States[0].Name, s.States[0].Reason = nasty, nasty, &evidence.Item{Code: evidence.Sentence, Text: nasty}
	h := handlerOf(boardOf(s), fixedEvents{})
	_, page, header := get(t, h, "/")
	if strings.Contains(page, "onerror") {
		t.Error("a name stands in the page's markup")
	}
	policy := header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'sha256-", "style-src 'sha256-", "frame-ancestors 'none'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("policy %q lacks %q", policy, want)
		}
	}
	if strings.Contains(policy, "unsafe") {
		t.Errorf("policy %q", policy)
	}
	for _, never := range []string{"innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("} {
		if strings.Contains(pageJS+peopleJS, never) {
			t.Errorf("the script uses %s", never)
		}
	}
	_, body, header := get(t, h, "/api/v1/state")
	if strings.Contains(body, "<img") || header.Get("X-Content-Type-Options") != "nosniff" {
		t.Error("the API's answer could be taken for markup")
	}
	if got := stateAt(t, boardOf(s)).Site; got != nasty {
		t.Errorf("the name came through as %q", got)
	}
}

func TestPageStandsAlone(t *testing.T) {
	for _, never := range []string{"http://", "https://", "//cdn", "@import", " on" + "click=", "src="} {
		if rest := strings.ReplaceAll(wholePage, "http://www.w3.org/2000/svg", ""); strings.Contains(rest, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	for _, must := range []string{"No safety device", "prefers-color-scheme: dark", "aria-live", "viewport"} {
		if !strings.Contains(wholePage, must) {
			t.Errorf("the page lacks %q", must)
		}
	}
	if strings.Contains(wholePage, "/*STYLE*/") || strings.Contains(wholePage, "/*SCRIPT*/") {
		t.Error("a placeholder is left")
	}
}

// The plot must not hide a dip, nor draw a value where none was known.
func TestTraceKeepsDipsAndHoles(t *testing.T) {
	b := snapshot.NewBoard(fixedNow)
	show := func(at time.Time, superheat float64) {
		b.Publish(&snapshot.Snapshot{Time: at, States: []analyze.State{{Superheat: units.Kelvin(superheat), Floor: 8}}})
	}
	show(noon, 12)
	show(noon.Add(time.Second), 0.5)
	show(noon.Add(2*time.Second), 12)
	show(noon.Add(10*time.Second), math.NaN())
	show(noon.Add(40*time.Second), 9)
	got := historyOf(b.Trace(0))
	text, err := json.Marshal(got.Superheat)
	if err != nil || string(text) != "[0.5,null,null,null,9]" {
		t.Errorf("%s %v", text, err)
	}
	for i := range 1000 {
		show(noon.Add(time.Minute+time.Duration(i)*snapshot.BucketLength), 10)
	}
	if n := len(b.Trace(0).Superheat); n != snapshot.Buckets {
		t.Errorf("%d entries kept, limit %d", n, snapshot.Buckets)
	}
	show(noon.Add(-time.Hour), 7) // the clock was set back
	if tr := b.Trace(0); len(tr.Superheat) != 1 || tr.Superheat[0] != 7 {
		t.Errorf("after the clock went back: %+v", tr)
	}
}

func TestServerClosesWithItsContext(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		done <- New(Parts{Board: boardOf(snaptest.EveryState()), Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Log: quiet()}).Run(ctx, l)
	}()
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	answer, err := client.Get("http://" + l.Addr().String() + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(io.Discard, answer.Body)
	answer.Body.Close()
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
