package notify

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/alert"
	"dewgap/config"
)

// taker is a target in memory.
type taker struct {
	mu     sync.Mutex
	taken  []Message
	answer func(m *Message) (err error, keep bool) // nil: takes all
	tries  int
}

func (r *taker) send(_ context.Context, m *Message) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.tries++
	if r.answer != nil {
		err, keep := r.answer(m)
		if keep {
			r.taken = append(r.taken, *m)
		}
		return err
	}
	r.taken = append(r.taken, *m)
	return nil
}

func (r *taker) close() {}

// answers makes the target answer err from now on; nil: it takes all.
func (r *taker) answers(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.answer = func(*Message) (error, bool) { return err, err == nil }
}

func (r *taker) attempts() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.tries
}

var down = &failure{reason: "connection refused", sure: true}

// said returns what was told, as "opened c1 minor + closed c2 minor", one a message.
func (r *taker) said() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	var all []string
	for _, m := range r.taken {
		var parts []string
		for _, c := range m.Changes {
			parts = append(parts, fmt.Sprintf("%s %s %s", c.What, c.Event.Compressor, c.Event.Severity))
		}
		if len(parts) == 0 {
			parts = []string{m.Type}
		}
		all = append(all, strings.Join(parts, " + "))
	}
	return all
}

// bench is a journal with one target, in the time of a synctest bubble.
type bench struct {
	t       *testing.T
	dir     string
	journal *alert.Journal
	set     config.Notify
	to      *taker
	stop    func()
	outbox  *Outbox
	open    map[string]*alert.Event
}

func newBench(t *testing.T, set config.Notify) *bench {
	t.Helper()
	dir := t.TempDir()
	journal, err := alert.OpenJournal(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := journal.Close(); err != nil {
			t.Error(err)
		}
	})
	set.Name, set.Kind, set.URL = "on-call", config.Webhook, "https://hooks.example/secret"
	if set.Least == 0 {
		set.Least = 2
	}
	if set.Quiet.Zone == nil {
		set.Quiet.Zone = time.UTC
	}
	return &bench{t: t, dir: dir, journal: journal, set: set, to: &taker{}, open: map[string]*alert.Event{}}
}

// start runs the outbox until halt.
func (b *bench) start() {
	w := words{site: "demo", page: "https://store.example", zone: time.UTC}
	s := Setting{Site: "demo", Dir: filepath.Join(b.dir, "notify"), Now: time.Now, Condition: func() string { return "well" }, Log: slog.New(slog.DiscardHandler)}
	b.outbox = newOutbox(&s, &b.set, w, b.to, nil)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { defer close(ended); b.outbox.run(ctx, b.journal) }()
	b.stop = func() { cancel(); <-ended }
	synctest.Wait()
}

// kill stops the outbox and leaves its file as it was before.
func (b *bench) kill() {
	path := filepath.Join(b.dir, "notify", cursorFile(b.set.Name))
	before, err := os.ReadFile(path)
	b.stop()
	if err == nil {
		err = os.WriteFile(path, before, 0o600)
	} else if os.IsNotExist(err) {
		err = os.RemoveAll(filepath.Join(b.dir, "notify"))
	}
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) commit(kind alert.ChangeKind, ev *alert.Event) {
	b.t.Helper()
	b.journal.Add(alert.Change{Kind: kind, At: time.Now().UTC(), Event: *ev})
	if err := b.journal.Commit(); err != nil {
		b.t.Fatal(err)
	}
	if taken := b.outbox.taken(); taken > 0 {
		b.journal.Keep(taken)
	}
	b.outbox.wake()
}

// opens opens an event of a compressor.
func (b *bench) opens(compressor, severity string, change ...func(*alert.Event)) {
	b.t.Helper()
	now := time.Now().UTC()
	ev := &alert.Event{
		ID: "mt." + compressor + "-floodback-" + now.Format("20060102T150405.999999999Z"), Kind: "floodback", Severity: severity,
		Site: "demo", Group: "mt", Compressor: compressor, Began: now.Add(-time.Minute), Opened: now, Phase: "steady",
		Circuits: []alert.Score{{Name: "island-" + compressor, Score: 0.8}}, Causes: []alert.Cause{{Cause: "expansion_valve_stuck_open", Score: 0.5}},
	}
	for _, c := range change {
		c(ev)
	}
	b.open[compressor] = ev
	b.commit(alert.Opened, ev)
}

