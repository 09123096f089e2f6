package notify

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/emersion/go-smtp"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/collector/mqtt"
	"dewgap/config"
	"dewgap/simulators/devices"
)

// flood is a message about one event.
func flood(w words, what string) *Message {
	at := time.Date(2026, 3, 1, 2, 41, 0, 0, time.UTC)
	lowest := 0.3
	ev := alert.Event{
		ID: "mt.c2-floodback-20260301T024100.5Z", Kind: "floodback", Severity: "major", Site: "demo", Group: "mt", Compressor: "c2",
		Began: at.Add(-time.Minute), Opened: at, Phase: "pulldown", MinSuperheatK: &lowest,
		Circuits: []alert.Score{{Name: "island-2", Score: 0.8}}, Causes: []alert.Cause{{Cause: "expansion_valve_stuck_open", Score: 0.5}},
		Evidence: []evidence.Item{evidence.New(evidence.JournalAnew)},
	}
	if what == "closed" || what == missed {
		end := at.Add(9 * time.Minute)
		ev.Closed = &end
	}
	return w.message([]Change{{What: what, Number: 17, At: at, Event: ev}}, nil)
}

func testWords() words {
	return words{site: "demo", page: "https://store.example:9480", zone: time.UTC}
}

// TestWords: what a person on the way reads first is in the message, and the
// checks are two taps away at most: one on the message, one on its link.
func TestWords(t *testing.T) {
	w := testWords()
	opened := flood(w, "opened")
	for _, part := range []string{"Sun 1 Mar 02:41", "Lowest superheat: 0.3 K", "Likely circuit: island-2 (80 %)", "Likely cause:", "Check 1: ", "Check 3: ", "lock out", "https://store.example:9480/events/mt.c2-floodback-20260301T024100.5Z"} {
		if !strings.Contains(opened.Text, part) {
			t.Errorf("no %q in:\n%s", part, opened.Text)
		}
	}
	if opened.Title != "Floodback, major, at compressor c2 of group mt, site demo" || opened.Type != "event.opened" || opened.Severity != "major" {
		t.Errorf("title %q, type %s, severity %s", opened.Title, opened.Type, opened.Severity)
	}
	closed := flood(w, "closed")
	if !strings.HasPrefix(closed.Title, "Over: ") || !strings.Contains(closed.Text, "Was open from Sun 1 Mar 02:41 to Sun 1 Mar 02:50, 9 min.") || strings.Contains(closed.Text, "Check 1") {
		t.Errorf("closed: %s\n%s", closed.Title, closed.Text)
	}
	if strings.Contains(opened.ID, ".") || opened.ID != flood(w, "opened").ID {
		t.Error("id", opened.ID)
	}
	several := w.message([]Change{opened.Changes[0], closed.Changes[0]}, nil)
	if several.Type != "events" || !strings.HasPrefix(several.Title, "2 changes of events at site demo") || strings.Count(several.Text, "\n- ") != 1 {
		t.Errorf("several: %s %s\n%s", several.Type, several.Title, several.Text)
	}
	unreachable := w
	unreachable.page = ""
	if m := flood(unreachable, "opened"); m.Link != "" || strings.Contains(m.Text, "http") {
		t.Error("a link without a page:", m.Text)
	}
}

