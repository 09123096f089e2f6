package notify

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"strings"
	"sync"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

// Times of alerts, as the documentation of Prometheus for clients asks for: an
// alert is sent again while it lasts, and ends by itself when that stops.
const (
	alertEvery = time.Minute
	alertLasts = 4 * time.Minute
	// endedFor is how long the end of an event is sent again: a receiver that was
	// restarted meanwhile must hear of it.
	endedFor = 15 * time.Minute
	// mostAlerts bounds a request.
	mostAlerts = 1000
)

// level tells an Alertmanager what is the case, each minute anew. It needs no
// cursor: what the other side missed is in the next request.
type level struct {
	set    *config.Notify
	words  words
	client *http.Client
	broken error
	now    func() time.Time
	again  chan struct{}

	sent   map[string]string // severity last sent of each open event
	worse  []ending          // severities that an event has left
	beat   time.Time
	failed int

	mu   sync.Mutex
	stat snapshot.Target
}

// ending is an alert of a severity that its event no longer has.
type ending struct {
	alert amAlert
	until time.Time
}

// amAlert is an alert of Alertmanager's API v2.
type amAlert struct {
	Labels       map[string]string `json:"labels"`
	Annotations  map[string]string `json:"annotations"`
	StartsAt     time.Time         `json:"startsAt"`
	EndsAt       time.Time         `json:"endsAt"`
	GeneratorURL string            `json:"generatorURL,omitempty"`
}

func (l *level) wake() {
	select {
	case l.again <- struct{}{}:
	default:
	}
}

func (l *level) status() snapshot.Target {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.stat
	s.Name, s.Kind, s.Address = l.set.Name, l.set.Kind.String(), l.set.Address()
	return s
}

func (l *level) taken() uint64 { return math.MaxUint64 }

func (l *level) run(ctx context.Context, journal Journal) {
	if l.broken != nil {
		l.mu.Lock()
		l.stat.Fault = l.broken.Error()
		l.mu.Unlock()
		<-ctx.Done()
		return
	}
	defer l.client.CloseIdleConnections()
	for {
		wait := alertEvery
		if !l.step(ctx, journal) {
			wait = min(alertEvery, firstBack<<min(l.failed, 6))
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		case <-l.again:
			// Further changes of the same row come with the same wake.
		}
	}
}

// step sends all that is the case and reports whether it was taken.
func (l *level) step(ctx context.Context, journal Journal) bool {
	alerts := l.alerts(journal)
	if len(alerts) == 0 {
		l.note(nil, 0)
		return true
	}
	limited, cancel := context.WithTimeout(ctx, sendLimit)
	defer cancel()
	err := l.post(limited, alerts)
	if ctx.Err() != nil {
		return true
	}
	l.note(err, len(alerts))
	return err == nil
}

func (l *level) note(err error, alerts int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := &l.stat
	if err == nil {
		l.failed = 0
		s.Fault, s.Waiting, s.Oldest = "", 0, time.Time{}
		if alerts > 0 {
			s.Told++
			s.Last = time.Now()
		}
		return
	}
	l.failed++
	s.Failures++
	s.Fault, s.Waiting = err.Error(), alerts
	if s.Oldest.IsZero() {
		s.Oldest = time.Now()
	}
}

func (l *level) post(ctx context.Context, alerts []amAlert) error {
	body, err := json.Marshal(alerts)
	if err != nil {
		return err
	}
	header := http.Header{"Content-Type": {"application/json"}}
	return post(ctx, l.client, l.set, strings.TrimRight(l.set.URL, "/")+"/api/v2/alerts", header, body)
}