func (b *bench) escalates(compressor string) {
	b.t.Helper()
	ev := b.open[compressor]
	ev.Severity, ev.Acknowledged = "major", nil
	b.commit(alert.Escalated, ev)
}

func (b *bench) closes(compressor string) {
	b.t.Helper()
	ev := b.open[compressor]
	now := time.Now().UTC()
	ev.Closed = &now
	delete(b.open, compressor)
	b.commit(alert.Closed, ev)
}

func (b *bench) acknowledges(compressor string) {
	b.t.Helper()
	ev := b.open[compressor]
	ev.Acknowledged = &alert.Acknowledgement{By: "anna", At: time.Now().UTC()}
	b.commit(alert.Acknowledged, ev)
}

// pass lets time go by.
func pass(d time.Duration) { time.Sleep(d); synctest.Wait() }

// TestWhatIsTold plays days and looks at the messages.
func TestWhatIsTold(t *testing.T) {
	for _, c := range []struct {
		name string
		set  config.Notify
		play func(b *bench)
		want []string
	}{
		{"an event from begin to end", config.Notify{}, func(b *bench) {
			b.opens("c1", "minor")
			pass(2 * time.Minute)
			b.escalates("c1")
			pass(2 * time.Minute)
			b.closes("c1")
			pass(2 * time.Minute)
		}, []string{"opened c1 minor", "escalated c1 major", "closed c1 major"}},
		{"below the severity until it escalates", config.Notify{Least: 3}, func(b *bench) {
			b.opens("c1", "minor")
			b.opens("c2", "minor")
			pass(10 * time.Minute)
			b.escalates("c1")
			b.closes("c2")
			pass(2 * time.Minute)
		}, []string{"opened c1 major"}},
		{"only its groups and kinds", config.Notify{Groups: []string{"mt"}, Kinds: []string{"floodback"}}, func(b *bench) {
			b.opens("c1", "minor", func(ev *alert.Event) { ev.Group = "lt" })
			b.opens("c2", "warning", func(ev *alert.Event) { ev.Kind = "hunting" })
			b.opens("c3", "minor")
			pass(2 * time.Minute)
		}, []string{"opened c3 minor"}},
		{"a delay passes over what is short", config.Notify{Delay: 5 * time.Minute}, func(b *bench) {
			b.opens("c1", "minor")
			b.opens("c2", "minor")
			pass(4 * time.Minute)
			b.closes("c1")
			pass(time.Hour)
			b.closes("c2")
			pass(2 * time.Minute)
		}, []string{"opened c2 minor", "closed c2 minor"}},
		{"a second target hears what nobody acknowledged", config.Notify{Unheeded: 15 * time.Minute}, func(b *bench) {
			b.opens("c1", "minor")
			b.opens("c2", "minor")
			pass(time.Minute)
			b.acknowledges("c1")
			pass(time.Hour)
			b.escalates("c1") // which ends the acknowledgement
			pass(14 * time.Minute)
			if n := len(b.to.said()); n != 1 {
				b.t.Errorf("told %d times before its time", n)
			}
			pass(2 * time.Minute)
		}, []string{"opened c2 minor", "opened c1 major"}},
		{"repeated until somebody acknowledges", config.Notify{Repeat: 4 * time.Hour}, func(b *bench) {
			b.opens("c1", "minor")
			pass(9 * time.Hour)
			b.acknowledges("c1")
			pass(9 * time.Hour)
		}, []string{"opened c1 minor", "repeated c1 minor", "repeated c1 minor"}},
		// The bubble begins at midnight.
		{"quiet hours keep what is not major", config.Notify{Quiet: config.Quiet{From: 22 * time.Hour, To: 6 * time.Hour}}, func(b *bench) {
			b.opens("c1", "minor")
			b.opens("c2", "minor")
			b.opens("c3", "major")
			pass(time.Hour)
			b.closes("c2")
			pass(4*time.Hour + 59*time.Minute)
			if said := b.to.said(); len(said) != 1 {
				b.t.Error("in the night:", said)
			}
			pass(2 * time.Minute)
		}, []string{"opened c3 major", "opened c1 minor", "missed c2 minor"}},
		{"signs of life", config.Notify{Beat: 24 * time.Hour}, func(b *bench) {
			pass(49 * time.Hour)
		}, []string{"heartbeat", "heartbeat"}},
		{"a silent source is one message", config.Notify{}, func(b *bench) {
			for i := range 10 {
				b.opens(fmt.Sprintf("c%d", i), "warning", func(ev *alert.Event) { ev.Kind, ev.Input = "no_data", "mt.x" })
			}
			pass(5 * time.Minute)
		}, []string{"opened c0 warning + opened c1 warning + opened c2 warning + opened c3 warning + opened c4 warning + opened c5 warning + opened c6 warning + opened c7 warning + opened c8 warning + opened c9 warning"}},
		{"a defrost of many: the first at once, the others together", config.Notify{}, func(b *bench) {
			for i := range 5 {
				b.opens(fmt.Sprintf("c%d", i), "minor", func(ev *alert.Event) { ev.Phase = "pulldown" })
				pass(8 * time.Second)
			}
			pass(5 * time.Minute)
		}, []string{"opened c0 minor", "opened c1 minor + opened c2 minor + opened c3 minor + opened c4 minor"}},
		{"what is major does not wait for others", config.Notify{}, func(b *bench) {
			b.opens("c0", "minor", func(ev *alert.Event) { ev.Phase = "pulldown" })
			pass(8 * time.Second)
			b.opens("c1", "major", func(ev *alert.Event) { ev.Phase = "pulldown" })
			pass(2 * time.Second)
		}, []string{"opened c0 minor", "opened c1 major"}},
		{"a target of today does not hear of yesterday", config.Notify{}, func(b *bench) {
			b.opens("c1", "minor")
			pass(2 * time.Minute)
			b.stop()
			b.closes("c1")
			b.opens("c2", "minor")
			if err := os.RemoveAll(filepath.Join(b.dir, "notify")); err != nil {
				b.t.Fatal(err)
			}
			pass(time.Minute)
			b.start()
			pass(2 * time.Minute)
		}, []string{"opened c1 minor", "opened c2 minor"}},
		{"withdrawn", config.Notify{}, func(b *bench) {
			b.opens("c1", "minor")
			pass(2 * time.Minute)
			ev := b.open["c1"]
			now := time.Now().UTC()
			ev.Closed, ev.Severity = &now, "minor"
			b.commit(alert.Withdrawn, ev)
			pass(2 * time.Minute)
		}, []string{"opened c1 minor", "withdrawn c1 minor"}},
		{"maintenance mutes what begins under it and lets ends through", config.Notify{}, func(b *bench) {
			b.opens("c1", "minor")
			pass(2 * time.Minute)
			b.journal.SetMaintenance(alert.Maintenance{Group: "mt", From: time.Now(), Until: time.Now().Add(time.Hour), By: "anna", Note: "drier"})
			b.opens("c2", "minor") // ends under it: never told
			b.opens("c3", "minor") // outlasts it: told then
			pass(10 * time.Minute)
			b.closes("c1")
			b.closes("c2")
			pass(2 * time.Hour)
		}, []string{"opened c1 minor", "closed c1 minor", "opened c3 minor"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, c.set)
				b.start()
				c.play(b)
				b.stop()
				if got := b.to.said(); !slices.Equal(got, c.want) {
					t.Errorf("told:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(c.want, "\n"))
				}
			})
		})
	}
}

// TestSoonTold: a target has an event two seconds after it is on the disk.
func TestSoonTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{})
		b.start()
		pass(10*time.Second + 700*time.Millisecond)
		b.opens("c1", "minor")
		pass(1100 * time.Millisecond)
		b.stop()
		if said := b.to.said(); len(said) != 1 {
			t.Error("told after 1.1 s:", said)
		}
	})
}

// TestOutageAndKills: a receiver is away for a day, in changing ways, and the
// daemon is killed fifty times meanwhile. Afterwards the receiver knows how each
// event ended, in order, each message once per id.
func TestOutageAndKills(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := rand.New(rand.NewPCG(1, 2))
		b := newBench(t, config.Notify{})
		begin := time.Now()
		answers := rand.New(rand.NewPCG(3, 4)) // for another goroutine
		away := func() bool { at := time.Since(begin); return at > 2*time.Hour && at < 26*time.Hour }
		b.to.answer = func(*Message) (error, bool) {
			if !away() {
				return nil, true
			}
			switch answers.IntN(4) {
			case 0:
				return &failure{reason: "connection refused", sure: true}, false
			case 1:
				return &failure{reason: "no answer"}, false
			case 2:
				return &failure{reason: "503", sure: true, after: 30 * time.Second}, false
			default: // it was taken, and the answer was lost: rarely
				return &failure{reason: "no answer"}, answers.IntN(10) == 0
			}
		}
		b.start()
		kills, opened, last := 0, map[string]bool{}, map[string]string{}
		for time.Since(begin) < 28*time.Hour {
			pass(time.Duration(1+r.IntN(600)) * time.Second)
			name := fmt.Sprintf("c%d", r.IntN(8))
			ev := b.open[name]
			switch {
			case ev == nil:
				b.opens(name, "minor")
				opened[b.open[name].ID], last[b.open[name].ID] = true, "opened"
			case ev.Severity == "minor" && r.IntN(3) == 0:
				b.escalates(name)
				last[ev.ID] = "escalated"
			default:
				b.closes(name)
				last[ev.ID] = "closed"
			}
			if kills < 50 && away() && r.IntN(3) == 0 {
				b.kill()
				b.start()
				kills++
			}
		}
		pass(3 * time.Hour)
		b.stop()
		if kills != 50 {
			t.Fatal("killed", kills, "times")
		}
		known, seen, again, messages := map[string]string{}, map[string]bool{}, 0, 0
		number := map[string]uint64{}
		for _, m := range b.to.taken {
			if seen[m.ID] {
				again++
				continue // the receiver knows the id
			}
			seen[m.ID] = true
			messages++
			for _, c := range m.Changes {
				was := known[c.Event.ID]
				right := was == "" && (c.What == "opened" || c.What == missed) || was != "" && was != "closed" && was != missed && (c.What == "escalated" || c.What == "closed")
				if c.What == repeated {
					right = was == "opened" || was == "escalated"
				}
				if !right || c.Number < number[c.Event.ID] {
					t.Errorf("%s: %s %d after %q %d", c.Event.ID, c.What, c.Number, was, number[c.Event.ID])
				}
				if c.What != repeated {
					known[c.Event.ID], number[c.Event.ID] = c.What, c.Number
				}
			}
		}
		for id := range opened {
			open := last[id] != "closed"
			if got := known[id]; got == "" || open != (got == "opened" || got == "escalated") {
				t.Errorf("%s: the journal ends with %s, the receiver with %q", id, last[id], got)
			}
		}
		t.Logf("%d events, %d attempts, %d messages, %d of them twice with the same id, %d kills", len(opened), b.to.tries, messages, again, kills)
		if len(opened) < 100 || b.to.tries < 30 || again == 0 {
			t.Error("too little happened")
		}
	})
}

// TestLongGone: what ended waits for three days; what is open is told however
// long it took; what is let go is counted.
func TestLongGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{})
		b.to.answers(down)
		b.start()
		b.opens("c1", "minor")
		b.opens("c2", "minor")
		pass(time.Hour)
		b.closes("c1")
		pass(80 * time.Hour)
		b.opens("c3", "minor")
		pass(time.Hour)
		b.closes("c3")
		b.to.answers(nil)
		pass(2 * time.Hour)
		b.stop()
		if got, want := b.to.said(), []string{"opened c2 minor", "missed c3 minor"}; !slices.Equal(got, want) {
			t.Error("told", got, "want", want)
		}
		given := 0
		for _, m := range b.to.taken {
			if m.Given != nil {
				given += m.Given.Count
			}
		}
		if given != 1 || !strings.Contains(b.to.taken[0].Text, "1 further changes") {
			t.Error("given up:", given, b.to.taken[0].Text)
		}
	})
}

// TestRefusals: a message that is refused is parked and holds nothing up; one that
// answers "gone" ends it until the configuration changes.
func TestRefusals(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{})
		b.start()
		b.to.answers(&failure{reason: "404 Not Found", verdict: refused})
		b.opens("c1", "minor")
		pass(time.Hour)
		if s := b.outbox.status(); s.Parked != 1 || s.Waiting != 0 || !strings.Contains(s.Fault, "404") || b.to.attempts() != 1 {
			t.Errorf("refused: %+v after %d attempts", s, b.to.attempts())
		}
		b.to.answers(nil)
		b.opens("c2", "minor")
		pass(time.Minute)
		b.to.answers(&failure{reason: "410 Gone", verdict: gone})
		b.opens("c3", "minor")
		pass(time.Minute)
		b.kill()
		b.start()
		b.to.answers(nil)
		b.opens("c4", "minor")
		pass(24 * time.Hour)
		if s := b.outbox.status(); !s.Off || s.Waiting != 2 {
			t.Errorf("gone: %+v", s)
		}
		if got, want := b.to.said(), []string{"opened c2 minor"}; !slices.Equal(got, want) {
			t.Error("told", got, "want", want)
		}
		b.stop()
		b.set.URL = "https://hooks.example/other"
		b.start()
		pass(5 * time.Minute)
		b.stop()
		if got, want := b.to.said(), []string{"opened c2 minor", "opened c1 minor", "opened c3 minor", "opened c4 minor"}; !slices.Equal(got, want) {
			t.Error("told", got, "want", want)
		}
	})
}

