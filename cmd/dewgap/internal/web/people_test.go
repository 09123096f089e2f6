package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/bcrypt"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/cmd/dewgap/internal/access"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/snapshot/snaptest"
)

// deskBook takes down what people ask for, and fails with err where it is set.
type deskBook struct {
	mu    sync.Mutex
	calls []string
	err   error
	event alert.Event
	board *snapshot.Board
	shown *snapshot.Snapshot
}

func (d *deskBook) took(call string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.calls = append(d.calls, call)
	return d.err
}

func (d *deskBook) list() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.calls...)
}

// show publishes the event anew, as the daemon does.
func (d *deskBook) show() {
	if d.board == nil {
		return
	}
	s := *d.shown
	s.Open = append([]alert.Event(nil), s.Open...)
	for i := range s.Open {
		if s.Open[i].ID == d.event.ID {
			s.Open[i] = d.event
		}
	}
	d.board.Publish(&s)
}

func (d *deskBook) Acknowledge(_ context.Context, id string, a alert.Acknowledgement) (alert.Event, error) {
	call := "acknowledge " + id + " by " + a.By + " note " + a.Note
	if a.Until != nil {
		call += " until " + a.Until.Format(time.RFC3339)
	}
	err := d.took(call)
	a.At = noon
	d.event.Acknowledged = &a
	d.show()
	return d.event, err
}

func (d *deskBook) Unacknowledge(_ context.Context, id, by string) (alert.Event, error) {
	d.event.Acknowledged = nil
	d.show()
	return d.event, d.took("unacknowledge " + id + " by " + by)
}

func (d *deskBook) Found(_ context.Context, id string, f alert.Found) (alert.Event, error) {
	f.At = noon
	d.event.Found = &f
	d.show()
	return d.event, d.took("found " + id + " " + f.Cause + " " + f.Circuit + " by " + f.By + " note " + f.Note)
}

func (d *deskBook) SetMaintenance(_ context.Context, m alert.Maintenance) (alert.Maintenance, error) {
	return m, d.took("maintenance " + m.Group + " " + m.Compressor + " until " + m.Until.Format(time.RFC3339) + " by " + m.By + " note " + m.Note)
}

func (d *deskBook) EndMaintenance(_ context.Context, id, by string) (alert.Maintenance, error) {
	return alert.Maintenance{ID: id}, d.took("end " + id + " by " + by)
}

func withPeople(d *deskBook, loopback bool) http.Handler {
	return New(Parts{Board: boardOf(snaptest.EveryState()), Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Log: quiet(), Operations: d, Loopback: loopback}).Handler()
}