// TestWebhook checks the request by the reference library of Standard Webhooks,
// and what is made of each answer. Statuses: RFC 9110.
func TestWebhook(t *testing.T) {
	key := []byte("0123456789abcdef0123456789abcdef")
	old := []byte("fedcba9876543210fedcba9876543210")
	hook, err := standardwebhooks.NewWebhook("whsec_" + base64.StdEncoding.EncodeToString(old))
	if err != nil {
		t.Fatal(err)
	}
	var status int
	var header http.Header
	var body []byte
	reply := http.Header{}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header = r.Header
		body, _ = io.ReadAll(r.Body)
		for k, v := range reply {
			w.Header()[k] = v
		}
		w.WriteHeader(status)
		fmt.Fprint(w, "said\nthe receiver")
	}))
	defer server.Close()
	set := config.Notify{Name: "on-call", Kind: config.Webhook, URL: server.URL + "/secret-path", Username: "demo", Password: "hidden-word",
		Secret: []mqtt.Secret{mqtt.Secret(key), mqtt.Secret(old)}, Headers: http.Header{"Priority": {"high"}}}
	sender, err := newWebhook(&set)
	if err != nil {
		t.Fatal(err)
	}
	defer sender.close()
	m := flood(testWords(), "opened")

	status = 204
	if err := sender.send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if err := hook.Verify(body, header); err != nil {
		t.Error("signature by the older key:", err)
	}
	user, password, _ := (&http.Request{Header: header}).BasicAuth()
	if header.Get("Priority") != "high" || header.Get("Content-Type") != "application/json" || user != "demo" || password != "hidden-word" || header.Get("Webhook-Id") != m.ID {
		t.Errorf("header %v", header)
	}
	var got Message
	if err := json.Unmarshal(body, &got); err != nil || got.Changes[0].Event.ID != m.Changes[0].Event.ID || got.Changes[0].What != "opened" || got.Changes[0].Number != 17 {
		t.Errorf("body %s: %v", body, err)
	}

	for _, c := range []struct {
		status  int
		reply   http.Header
		verdict verdict
		sure    bool
		after   time.Duration
		reason  string
	}{
		{410, nil, gone, false, 0, "410 Gone: said the receiver"},
		{404, nil, refused, false, 0, "404 Not Found"},
		{401, nil, refused, false, 0, "401"},
		{301, http.Header{"Location": {server.URL + "/other"}}, refused, false, 0, "redirects are not followed"},
		{408, nil, retry, false, 0, "408"},
		{429, http.Header{"Retry-After": {"120"}}, retry, true, 2 * time.Minute, "429"},
		{503, http.Header{"Retry-After": {"soon"}}, retry, true, 0, "503"},
		{500, nil, retry, false, 0, "500"},
	} {
		status, reply = c.status, c.reply
		err := sender.send(t.Context(), m)
		var f *failure
		if !errors.As(err, &f) || f.verdict != c.verdict || f.sure != c.sure || f.after != c.after || !strings.Contains(f.reason, c.reason) {
			t.Errorf("%d: %#v", c.status, err)
		}
		if strings.Contains(err.Error(), "secret-path") || strings.Contains(err.Error(), "hidden-word") {
			t.Errorf("%d: the error shows a secret: %v", c.status, err)
		}
	}
	server.Close()
	sender.close() // the connection that is kept
	var f *failure
	if err := sender.send(t.Context(), m); !errors.As(err, &f) || !f.sure || f.verdict != retry || strings.Contains(err.Error(), "secret-path") {
		t.Errorf("nobody listens: %#v", err)
	}
}

// TestWebhookThatHangs: an answer that does not come ends the attempt, and leaves
// open whether the message was taken.
func TestWebhookThatHangs(t *testing.T) {
	held := make(chan struct{})
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // a server hears of the end of a request that it has read
		close(held)
		<-r.Context().Done()
	}))
	defer server.Close()
	sender, err := newWebhook(&config.Notify{Kind: config.Webhook, URL: server.URL})
	if err != nil {
		t.Fatal(err)
	}
	defer sender.close()
	ctx, cancel := context.WithCancel(t.Context())
	go func() { <-held; cancel() }()
	var f *failure
	if err := sender.send(ctx, flood(testWords(), "opened")); !errors.As(err, &f) || f.sure || f.verdict != retry {
		t.Errorf("%#v", err)
	}
}

// TestOwnBody: a body of the receiver's form, and one that does not end.
func TestOwnBody(t *testing.T) {
	for _, c := range []struct{ template, want string }{
		{"{{.Title}} ({{.Severity}}) {{.Link}}", "Floodback, major, at compressor c2 of group mt, site demo (major) https://store.example:9480/events/mt.c2-floodback-20260301T024100.5Z"},
		{`{"text":{{json .Title}},"id":{{json .ID}}}`, `{"text":"Floodback, major, at compressor c2 of group mt, site demo","id":"mt_c2-floodback-20260301T024100_5Z-17"}`},
		{"{{range 100000}}{{$.Text}}{{end}}", ""},
	} {
		body, err := config.MessageTemplate(strings.Replace(c.template, "100000", "0", 1))
		if err != nil {
			t.Fatal(err)
		}
		if c.want == "" {
			if _, err = body.Parse(c.template); err != nil {
				t.Fatal(err)
			}
		}
		h := &webhook{set: &config.Notify{Body: body, ContentType: "text/plain"}}
		got, _, err := h.body(flood(testWords(), "opened"))
		if c.want == "" {
			if err == nil || len(got) > mostBody {
				t.Errorf("%d bytes: %v", len(got), err)
			}
			continue
		}
		if err != nil || string(got) != c.want {
			t.Errorf("%s: %s %v", c.template, got, err)
		}
	}
}

// inbox is an SMTP server.
type inbox struct {
	mu      sync.Mutex
	letters []string
	rcpt    error
}

func (b *inbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{inbox: b}, nil }

type delivery struct{ inbox *inbox }

func (*delivery) Reset()                                 {}
func (*delivery) Logout() error                          { return nil }
func (*delivery) Mail(string, *smtp.MailOptions) error   { return nil }
func (d *delivery) Rcpt(string, *smtp.RcptOptions) error { return d.inbox.rcpt }
func (d *delivery) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	d.inbox.mu.Lock()
	defer d.inbox.mu.Unlock()
	d.inbox.letters = append(d.inbox.letters, string(text))
	return err
}