// alerts returns what is the case: open events, the ends of those that ended
// lately, and a sign of life.
func (l *level) alerts(journal Journal) []amAlert {
	at, machine := l.now(), time.Now()
	var alerts []amAlert
	open := map[string]bool{}
	events := journal.Open()
	for _, ev := range journal.Events(at.Add(-endedFor), false) {
		if ev.Closed != nil && at.Sub(*ev.Closed) <= endedFor {
			events = append(events, ev)
		}
	}
	for _, ev := range events {
		if ev.Level() < l.set.Least || !concerns(l.set, &ev) || len(alerts) >= mostAlerts {
			continue
		}
		a := l.of(&ev)
		if ev.Closed != nil {
			a.EndsAt = ev.Closed.UTC()
			alerts = append(alerts, a)
			continue
		}
		open[ev.ID] = true
		if journal.Muted(ev.Group, ev.Compressor, at) {
			continue // ends by itself
		}
		if was := l.sent[ev.ID]; was != "" && was != ev.Severity {
			old := a
			old.Labels = map[string]string{}
			for k, v := range a.Labels {
				old.Labels[k] = v
			}
			old.Labels["severity"] = was
			old.EndsAt = machine.UTC()
			l.worse = append(l.worse, ending{old, machine.Add(endedFor)})
		}
		l.sent[ev.ID] = ev.Severity
		a.EndsAt = machine.Add(alertLasts).UTC()
		alerts = append(alerts, a)
	}
	for id := range l.sent {
		if !open[id] {
			delete(l.sent, id)
		}
	}
	kept := l.worse[:0]
	for _, e := range l.worse {
		if machine.Before(e.until) {
			kept = append(kept, e)
			alerts = append(alerts, e.alert)
		}
	}
	l.worse = kept
	if l.set.Beat > 0 {
		if l.beat.IsZero() {
			l.beat = machine.UTC()
		}
		alerts = append(alerts, amAlert{
			Labels:      map[string]string{"alertname": "DewgapWatches", "site": l.words.site, "severity": "none"},
			Annotations: map[string]string{"summary": "Site " + l.words.site + " is watched. This alert always fires; that it stops is the alarm."},
			StartsAt:    l.beat, EndsAt: machine.Add(alertLasts).UTC(),
		})
	}
	return alerts
}

// of returns the alert of an event, without its end. Labels only identify it; all
// that may change is in the annotations.
func (l *level) of(ev *alert.Event) amAlert {
	c := Change{What: "opened", Event: *ev}
	m := l.words.message([]Change{c}, nil)
	labels := map[string]string{
		"alertname": "Dewgap" + camel(ev.Kind), "site": ev.Site, "group": ev.Group, "kind": ev.Kind, "severity": ev.Severity, "event": ev.ID,
	}
	notes := map[string]string{"summary": m.Title, "description": m.Text}
	for name, value := range map[string]string{"compressor": ev.Compressor, "input": ev.Input} {
		if value != "" {
			labels[name] = value
		}
	}
	if len(ev.Circuits) > 0 {
		notes["circuit"] = ev.Circuits[0].Name
	}
	if len(ev.Causes) > 0 {
		notes["cause"] = ev.Causes[0].Cause
	}
	if a := ev.Acknowledged; a != nil {
		notes["acknowledged"] = a.By + ": " + a.Note
	}
	return amAlert{Labels: labels, Annotations: notes, StartsAt: ev.Opened.UTC(), GeneratorURL: m.Link}
}

// camel writes flooded_start as FloodedStart.
func camel(word string) string {
	var b strings.Builder
	for part := range strings.SplitSeq(word, "_") {
		b.WriteString(strings.ToUpper(part[:1]) + part[1:])
	}
	return b.String()
}

// test sends an alert that ends after a minute.
func (l *level) test(ctx context.Context, m *Message) error {
	now := time.Now().UTC()
	err := l.post(ctx, []amAlert{{
		Labels:      map[string]string{"alertname": "DewgapTest", "site": l.words.site, "severity": "none"},
		Annotations: map[string]string{"summary": m.Title, "description": m.Text},
		StartsAt:    now, EndsAt: now.Add(time.Minute),
	}})
	var f *failure
	if err != nil && !errors.As(err, &f) {
		return &failure{reason: err.Error()}
	}
	return err
}
