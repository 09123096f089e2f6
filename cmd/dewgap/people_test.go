package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
)

// runningDemo starts the demo and returns its page's address and how to stop it;
// stopping returns its summary.
func runningDemo(t *testing.T, speed float64, data, conf string) (page string, stop func() string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	in, out := io.Pipe()
	ended := make(chan error, 1)
	var rest, log bytes.Buffer
	read := make(chan struct{})
	demo := demoCmd{Listen: "127.0.0.1:0", Speed: speed, Data: data, WriteConfig: conf, Seed: 1}
	go func() {
		err := demo.Run(ctx, console{Out: out, Err: &log})
		out.Close()
		ended <- err
	}()
	lines := bufio.NewReader(in)
	line, err := lines.ReadString('\n')
	if err != nil {
		t.Fatal(err, <-ended)
	}
	go func() {
		defer close(read)
		_, _ = rest.ReadFrom(lines) // a summary that is not whole lacks what is looked for
	}()
	return strings.TrimSpace(line), func() string {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		<-read
		t.Cleanup(func() {
			for line := range strings.Lines(log.String()) {
				if t.Failed() && strings.Contains(line, "event ") {
					t.Log(line)
				}
			}
		})
		return rest.String()
	}
}

// openFloodback waits for an open floodback of the demo that is graded beyond risk:
// an escalation would end what the test acknowledges.
func openFloodback(t *testing.T, page string) alert.Event {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); <-time.After(50 * time.Millisecond) {
		answer, err := http.Get(page + "api/v1/events?open=true")
		if err != nil {
			t.Fatal(err)
		}
		events, err := eventLines(answer.Body, "events")
		answer.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		for _, ev := range events {
			if ev.Kind == "floodback" && ev.Severity != "risk" {
				return ev
			}
		}
	}
	t.Fatal("the demo shows no floodback")
	return alert.Event{}
}