// TestMail sends through a server of another make.
func TestMail(t *testing.T) {
	to := &inbox{}
	server := smtp.NewServer(to)
	server.Domain = "localhost"
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = server.Serve(listen) }() // ends with the server
	defer server.Close()
	set := config.Notify{Name: "post", Kind: config.Mail, URL: "smtp://" + listen.Addr().String(), From: "dewgap@store-17.example", To: []string{"anna@service.example"}}
	sender, err := newPost(&set)
	if err != nil {
		t.Fatal(err)
	}
	m := flood(testWords(), "opened")
	if err := sender.send(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	letter, err := mail.ReadMessage(strings.NewReader(to.letters[0]))
	if err != nil {
		t.Fatal(err)
	}
	if letter.Header.Get("Message-Id") != "<"+m.ID+"@store-17.example>" || letter.Header.Get("Auto-Submitted") != "auto-generated" || !strings.Contains(letter.Header.Get("Subject"), "Floodback, major") {
		t.Errorf("header %v", letter.Header)
	}
	for _, c := range []struct {
		rcpt    error
		verdict verdict
	}{
		{&smtp.SMTPError{Code: 550, Message: "no such user"}, refused},
		{&smtp.SMTPError{Code: 451, Message: "try later"}, retry},
	} {
		to.rcpt = c.rcpt
		var f *failure
		if err := sender.send(t.Context(), m); !errors.As(err, &f) || f.verdict != c.verdict || !f.sure {
			t.Errorf("%v: %#v", c.rcpt, err)
		}
	}
	server.Close()
	var f *failure
	if err := sender.send(t.Context(), m); !errors.As(err, &f) || f.verdict != retry || !f.sure {
		t.Errorf("nobody listens: %#v", err)
	}
	// Beyond this machine a server without TLS gets nothing.
	outside := set
	outside.URL = "smtp://mail.example:587"
	s, err := newPost(&outside)
	if err != nil || len(s.(*letterbox).options) == 0 {
		t.Error(err)
	}
}

// published is what a broker was told.
type published struct {
	mu       sync.Mutex
	messages []string // TOPIC or TOPIC (retained), and the payload's length where it is JSON
}

func (p *published) has(t *testing.T, want string) {
	t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	for time.Now().Before(deadline) {
		p.mu.Lock()
		for _, m := range p.messages {
			if strings.HasPrefix(m, want) {
				p.mu.Unlock()
				return
			}
		}
		p.mu.Unlock()
		time.Sleep(10 * time.Millisecond) // a broker answers when it answers
	}
	t.Errorf("no %q among %q", want, p.messages)
}

// watch subscribes at a broker as anybody may.
func watch(t *testing.T, address, id string) *published {
	t.Helper()
	p := &published{}
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID(id))
	if token := c.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatal("connect:", token.Error())
	}
	t.Cleanup(func() { c.Disconnect(0) })
	token := c.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		p.mu.Lock()
		defer p.mu.Unlock()
		text := m.Topic()
		if m.Retained() {
			text += " (retained)"
		}
		p.messages = append(p.messages, text+" "+string(m.Payload()))
	})
	if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatal("subscribe:", token.Error())
	}
	return p
}

// checkUplink tells an event from begin to end at a broker.
func checkUplink(t *testing.T, address string) {
	set := config.Notify{Name: "uplink", Kind: config.MQTT, URL: "tcp://" + address, Prefix: "dewgap/demo", Discovery: "homes", ClientID: "dewgap-demo-messages"}
	sender, err := newUplink(&set, testWords(), false)
	if err != nil {
		t.Fatal(err)
	}
	all := watch(t, address, "somebody")
	if err := sender.send(t.Context(), flood(testWords(), "opened")); err != nil {
		t.Fatal(err)
	}
	const id = "mt.c2-floodback-20260301T024100.5Z"
	all.has(t, "dewgap/demo/status online")
	all.has(t, "homes/device/dewgap-demo/config {")
	all.has(t, "dewgap/demo/event/"+id+` {"change":"opened","number":17,`)
	all.has(t, "dewgap/demo/open/"+id+" {")
	late := watch(t, address, "somebody-late")
	late.has(t, "dewgap/demo/status (retained) online")
	late.has(t, "dewgap/demo/open/"+id+" (retained) {")
	if err := sender.send(t.Context(), flood(testWords(), "closed")); err != nil {
		t.Fatal(err)
	}
	all.has(t, "dewgap/demo/event/"+id+` {"change":"closed",`)
	sender.close()
	all.has(t, "dewgap/demo/status offline")
	later := watch(t, address, "somebody-later")
	later.has(t, "dewgap/demo/status (retained) offline")
	later.mu.Lock()
	defer later.mu.Unlock()
	for _, m := range later.messages {
		if strings.Contains(m, "/open/") {
			t.Error("an event that has ended is still retained:", m)
		}
	}
}

