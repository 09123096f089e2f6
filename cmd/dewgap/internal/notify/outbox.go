package notify

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/config"
)

// Times of an outbox. Common practice, no source.
const (
	look       = time.Second      // between two looks at what is due
	lookRepeat = 10 * time.Second // … and at what is to be told again
	saveEvery  = time.Minute      // the cursor, while nothing is told
	// gather is how long a message waits for further changes of the same cause,
	// and gatherNext how long after a message about that cause the next one does.
	// What is major does not wait for the second.
	gather     = time.Second
	gatherNext = time.Minute

	firstBack = time.Second
	mostBack  = time.Hour
	// newsBack is how long after a failure something new is tried, however long
	// the target has been failing.
	newsBack = time.Minute
	// keptFor is how long an event that has ended waits to be told.
	keptFor = 72 * time.Hour

	mostChanges = 50   // in one message
	mostPending = 1000 // events that wait
	mostRead    = 1000 // entries of the journal at once
)

// Outbox tells one target by messages. What it knows of each event follows from
// the journal and from what it told before; a message says what is new since.
// While a target fails, changes of an event become one: an event that it missed
// altogether arrives as one message that says when it was open.
type Outbox struct {
	set    *config.Notify
	site   string
	dir    string
	words  words
	sender sender
	broken error // why there is no sender
	now    func() time.Time
	life   func() string
	again  chan struct{}

	cursor  *alert.Cursor
	state   state
	read    uint64
	pending map[string]*pending

	about    string               // cause of the message that is being sent
	sent     map[string]time.Time // when a target took a message about a cause
	saved    time.Time            // when the state was written
	looked   time.Time            // for events to repeat
	maybe    bool                 // what is being sent may have been taken
	attempts int                  // that failed in a row
	tried    time.Time            // when the last one was
	next     time.Time            // not before
	seen     uint64               // newest change at the last attempt

	mu   sync.Mutex
	stat snapshot.Target
	upTo uint64 // done, for taken
}

// pending is an event with a change that is not told.
type pending struct {
	number uint64 // of the newest change
	kind   alert.ChangeKind
	at     time.Time // of the newest one
	since  time.Time // since when nobody has heeded it
	event  alert.Event
	due    time.Time // since when it should be told, by the machine's clock; zero: not yet
}

func newOutbox(s *Setting, t *config.Notify, w words, sender sender, broken error) *Outbox {
	return &Outbox{
		set: t, site: s.Site, dir: s.Dir, words: w, sender: sender, broken: broken, now: s.Now, life: s.Condition,
		again: make(chan struct{}, 1), pending: map[string]*pending{}, sent: map[string]time.Time{},
		stat: snapshot.Target{Name: t.Name, Kind: t.Kind.String(), Address: t.Address()},
	}
}

func (o *Outbox) wake() {
	select {
	case o.again <- struct{}{}:
	default:
	}
}

func (o *Outbox) status() snapshot.Target {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.stat
}

func (o *Outbox) taken() uint64 {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.upTo
}

func (o *Outbox) run(ctx context.Context, journal Journal) {
	if o.sender == nil {
		o.mu.Lock()
		o.stat.Fault, o.upTo = o.broken.Error(), math.MaxUint64
		o.mu.Unlock()
		<-ctx.Done()
		return
	}
	defer o.sender.close()
	if s, ok := o.sender.(interface{ start() }); ok {
		s.start()
	}
	o.load(journal)
	defer o.save()
	for {
		o.step(ctx, journal)
		select {
		case <-ctx.Done():
			return
		case <-time.After(o.wait()):
		case <-o.again:
		}
	}
}

// wait returns the time to the next look: at most a second, and no longer than
// what is gathered waits.
func (o *Outbox) wait() time.Duration {
	wait := look
	for _, p := range o.pending {
		if left := gather - time.Since(p.due); !p.due.IsZero() && left > 0 {
			wait = min(wait, left)
		}
	}
	return wait
}

// step looks at the journal and makes one attempt where one is due.
func (o *Outbox) step(ctx context.Context, journal Journal) {
	o.follow(journal)
	o.mark(journal)
	defer o.report()
	if time.Since(o.saved) >= saveEvery && o.done() > o.state.Cursor {
		o.save()
	}
	if o.state.Off != "" || !o.mayTry() {
		return
	}
	m := o.state.Sending
	if m == nil {
		if m = o.compose(journal); m == nil {
			return
		}
		o.state.Sending, o.maybe = m, false
		o.save()
	}
	limited, cancel := context.WithTimeout(ctx, sendLimit)
	err := o.sender.send(limited, m)
	cancel()
	if ctx.Err() != nil && err != nil {
		return // stopped; the message stands in the state
	}
	o.tried, o.seen = time.Now(), o.read
	var f *failure
	switch {
	case err == nil:
		o.take(m)
	case !errors.As(err, &f):
		o.fail(&failure{reason: err.Error()})
	case f.verdict == refused:
		o.park(m, f)
	case f.verdict == gone:
		o.state.Off, o.state.Sending = f.reason, nil
		o.fail(f)
		o.save()
	default:
		if o.maybe = o.maybe || !f.sure; !o.maybe {
			o.state.Sending = nil // what is new by the next attempt goes with it
		}
		o.fail(f)
	}
}