func TestPeople(t *testing.T) {
	const ack = "/api/v1/events/mt.c3-floodback-20260301T115800Z/acknowledge"
	for _, tc := range []struct {
		name, method, path, body string
		change                   func(*http.Request)
		err                      error
		code                     int
		want                     string // in the answer
		call                     string // what was asked for; empty: nothing
	}{
		{"acknowledge", "POST", ack, `{"by":"anna","note":"on my way","until":"2026-03-01T14:00:00+01:00"}`, nil, nil, 200, `"acknowledged":{"by":"anna"`, "acknowledge mt.c3-floodback-20260301T115800Z by anna note on my way until 2026-03-01T13:00:00Z"},
		{"with a name alone", "POST", ack, `{"by":"x"}`, nil, nil, 200, `"until":null`, "acknowledge mt.c3-floodback-20260301T115800Z by x note "},
		{"take back", "DELETE", ack + "?by=x", "", nil, nil, 200, `"acknowledged":null`, "unacknowledge mt.c3-floodback-20260301T115800Z by x"},
		{"found", "POST", "/api/v1/events/e1/found", `{"by":"x","cause":"iced_coil","circuit":"case-1","note":"n"}`, nil, nil, 200, `"found":{"cause":"iced_coil"`, "found e1 iced_coil case-1 by x note n"},
		{"maintenance", "POST", "/api/v1/maintenance", `{"group":"lt","compressor":"c2","until":"2026-03-01T18:00:00Z","by":"x","note":"oil"}`, nil, nil, 200, `"group":"lt"`, "maintenance lt c2 until 2026-03-01T18:00:00Z by x note oil"},
		{"end of one", "DELETE", "/api/v1/maintenance/lt-maintenance-1?by=x", "", nil, nil, 200, `"id":"lt-maintenance-1"`, "end lt-maintenance-1 by x"},

		{"no time", "POST", ack, `{"by":"x","until":"tomorrow"}`, nil, nil, 400, `until \"tomorrow\" is no time: write it with its zone, as in 2026-03-01T18:00:00Z`, ""},
		{"a time without a zone", "POST", ack, `{"by":"x","until":"2026-03-01T18:00:00"}`, nil, nil, 400, "with its zone", ""},
		{"a field that nobody knows", "POST", ack, `{"by":"x","notes":"n"}`, nil, nil, 400, `unknown field`, ""},
		{"no JSON", "POST", ack, `by=x`, nil, nil, 400, `send an object like {\"by\":\"anna\"`, ""},
		{"two objects", "POST", ack, `{"by":"x"}{"by":"y"}`, nil, nil, 400, "more than one", ""},
		{"too long", "POST", ack, `{"by":"x","note":"` + strings.Repeat("n", maxBody) + `"}`, nil, nil, 413, "longer than 16384 bytes", ""},
		{"a form", "POST", ack, "by=x", func(r *http.Request) { r.Header.Set("Content-Type", "application/x-www-form-urlencoded") }, nil, 415, "Content-Type application/json", ""},
		{"another page", "POST", ack, `{"by":"x"}`, func(r *http.Request) { r.Header.Set("Origin", "http://elsewhere.example") }, nil, 403, "nothing was changed", ""},
		{"another page, to the browser", "DELETE", ack, "", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, nil, 403, "not this page", ""},
		{"a foreign name made to point here", "POST", ack, `{"by":"x"}`, func(r *http.Request) { r.Host = "rebound.example:9480" }, nil, 403, `host \"rebound.example:9480\": call this server by its address`, ""},

		{"unknown", "POST", ack, `{"by":"x"}`, nil, &alert.UnknownError{What: "open event", ID: "e", Near: []string{"e1"}}, 404, "near it: e1", "*"},
		{"refused", "POST", ack, `{"by":"x"}`, nil, &alert.RefusedError{Reason: "because"}, 400, "because", "*"},
		{"not now", "POST", ack, `{"by":"x"}`, nil, &alert.RefusedError{Reason: "because", Conflict: true}, 409, "because", "*"},
		{"a disk that fails", "POST", ack, `{"by":"x"}`, nil, errors.New("no space"), 500, "no space", "*"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			d := &deskBook{err: tc.err}
			r := httptest.NewRequest(tc.method, "http://127.0.0.1:9480"+tc.path, strings.NewReader(tc.body))
			r.Header.Set("Content-Type", "application/json")
			if tc.change != nil {
				tc.change(r)
			}
			w := httptest.NewRecorder()
			withPeople(d, true).ServeHTTP(w, r)
			if w.Code != tc.code || !strings.Contains(w.Body.String(), tc.want) {
				t.Errorf("%d %s, want %d with %s", w.Code, w.Body, tc.code, tc.want)
			}
			if !json.Valid(w.Body.Bytes()) || (tc.code != 200) != strings.HasPrefix(w.Body.String(), `{"error":`) {
				t.Errorf("answer %s", w.Body)
			}
			if got := strings.Join(d.list(), "; "); tc.call != "*" && got != tc.call {
				t.Errorf("asked for %q, want %q", got, tc.call)
			}
		})
	}
}

// Nothing is changed where more than this machine can ask, nor in a replay; the
// page is shown no buttons there.
func TestWhereNothingIsChanged(t *testing.T) {
	d := &deskBook{}
	for name, tc := range map[string]struct {
		h         http.Handler
		want      string
		mayChange bool
	}{
		"on a network":    {withPeople(d, false), "loopback address", false},
		"a replay":        {handlerOf(boardOf(snaptest.EveryState()), fixedEvents{}), "a recording is played", false},
		"on this machine": {withPeople(d, true), "", true},
	} {
		for _, path := range []string{"POST /api/v1/events/e/acknowledge", "DELETE /api/v1/events/e/acknowledge", "POST /api/v1/events/e/found", "POST /api/v1/maintenance", "DELETE /api/v1/maintenance/m"} {
			method, path, _ := strings.Cut(path, " ")
			r := httptest.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader("{}"))
			r.Header.Set("Content-Type", "application/json")
			w := httptest.NewRecorder()
			tc.h.ServeHTTP(w, r)
			if tc.mayChange != (w.Code == 200) || (!tc.mayChange && (w.Code != 403 || !strings.Contains(w.Body.String(), tc.want))) {
				t.Errorf("%s, %s %s: %d %s", name, method, path, w.Code, w.Body)
			}
		}
		r := httptest.NewRequest("GET", "http://127.0.0.1/api/v1/state", nil)
		w := httptest.NewRecorder()
		tc.h.ServeHTTP(w, r)
		var s siteState
		if err := json.Unmarshal(w.Body.Bytes(), &s); err != nil || s.MayChange != tc.mayChange {
			t.Errorf("%s: page may change: %v, %v", name, s.MayChange, err)
		}
	}
	for address, want := range map[string]bool{"127.0.0.1": true, "::1": true, "0.0.0.0": false, "::": false, "192.0.2.1": false} {
		if got := IsLoopback(&net.TCPAddr{IP: net.ParseIP(address)}); got != want {
			t.Errorf("%s: %v", address, got)
		}
	}
}

