// Package notify tells targets of events: it follows the journal with a cursor
// for each target and hands messages over at least once, in order for an event.
// No target delays the journal, the analysis or another target.
//
// It may import alert, the words of events, config, and the libraries that
// speak to targets. It must never import collector: what is told goes out by
// clients of its own.
package notify

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

// Journal is what is followed.
type Journal interface {
	After(number uint64, most int) (entries []alert.Entry, oldest uint64)
	Events(since time.Time, onlyOpen bool) []alert.Event
	Open() []alert.Event
	AllMaintenance() []alert.Maintenance
	Muted(group, compressor string, at time.Time) bool
	Last() uint64
}

// Setting is what a Notifier runs with.
type Setting struct {
	Site     string
	Targets  []config.Notify
	Dir      string           // of the cursors
	Page     string           // address of the page as people reach it; empty: no links
	Now      func() time.Time // of the events' clock
	Renderer evidence.Renderer
	// Condition describes in a line or two how the watching goes, for signs of life.
	Condition func() string
	Log       *slog.Logger
}

// target is one way out.
type target interface {
	run(ctx context.Context, journal Journal)
	wake()
	status() snapshot.Target
	taken() uint64 // number of the journal up to which it needs nothing; math.MaxUint64: it needs none
}

// Notifier tells all targets of a configuration.
type Notifier struct {
	targets []target
	log     *slog.Logger

	mu     sync.Mutex
	faults map[string]string // the last text logged of each target
}

// New prepares the targets; it connects to nothing. A target that cannot be
// prepared is a fault in its Status.
func New(s Setting) *Notifier {
	n := &Notifier{log: s.Log, faults: map[string]string{}}
	for i := range s.Targets {
		n.targets = append(n.targets, open(&s, &s.Targets[i]))
	}
	return n
}

func open(s *Setting, t *config.Notify) target {
	words := words{site: s.Site, page: s.Page, zone: t.Quiet.Zone, renderer: s.Renderer}
	if t.Kind == config.Alertmanager {
		client, err := newClient(t)
		return &level{set: t, words: words, client: client, broken: err, now: s.Now, sent: map[string]string{}, again: make(chan struct{}, 1)}
	}
	sender, err := newSender(t, words, false)
	return newOutbox(s, t, words, sender, err)
}

// Run tells until ctx ends. It never fails: what a target does is in its Status.
func (n *Notifier) Run(ctx context.Context, journal Journal) error {
	var group errgroup.Group
	for _, t := range n.targets {
		group.Go(func() error { t.run(ctx, journal); return nil })
	}
	return group.Wait()
}

// Wake makes all targets look at the journal now.
func (n *Notifier) Wake() {
	for _, t := range n.targets {
		t.wake()
	}
}

// Taken returns the number of the journal up to which all targets have taken its
// changes, for Journal.Keep; false where no target needs any.
func (n *Notifier) Taken() (uint64, bool) {
	least := uint64(math.MaxUint64)
	for _, t := range n.targets {
		least = min(least, t.taken())
	}
	return least, least != math.MaxUint64
}

// Status returns the targets, in the order of the configuration, and logs what
// has changed since the last call.
func (n *Notifier) Status() []snapshot.Target {
	all := make([]snapshot.Target, 0, len(n.targets))
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, t := range n.targets {
		s := t.status()
		all = append(all, s)
		if was := n.faults[s.Name]; was != s.Fault {
			n.faults[s.Name] = s.Fault
			if s.Fault != "" {
				n.log.Warn("notification fails", "target", s.Name, "kind", s.Kind, "error", s.Fault)
			} else {
				n.log.Info("notification works again", "target", s.Name, "kind", s.Kind)
			}
		}
	}
	return all
}

// Test hands a test message to a target, past all waits, and returns what it
// answered.
func Test(ctx context.Context, s Setting, t *config.Notify) error {
	words := words{site: s.Site, page: s.Page, zone: t.Quiet.Zone, renderer: s.Renderer}
	m := words.plain("test", s.Now(), fmt.Sprintf("Test from site %s", s.Site),
		"This is a test by a person at the gateway. Nothing has happened at the plant. Target "+t.Name+" can be reached.")
	if t.Kind == config.Alertmanager {
		client, err := newClient(t)
		if err != nil {
			return err
		}
		return (&level{set: t, words: words, client: client, now: s.Now}).test(ctx, m)
	}
	sender, err := newSender(t, words, true)
	if err != nil {
		return err
	}
	defer sender.close()
	return sender.send(ctx, m)
}

// sender hands one message over.
type sender interface {
	// send returns nil when the target has taken m, and otherwise a *failure.
	send(ctx context.Context, m *Message) error
	close()
}

func newSender(t *config.Notify, w words, passing bool) (sender, error) {
	switch t.Kind {
	case config.Mail:
		return newPost(t)
	case config.MQTT:
		return newUplink(t, w, passing)
	default:
		return newWebhook(t)
	}
}

// failure is why a message was not taken.
type failure struct {
	reason string
	verdict
	sure  bool          // the target cannot have taken it
	after time.Duration // that the target asks to wait; 0: it does not say
}

// verdict is what follows from a failure.
type verdict uint8

const (
	retry   verdict = iota // try again later
	refused                // this message will never be taken
	gone                   // the target wants no more messages
)

func (f *failure) Error() string { return f.reason }

// sendLimit is how long one attempt may take. Common practice, no source.
const sendLimit = 10 * time.Second