func TestUplink(t *testing.T) {
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := broker.Stop(); err != nil {
			t.Error(err)
		}
	}()
	checkUplink(t, broker.Address())
}

// TestUplinkWithoutBroker: nothing is lost while there is none.
func TestUplinkWithoutBroker(t *testing.T) {
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	listen.Close()
	sender, err := newUplink(&config.Notify{Kind: config.MQTT, URL: "tcp://" + listen.Addr().String(), Prefix: "dewgap/demo", ClientID: "x"}, testWords(), false)
	if err != nil {
		t.Fatal(err)
	}
	defer sender.close()
	var f *failure
	if err := sender.send(t.Context(), flood(testWords(), "opened")); !errors.As(err, &f) || f.verdict != retry || !f.sure {
		t.Errorf("%#v", err)
	}
}

// TestLevel plays an event at an Alertmanager: sent again each minute with an end
// four minutes ahead, escalation in one request, the end sent again for a quarter
// of an hour, silence under maintenance.
func TestLevel(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{Beat: time.Hour})
		b.set.Kind = config.Alertmanager
		b.outbox = &Outbox{again: make(chan struct{}, 1)}
		var mu sync.Mutex
		var requests [][]amAlert
		l := &level{set: &b.set, words: testWords(), now: time.Now, sent: map[string]string{}, again: b.outbox.again,
			client: &http.Client{Transport: roundTrip(func(r *http.Request) (*http.Response, error) {
				var alerts []amAlert
				if err := json.NewDecoder(r.Body).Decode(&alerts); err != nil || r.URL.Path != "/secret/api/v2/alerts" {
					t.Error(r.URL.Path, err)
				}
				mu.Lock()
				requests = append(requests, alerts)
				mu.Unlock()
				return &http.Response{StatusCode: 200, Body: http.NoBody, Request: r}, nil
			})}}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() { defer close(ended); l.run(ctx, b.journal) }()
		latest := func() map[string]time.Duration { // alerts with the time that they last
			mu.Lock()
			defer mu.Unlock()
			all := map[string]time.Duration{}
			for _, a := range requests[len(requests)-1] {
				all[a.Labels["alertname"]+" "+a.Labels["compressor"]+" "+a.Labels["severity"]] = time.Until(a.EndsAt)
			}
			return all
		}
		want := func(step string, want map[string]time.Duration) {
			t.Helper()
			synctest.Wait()
			got := latest()
			for name, lasts := range want {
				if left, ok := got[name]; !ok || (left-lasts).Abs() > time.Second {
					t.Errorf("%s: %s lasts %v, want %v", step, name, left, lasts)
				}
			}
			if len(got) != len(want) {
				t.Errorf("%s: %v", step, got)
			}
		}
		beat := "DewgapWatches  none"
		synctest.Wait()
		b.opens("c1", "minor")
		want("opened", map[string]time.Duration{"DewgapFloodback c1 minor": 4 * time.Minute, beat: 4 * time.Minute})
		pass(time.Minute)
		want("a minute later", map[string]time.Duration{"DewgapFloodback c1 minor": 4 * time.Minute, beat: 4 * time.Minute})
		b.escalates("c1")
		want("escalated", map[string]time.Duration{"DewgapFloodback c1 minor": 0, "DewgapFloodback c1 major": 4 * time.Minute, beat: 4 * time.Minute})
		b.journal.SetMaintenance(alert.Maintenance{Group: "mt", From: time.Now(), Until: time.Now().Add(time.Minute), By: "anna", Note: "drier"})
		pass(20 * time.Second)
		b.outbox.wake()
		want("maintenance", map[string]time.Duration{"DewgapFloodback c1 minor": -20 * time.Second, beat: 4 * time.Minute})
		pass(time.Minute)
		b.closes("c1")
		want("closed", map[string]time.Duration{"DewgapFloodback c1 minor": -80 * time.Second, "DewgapFloodback c1 major": 0, beat: 4 * time.Minute})
		pass(14 * time.Minute)
		want("closed for 14 min", map[string]time.Duration{"DewgapFloodback c1 major": -14 * time.Minute, beat: 4 * time.Minute})
		pass(2 * time.Minute)
		want("long over", map[string]time.Duration{beat: 4 * time.Minute})
		cancel()
		<-ended
		if n := len(requests); n > 30 {
			t.Error(n, "requests in 20 min")
		}
	})
}

type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }
