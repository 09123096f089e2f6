package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// driven notes what a replay was asked for.
type driven struct {
	mu    sync.Mutex
	asked []string
}

func (d *driven) list() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.asked)
}

func (d *driven) Do(_ context.Context, do string, _ float64) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.asked = append(d.asked, do)
	if do == "fly" {
		return errors.New("there are play and pause")
	}
	return nil
}

// The controls answer this page and command lines, and no other web page.
func TestReplayControls(t *testing.T) {
	played := snaptest.EveryState()
	played.Replay = &snapshot.Replay{Recording: "night.csv.gz", From: noon.Add(-time.Hour), To: noon, Speed: 30}
	for _, c := range []struct {
		name    string
		change  func(*http.Request)
		body    string
		code    int
		answers string
	}{
		{"the page", func(r *http.Request) {
			r.Header.Set("Origin", "http://127.0.0.1:9480")
			r.Header.Set("Sec-Fetch-Site", "same-origin")
		}, `{"do":"pause"}`, 200, `"recording":"night.csv.gz"`},
		{"a command line", func(*http.Request) {}, `{"do":"pause"}`, 200, `"mode"`},
		{"by the name localhost", func(r *http.Request) { r.Host = "localhost:9480" }, `{"do":"pause"}`, 200, ""},
		{"by IPv6", func(r *http.Request) { r.Host = "[::1]:9480" }, `{"do":"pause"}`, 200, ""},
		{"another page", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, `{"do":"pause"}`, 403, ""},
		{"another page, older browser", func(r *http.Request) { r.Header.Set("Origin", "http://example.com") }, `{"do":"pause"}`, 403, ""},
		{"another port", func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:8000") }, `{"do":"pause"}`, 403, ""},
		{"a name made to point here", func(r *http.Request) { r.Host = "rebound.example:9480" }, `{"do":"pause"}`, 403, "by its address"},
		{"a form", func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") }, `{"do":"pause"}`, 415, "application/json"},
		{"no JSON", func(*http.Request) {}, `do=pause`, 400, "send"},
		{"unknown key", func(*http.Request) {}, `{"do":"pause","write":1}`, 400, "unknown field"},
		{"too long", func(*http.Request) {}, `{"do":"` + strings.Repeat("x", 2000) + `"}`, 400, "too large"},
		{"unknown word", func(*http.Request) {}, `{"do":"fly"}`, 400, "there are play and pause"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &driven{}
			h := New(Parts{Board: boardOf(played), Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Log: quiet(), Replay: d}).Handler()
			r := httptest.NewRequest(http.MethodPost, "/api/v1/replay", strings.NewReader(c.body))
			r.Host = "127.0.0.1:9480"
			r.Header.Set("Content-Type", "application/json")
			c.change(r)
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.answers) {
				t.Errorf("%d %s, want %d with %q", w.Code, w.Body, c.code, c.answers)
			}
			if (c.code == 403 || c.code == 415) && len(d.list()) > 0 {
				t.Error("the replay was driven all the same")
			}
		})
	}
	// A live page has no such thing.
	w := httptest.NewRecorder()
	handlerOf(boardOf(snaptest.EveryState()), fixedEvents{}).ServeHTTP(w, httptest.NewRequest(http.MethodPost, "/api/v1/replay", strings.NewReader(`{"do":"play"}`)))
	if w.Code != http.StatusNotFound {
		t.Errorf("live: %d", w.Code)
	}
}