// mayTry reports whether the wait after the last failure is over, or is cut short
// by something new.
func (o *Outbox) mayTry() bool {
	now := time.Now()
	if !now.Before(o.next) {
		return true
	}
	if now.Sub(o.tried) < newsBack {
		return false
	}
	for _, p := range o.pending {
		if p.number > o.seen && !p.due.IsZero() {
			return true
		}
	}
	return false
}

// follow takes new entries of the journal.
func (o *Outbox) follow(journal Journal) {
	for {
		entries, oldest := journal.After(o.read, mostRead)
		if o.read+1 < oldest { // some were let go before they were read
			o.state.Given.add(o.now().UTC())
			o.read = oldest - 1
			o.reconcile(journal)
			continue
		}
		for i := range entries {
			o.enter(&entries[i])
			o.read = entries[i].Number
		}
		if len(entries) < mostRead {
			return
		}
	}
}

// enter takes one entry.
func (o *Outbox) enter(e *alert.Entry) {
	ev := &e.Change.Event
	if !o.concerns(ev) || e.Number <= o.state.Told[ev.ID].Number {
		return
	}
	p := o.pending[ev.ID]
	switch e.Change.Kind {
	case alert.Opened, alert.Escalated, alert.Closed, alert.Withdrawn:
		if p == nil {
			p = &pending{since: ev.Opened}
			o.pending[ev.ID] = p
			o.shed()
		}
		if e.Change.Kind == alert.Escalated {
			p.since = e.At
		}
		p.number, p.kind, p.at, p.event = e.Number, e.Change.Kind, e.At, *ev
	case alert.AcknowledgementEnded:
		if p != nil {
			p.since, p.event = e.At, *ev
		}
	default:
		if p != nil {
			p.event = *ev
		}
	}
}

// shed gives up the event that ended first where too many wait: a target that is
// away while events come and go by the minute must not fill the memory.
func (o *Outbox) shed() {
	if len(o.pending) <= mostPending {
		return
	}
	oldest := ""
	for id, p := range o.pending {
		if p.event.Closed != nil && (oldest == "" || p.at.Before(o.pending[oldest].at)) {
			oldest = id
		}
	}
	if oldest != "" { // open ones are bounded by what the site has
		o.state.Given.add(o.pending[oldest].event.Opened)
		delete(o.pending, oldest)
	}
}

// concerns reports whether the target is told of such events at all.
func (o *Outbox) concerns(ev *alert.Event) bool {
	return concerns(o.set, ev)
}

func concerns(t *config.Notify, ev *alert.Event) bool {
	return (len(t.Groups) == 0 || slices.Contains(t.Groups, ev.Group)) && (len(t.Kinds) == 0 || slices.Contains(t.Kinds, ev.Kind))
}

// reconcile compares what was told with the events there are, where the journal
// cannot tell what came between.
func (o *Outbox) reconcile(journal Journal) {
	open := map[string]*alert.Event{}
	all := journal.Events(time.Time{}, false)
	for i := range all {
		ev := &all[i]
		t, was := o.state.Told[ev.ID]
		if o.pending[ev.ID] != nil || !o.concerns(ev) {
			continue
		}
		p := &pending{number: max(o.read, t.Number), kind: alert.Opened, at: ev.Opened, since: ev.Opened, event: *ev}
		if ev.Closed == nil {
			open[ev.ID] = ev
			if !was {
				o.pending[ev.ID] = p
			}
		} else if was && !t.Ended && t.Number <= o.read {
			p.kind, p.at = alert.Closed, *ev.Closed
			o.pending[ev.ID] = p
		}
	}
	for id, t := range o.state.Told {
		if open[id] == nil && o.pending[id] == nil && !t.Ended && t.Number <= o.read {
			t.Ended = true // nobody knows it any more
			o.state.Told[id] = t
		}
	}
}

// mark decides which changes should be told now, and lets go those that need no
// telling.
func (o *Outbox) mark(journal Journal) {
	at, machine := o.now(), time.Now()
	for id, p := range o.pending {
		due, drop := o.due(p, journal, at)
		switch {
		case drop:
			delete(o.pending, id)
		case !due:
			p.due = time.Time{}
		case p.due.IsZero():
			p.due = machine
		}
	}
}