// TestNewsCutsTheWaitShort: after a night of failures a new event is tried within
// a minute, and not after the hour that the wait has grown to.
func TestNewsCutsTheWaitShort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{})
		b.to.answers(down)
		b.start()
		b.opens("c1", "minor")
		pass(12 * time.Hour)
		tries := b.to.attempts()
		if tries < 18 || tries > 30 { // 1 s, 2 s … 1 h, then each hour
			t.Error(tries, "attempts in 12 h")
		}
		b.to.answers(nil)
		b.opens("c2", "major")
		pass(62 * time.Second)
		b.stop()
		if said := b.to.said(); len(said) == 0 || said[0] != "opened c1 minor" && said[0] != "opened c2 major" {
			t.Error("told after a minute:", said)
		}
	})
}

// TestManyWait: however many events a target misses, the memory and the file stay
// small; what is let go is counted, and each of the others is told.
func TestManyWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, config.Notify{})
		b.to.answers(down)
		b.start()
		const events = mostPending + 200
		for range events {
			b.opens("c1", "minor")
			pass(300 * time.Millisecond)
			b.closes("c1")
			pass(300 * time.Millisecond)
		}
		b.opens("c2", "minor")
		if n := b.outbox.status().Waiting; n > mostPending+1 || n < mostPending {
			t.Error(n, "events wait")
		}
		b.to.answers(nil)
		pass(2 * time.Hour)
		b.stop()
		told, given := map[string]bool{}, 0
		for _, m := range b.to.taken {
			if len(m.Changes) > mostChanges {
				t.Error(len(m.Changes), "changes in a message")
			}
			for _, c := range m.Changes {
				if told[c.Event.ID] && c.What != repeated {
					t.Error("twice:", c.What, c.Event.ID)
				}
				told[c.Event.ID] = true
			}
			if m.Given != nil {
				given += m.Given.Count
			}
		}
		if len(told)+given != events+1 || given < 200 || given > 202 {
			t.Errorf("%d told, %d given up of %d", len(told), given, events+1)
		}
	})
}