// An authenticated user changes things under the own name, from anywhere and by
// whatever name the server has, if the user is an operator.
func TestAuthenticatedPeople(t *testing.T) {
	file := filepath.Join(t.TempDir(), "web.yml")
	hash, err := bcrypt.GenerateFromPassword([]byte("apple"), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, fmt.Appendf(nil, "basic_auth_users:\n  anna: %s\n  bert: %s\n", hash, hash), 0o600); err != nil {
		t.Fatal(err)
	}
	policy, err := access.Load(file, []string{"anna"})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		user string
		code int
		call string
	}{{"anna", 200, "acknowledge e by anna note "}, {"bert", 403, ""}, {"", 401, ""}} {
		d := &deskBook{}
		h := New(Parts{Board: boardOf(snaptest.EveryState()), Events: fixedEvents{}, Metrics: http.NotFoundHandler(), Log: quiet(), Operations: d, Access: policy}).Handler()
		r := httptest.NewRequest("POST", "http://gateway.example/api/v1/events/e/acknowledge", strings.NewReader(`{"by":"somebody else"}`))
		r.Header.Set("Content-Type", "application/json")
		if tc.user != "" {
			r.SetBasicAuth(tc.user, "apple")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if got := strings.Join(d.list(), "; "); w.Code != tc.code || got != tc.call {
			t.Errorf("%q: %d %s, asked for %q", tc.user, w.Code, w.Body, got)
		}
	}
}

func TestMaintenanceIsShown(t *testing.T) {
	s := snaptest.EveryState()
	s.Circuits = []analyze.CircuitState{{Group: "mt", Name: "case-1"}, {Group: "mt", Name: "case-2"}}
	on := alert.Maintenance{ID: "on", Group: "mt", Compressor: "c3", From: noon.Add(-time.Hour), Until: noon.Add(time.Hour), By: "x", Note: "oil"}
	past := alert.Maintenance{ID: "past", Group: "mt", Compressor: "c3", From: noon.Add(-7 * time.Hour), Until: noon.Add(-5 * time.Hour), By: "x", Note: "drier"}
	s.Maintenance = []alert.Maintenance{past, on}
	h := handlerOf(boardOf(s), fixedEvents(append(s.Open, s.Recent...)))
	_, body, _ := get(t, h, "/api/v1/state")
	var got siteState
	if err := json.Unmarshal([]byte(body), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Maintenance) != 1 || got.Maintenance[0].ID != "on" {
		t.Errorf("on: %+v", got.Maintenance)
	}
	if got.OpenEvents[0].During != nil || got.OpenEvents[1].During == nil || got.Recent[0].During == nil || got.Recent[0].During.ID != "past" {
		t.Errorf("events: %v %v %v", got.OpenEvents[0].During, got.OpenEvents[1].During, got.Recent[0].During)
	}
	if len(got.Groups) != 1 || len(got.Groups[0].Compressors) != 6 || strings.Join(got.Groups[0].Circuits, " ") != "case-1 case-2" {
		t.Errorf("groups %+v", got.Groups)
	}
	for query, want := range map[string]string{"": `{"maintenance":[{"id":"on",`, "?past=true": `{"maintenance":[{"id":"past",`} {
		if _, body, _ := get(t, h, "/api/v1/maintenance"+query); !strings.HasPrefix(body, want) {
			t.Errorf("%q: %s", query, body)
		}
	}
	if _, body, _ = get(t, h, "/api/v1/events/"+s.Open[1].ID+"/explain?format=text"); !strings.Contains(body, "Open during maintenance of mt c3, 2026-03-01T11:00:00Z to 2026-03-01T13:00:00Z, by x: oil.") {
		t.Errorf("explanation %s", body)
	}
}

// Whatever is sent, the answer is JSON, a fault of the sender at most, and nothing
// is taken that the checks refuse.
func FuzzPeople(f *testing.F) {
	for _, body := range []string{`{"by":"x","note":"n","until":"2026-03-01T18:00:00Z"}`, `{"by":"x","cause":"none"}`, `{"group":"lt","until":""}`, `[]`, `{"by":1}`, "{", "\x00"} {
		f.Add(body)
	}
	h := withPeople(&deskBook{}, true)
	f.Fuzz(func(t *testing.T, body string) {
		for _, path := range []string{"/api/v1/events/e/acknowledge", "/api/v1/events/e/found", "/api/v1/maintenance"} {
			r := httptest.NewRequest("POST", "http://127.0.0.1"+path, strings.NewReader(body))
			r.Header.Set("Content-Type", "application/json")
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if !json.Valid(w.Body.Bytes()) || w.Code != 200 && (w.Code < 400 || w.Code > 499) {
				t.Errorf("%s %q: %d %s", path, body, w.Code, w.Body)
			}
		}
	})
}