// due decides on one event at an instant.
func (o *Outbox) due(p *pending, journal Journal, at time.Time) (due, drop bool) {
	ev, t := &p.event, o.set
	_, was := o.state.Told[ev.ID]
	ended := ev.Closed != nil
	wait := max(t.Delay, t.Unheeded)
	if was {
		wait = 0 // it got worse
	}
	quiet := ev.Level() < 3 && t.Quiet.At(at)
	switch {
	case was && ended: // whoever was told of it hears of its end, under maintenance too
		return !quiet, false
	case ended && at.Sub(*ev.Closed) > keptFor:
		o.state.Given.add(ev.Opened)
		return false, true
	case ended:
		drop = ev.Level() < t.Least || ev.Closed.Before(o.state.Since) || ev.Closed.Sub(p.since) < wait ||
			t.Unheeded > 0 && ev.Acknowledged != nil || alert.During(journal.AllMaintenance(), ev) != nil
		return !drop && !quiet, drop
	case ev.Level() < t.Least || journal.Muted(ev.Group, ev.Compressor, at) || t.Unheeded > 0 && ev.Acknowledged != nil:
		return false, false
	}
	return !quiet && at.Sub(p.since) >= wait, false
}

// cause names what events have in common that one thing explains; they are told
// together.
func (o *Outbox) cause(p *pending) string {
	ev := &p.event
	_, was := o.state.Told[ev.ID]
	switch {
	case !was && ev.Closed != nil:
		return missed
	case ev.Kind == "no_data":
		return ev.Kind // a source or the power: it falls silent everywhere at once
	case ev.Kind == "sensor_fault":
		return ev.Kind + " " + ev.Group
	case ev.Phase == "pulldown" || ev.Phase == "defrost":
		return ev.Phase + " " + ev.Group
	case len(ev.Circuits) > 0:
		return "circuit " + ev.Group + " " + ev.Circuits[0].Name
	}
	return "group " + ev.Group
}

// compose returns the message that is to be sent now; nil where none is.
func (o *Outbox) compose(journal Journal) *Message {
	if len(o.state.Again) > 0 {
		return &o.state.Again[0]
	}
	causes := map[string][]*pending{}
	for _, p := range o.pending {
		if !p.due.IsZero() {
			name := o.cause(p)
			causes[name] = append(causes[name], p)
		}
	}
	machine := time.Now()
	maps.DeleteFunc(o.sent, func(_ string, at time.Time) bool { return machine.Sub(at) >= gatherNext })
	first, name := machine, ""
	for cause, list := range causes {
		oldest, urgent := list[0].due, false
		for _, p := range list {
			if p.due.Before(oldest) {
				oldest = p.due
			}
			urgent = urgent || p.event.Level() >= 3 && p.event.Closed == nil
		}
		_, lately := o.sent[cause]
		if machine.Sub(oldest) < gather || lately && !urgent {
			continue
		}
		if oldest.Before(first) || oldest.Equal(first) && cause < name || name == "" {
			first, name = oldest, cause
		}
	}
	if name != "" {
		o.about = name
		return o.words.message(o.changes(causes[name]), o.given())
	}
	if changes := o.repeats(journal); len(changes) > 0 {
		return o.words.message(changes, o.given())
	}
	if at := o.now(); o.set.Beat > 0 && at.Sub(o.state.Beat) >= o.set.Beat {
		return o.words.plain("heartbeat", at, "Site "+o.site+" is watched", o.life())
	}
	return nil
}

func (o *Outbox) given() *GivenUp {
	if o.state.Given.Count == 0 {
		return nil
	}
	given := o.state.Given
	return &given
}

// changes returns what is told of the events in list, in the order of the
// journal; of very many only the first ones.
func (o *Outbox) changes(list []*pending) []Change {
	slices.SortFunc(list, func(a, b *pending) int {
		if a.number != b.number {
			if a.number < b.number {
				return -1
			}
			return 1
		}
		return a.at.Compare(b.at)
	})
	var changes []Change
	for _, p := range list[:min(mostChanges, len(list))] {
		c := Change{What: p.kind.String(), Number: p.number, At: p.at.UTC(), Event: p.event}
		if _, was := o.state.Told[p.event.ID]; !was {
			c.What = "opened"
			switch {
			case p.event.Withdrawn != nil:
				c.What = "withdrawn"
			case p.event.Closed != nil:
				c.What = missed
			}
		}
		changes = append(changes, c)
	}
	return changes
}