// acknowledgements checks that the journal holds the two of the test, and reports
// whether the second lasts: on a machine that is busy the demo's event may escalate
// meanwhile, which ends it.
func acknowledgements(t *testing.T, data, id string) bool {
	t.Helper()
	journal, err := alert.OpenJournal(data, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer journal.Close()
	entries, _ := journal.After(0, 1<<20)
	var kinds, notes []string
	for _, e := range entries {
		if e.Change.Event.ID != id {
			continue
		}
		kinds = append(kinds, e.Change.Kind.String())
		if e.Change.Kind == alert.Acknowledged {
			notes = append(notes, e.Change.Event.Acknowledged.Note)
		}
	}
	course := strings.Join(kinds, " ")
	if got := strings.Join(notes, ", "); got != "by click, by command" {
		t.Errorf("acknowledged %q; the journal has %s", got, course)
	}
	after := course[max(0, strings.LastIndex(course, "acknowledged")):]
	if ended := strings.Contains(after, "acknowledgement_ended"); ended != strings.Contains(after, "escalated") {
		t.Errorf("ended without an escalation, or escalated without an end: %s", course)
	}
	return !strings.Contains(after, "acknowledgement_ended")
}

// An event of the demo is acknowledged as the page's button does it, and again by
// command; what was found is recorded. All of it is on
// the disk after the demo has ended.
func TestPeopleInTheDemo(t *testing.T) {
	data, conf := t.TempDir(), t.TempDir()
	page, stop := runningDemo(t, 120, data, conf)
	defer http.DefaultClient.CloseIdleConnections()
	ev := openFloodback(t, page)

	answer, err := http.Post(page+"api/v1/events/"+ev.ID+"/acknowledge", "application/json", strings.NewReader(`{"by":"anna","note":"by click"}`))
	if err != nil {
		t.Fatal(err)
	}
	var got alert.Event
	if err := json.NewDecoder(answer.Body).Decode(&got); err != nil || answer.StatusCode != 200 || got.Acknowledged == nil || got.Acknowledged.By != "anna" {
		t.Errorf("by click: status %d, %+v, %v", answer.StatusCode, got.Acknowledged, err)
	}
	answer.Body.Close()
	url := strings.TrimSuffix(page, "/")
	for _, tc := range []struct {
		args []string
		code int
		out  string // in standard output
		errs string // in standard error
	}{
		{[]string{"acknowledge", "--note", "by command", "--until", "3h", "--by", "an engineer", "lt.c2-floodback"}, 0, ev.ID + " acknowledged by an engineer at ", ""},
		{[]string{"acknowledge", ev.ID}, 2, "", "--note is missing"},
		{[]string{"acknowledge", "--note", "x", "mt.c9"}, 1, "", ev.ID},
		{[]string{"acknowledge", "--note", "x", "--until", "tomorrow", ev.ID}, 2, "", "90m, 4h or 2d"},
		{[]string{"found", "--cause", "valve_oversized", "--circuit", "island-1", "--note", "orifice 4", ev.ID}, 0, "  found: valve_oversized at island-1\n", ""},
		{[]string{"found", "--cause", "valve_oversize", ev.ID}, 1, "", `did you mean "valve_oversized"?`},
		{[]string{"maintenance", "add", "--until", "2d", "--note", "oil", "lt/c2"}, 0, "lt.c2-maintenance-", ""},
		{[]string{"maintenance", "list"}, 0, "lt/c2", ""},
		{[]string{"maintenance", "add", "--until", "31d", "--note", "oil", "lt/c2"}, 1, "", "more than 30 days"},
		{[]string{"maintenance", "add", "--until", "1h", "--note", "oil", "lt/c7"}, 1, "", `no compressor "c7"; it has `},
		{[]string{"maintenance", "end", "--by", "an engineer", "lt.c2"}, 0, "ended by an engineer", ""},
		{[]string{"maintenance", "end", "lt.c2"}, 1, "", "no maintenance that is on"},
	} {
		args := append(append([]string{}, tc.args[:1]...), append([]string{"--url", url}, tc.args[1:]...)...)
		if tc.args[0] == "maintenance" {
			args = append(append([]string{}, tc.args[:2]...), append([]string{"--url", url}, tc.args[2:]...)...)
		}
		var out, errs bytes.Buffer
		code := run(t.Context(), args, console{Out: &out, Err: &errs})
		if code != tc.code || !strings.Contains(out.String(), tc.out) || !strings.Contains(errs.String(), tc.errs) {
			t.Errorf("%v: status %d, %s%s", tc.args, code, &out, &errs)
		}
	}
	summary := stop()
	held := acknowledgements(t, data, ev.ID)
	for want, there := range map[string]bool{"acknowledged by an engineer": held, "found valve_oversized at island-1": true} {
		if strings.Contains(summary, want) != there {
			t.Errorf("the summary holds %q: %v, want %v:\n%s", want, !there, there, summary)
		}
	}
	events, _, err := alert.ReadEvents(data)
	if err != nil {
		t.Fatal(err)
	}
	replayed := filepath.Join(t.TempDir(), "events.jsonl")
	recordings, err := filepath.Glob(filepath.Join(data, "recordings", "*.csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	args := append([]string{"replay", "--config", filepath.Join(conf, "site.toml"), "--journal", data, "--events", replayed}, recordings...)
	if code, _, errs := called(t, args...); code != 0 {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(replayed)
	if err != nil || strings.Contains(string(text), `"note":"by command"`) != held || !strings.Contains(string(text), `"found":{"cause":"valve_oversized"`) {
		t.Errorf("replayed beside the journal: %s, %v", text, err)
	}
	if code, out, errs := called(t, "explain", "--config", filepath.Join(conf, "site.toml"), "--data", data, ev.ID); code != 0 || strings.Contains(out, "Acknowledged by an engineer") != held ||
		!strings.Contains(out, "Said and found") || !strings.Contains(out, "Open during maintenance of lt c2") {
		t.Errorf("explained: %d %s%s", code, out, errs)
	}
	for _, e := range events {
		if e.ID == ev.ID {
			if e.Found == nil || e.Found.Cause != "valve_oversized" || (e.Acknowledged != nil && e.Acknowledged.Note == "by command") != held {
				t.Errorf("on the disk: found %+v, acknowledged %+v", e.Found, e.Acknowledged)
			}
			return
		}
	}
	t.Error("the event is not on the disk")
}

// The daemon's address comes from the configuration; a daemon that is not there
// and one that asks for a password are named as such.
func TestReachTheDaemon(t *testing.T) {
	for listen, want := range map[string]string{
		"127.0.0.1:9480": "127.0.0.1:9480", ":9480": "127.0.0.1:9480", "0.0.0.0:9480": "127.0.0.1:9480", "[::]:9480": "127.0.0.1:9480",
		"[::1]:9480": "[::1]:9480", "192.0.2.1:80": "192.0.2.1:80", "gateway:9480": "gateway:9480",
	} {
		if got := reachable(listen); got != want {
			t.Errorf("%s: %s, want %s", listen, got, want)
		}
	}
	guarded := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if name, password, _ := r.BasicAuth(); name != "anna" || password != "apple" {
			http.Error(w, "a name and its password are needed", http.StatusUnauthorized)
			return
		}
		fmt.Fprint(w, `{"maintenance":[]}`)
	}))
	defer guarded.Close()
	password := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(password, []byte("apple\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	site := filepath.Join(t.TempDir(), "site.toml")
	listen := strings.TrimPrefix(guarded.URL, "http://")
	if err := os.WriteFile(site, fmt.Appendf(nil, "[site]\nname = \"demo\"\n[daemon]\nlisten = %q\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R448A\"\n[[suction_group.compressor]]\nname = \"c1\"\n[[suction_group.circuit]]\nname = \"case-1\"\n", listen), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--url", guarded.URL}, 1, "a name and its password are needed; give --user and --password-file"},
		{[]string{"--url", guarded.URL, "--user", "anna", "--password-file", password}, 0, "no maintenance is on"},
		{[]string{"--config", site, "--user", "anna", "--password-file", password}, 0, "no maintenance is on"},
		{[]string{"--url", "127.0.0.1:9480"}, 2, "write it like http://127.0.0.1:9480"},
		{nil, 2, "give --config with its site file, or --url"},
		{[]string{"--url", "http://127.0.0.1:1"}, 1, "reach the daemon at http://127.0.0.1:1: "},
	} {
		var out, errs bytes.Buffer
		if code := run(t.Context(), append([]string{"maintenance", "list"}, tc.args...), console{Out: &out, Err: &errs}); code != tc.code || !strings.Contains(errs.String(), tc.want) {
			t.Errorf("%v: status %d, %s", tc.args, code, &errs)
		}
	}
}

// An acknowledgement is taken back under the name of who does it, by any clear
// part of the event's id.
func TestTakeBack(t *testing.T) {
	var asked string
	daemon := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			fmt.Fprintln(w, `{"id":"lt.c2-floodback-1"}`)
			fmt.Fprintln(w, `{"id":"lt.c1-floodback-1"}`)
			return
		}
		asked = r.Method + " " + r.URL.String()
		fmt.Fprint(w, `{"id":"lt.c2-floodback-1","acknowledged":null}`)
	}))
	defer daemon.Close()
	code, out, errs := called(t, "acknowledge", "--url", daemon.URL+"/", "--take-back", "--by", "anna", "lt.c2")
	if want := "DELETE /api/v1/events/lt.c2-floodback-1/acknowledge?by=anna"; code != 0 || asked != want || out != "lt.c2-floodback-1 is no longer acknowledged\n" {
		t.Errorf("%d %s%s; asked %q, want %q", code, out, errs, asked, want)
	}
	asked = ""
	if code, _, errs := called(t, "acknowledge", "--url", daemon.URL, "--take-back", "floodback-1"); code != 1 || asked != "" || !strings.Contains(errs, "2 events fit") {
		t.Errorf("%d %s; asked %q", code, errs, asked)
	}
}