// repeats returns the open events that nobody has acknowledged and that were told
// long enough ago.
func (o *Outbox) repeats(journal Journal) []Change {
	at := o.now()
	long := func(t told) bool { return !t.Ended && at.Sub(t.At) >= o.set.Repeat }
	if o.set.Repeat == 0 || time.Since(o.looked) < lookRepeat || !slices.ContainsFunc(slices.Collect(maps.Values(o.state.Told)), long) {
		return nil
	}
	o.looked = time.Now()
	var changes []Change
	for _, ev := range journal.Open() {
		t, was := o.state.Told[ev.ID]
		if !was || !long(t) || o.pending[ev.ID] != nil || ev.Acknowledged != nil || ev.Level() < 3 && o.set.Quiet.At(at) || journal.Muted(ev.Group, ev.Compressor, at) {
			continue
		}
		if len(changes) < mostChanges {
			changes = append(changes, Change{What: repeated, Number: t.Number, At: at.UTC(), Event: ev})
		}
	}
	return changes
}

// settle notes that m needs no further attempt: it was taken, or refused.
func (o *Outbox) settle(m *Message) {
	at := o.now().UTC()
	for i := range m.Changes {
		c := &m.Changes[i]
		id := c.Event.ID
		if n := o.state.Told[id].Number; n > c.Number {
			continue // an old message that is told again
		}
		o.state.Told[id] = told{Number: c.Number, At: at, Ended: c.Event.Closed != nil}
		if p := o.pending[id]; p != nil {
			if p.number <= c.Number {
				delete(o.pending, id)
			} else {
				p.due = time.Time{}
			}
		}
	}
	if m.Type == "heartbeat" {
		o.state.Beat = at
	}
	if m.Given != nil {
		o.state.Given = GivenUp{}
	}
	if len(o.state.Again) > 0 && o.state.Again[0].ID == m.ID {
		o.state.Again = o.state.Again[1:]
	}
	o.state.Sending, o.attempts, o.next = nil, 0, time.Time{}
}

// take notes that m was taken.
func (o *Outbox) take(m *Message) {
	o.settle(m)
	if o.about != "" {
		o.sent[o.about], o.about = time.Now(), ""
	}
	o.mu.Lock()
	o.stat.Told++
	o.stat.Last = time.Now()
	o.stat.Fault = ""
	o.mu.Unlock()
	o.save()
}

// park puts m aside, which the target will never take as it is. It is tried again
// when the configuration of the target has changed.
func (o *Outbox) park(m *Message, f *failure) {
	o.settle(m)
	if n := len(o.state.Parked) - mostParked + 1; n > 0 {
		o.state.Parked = slices.Delete(o.state.Parked, 0, n)
	}
	o.state.Parked = append(o.state.Parked, parked{Message: *m, Reason: f.reason})
	o.mu.Lock()
	o.stat.Failures++
	o.mu.Unlock()
	o.save()
}

// fail waits before the next attempt, longer each time.
func (o *Outbox) fail(f *failure) {
	o.attempts++
	wait := mostBack
	if o.attempts < 13 { // 2^12 s is more than an hour
		wait = min(mostBack, firstBack<<(o.attempts-1))
	}
	wait = time.Duration(float64(wait) * (0.8 + 0.4*rand.Float64())) // targets of many sites come back at different times
	o.next = time.Now().Add(max(wait, min(f.after, mostBack)))
	o.mu.Lock()
	o.stat.Failures++
	o.stat.Fault = f.reason
	o.mu.Unlock()
}

func (o *Outbox) saveFault(err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.stat.Unsaved = ""
	if err != nil {
		o.stat.Unsaved = err.Error()
	}
}

// report brings Status up to date.
func (o *Outbox) report() {
	waiting, oldest := 0, time.Time{}
	for _, p := range o.pending {
		if p.due.IsZero() {
			continue
		}
		waiting++
		if oldest.IsZero() || p.due.Before(oldest) {
			oldest = p.due
		}
	}
	done := o.done()
	o.mu.Lock()
	defer o.mu.Unlock()
	s := &o.stat
	s.Waiting, s.Oldest, s.Parked, s.Off = waiting, oldest, len(o.state.Parked), o.state.Off != ""
	switch {
	case s.Off:
		s.Fault = "it asked to be told no more: " + o.state.Off
	case o.attempts == 0 && s.Parked > 0:
		last := o.state.Parked[s.Parked-1]
		s.Fault = fmt.Sprintf("it refused %d messages, the last one because: %s; they are sent again when the configuration of the target changes", s.Parked, last.Reason)
	case o.attempts == 0 && s.Unsaved != "":
		s.Fault = "what was told cannot be noted, so a restart would tell it again: " + s.Unsaved
	case o.attempts == 0:
		s.Fault = ""
	}
	o.upTo = done
}
