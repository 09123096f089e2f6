package alert

import (
	"slices"
	"strconv"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
)

// defaultClearHold closes events whose finding never gave a clear time (after a
// restart, before the condition shows again); the contract's default.
const defaultClearHold = 120 * time.Second

// Tracker turns findings into events: a condition that is present for its hold
// time opens one, its absence for the clear time closes it, and until then it
// only escalates. Step it once for each row; it is not safe for concurrent use.
//
// The rules, for all kinds alike (see transitions for the states):
//
//   - A condition begins at the first row with Present. Clear or InDeadband before
//     it opens an event ends it without a trace.
//   - It opens at the row at which Present has lasted for Hold, or at once if
//     the finding demands that, and closes at the row at which Clear has lasted
//     for ClearHold. InDeadband and Present start the clear time anew.
//   - A finding with Withdraw ends it at once: an open event is withdrawn, in
//     place of closed, and a pending condition ends without a trace.
//   - A condition without a finding in a row is Clear in that row.
//   - Only time between two watched rows of the same verdict counts. Unknown,
//     gaps in the data and clocks that jump count neither way: a gap opens
//     nothing and closes nothing. If what is not known outlasts Hold (or
//     ClearHold), that clock begins anew.
//   - An acknowledgement ends when the event escalates and when its time has
//     passed by the rows.
//   - Severity is the worst since the condition began.
type Tracker struct {
	site     string
	members  []member // by compressor index
	groups   []string
	paths    []string // by point index
	pointOf  []string // group of each point
	gaps     reading.GapDetector
	row      uint64       // number of the row being taken
	live     []*condition // pending, open and clearing, in order of beginning
	byKey    map[Key]*condition
	counters []counter // compressors, groups, then circuits
	lastID   map[string]int
	orphans  []Event // restored events whose subject is gone from the site
	changes  []Change
	gap      Gap
	base     []time.Duration // clear hold by compressor, as configured
}

type member struct{ group, compressor string }

// Gap is an interval between two rows that nobody watched: a gap in the data,
// a suspended machine, or a clock that was set.
type Gap struct{ From, To time.Time }

// NewTracker returns a tracker of site without events.
func NewTracker(site analyze.Site) *Tracker {
	t := &Tracker{site: site.Name, byKey: map[Key]*condition{}, lastID: map[string]int{}}
	for _, g := range site.Groups {
		t.groups = append(t.groups, g.Name)
		hold := g.Detect.ClearHold
		if hold <= 0 {
			hold = defaultClearHold
		}
		for _, c := range g.Compressors {
			t.members = append(t.members, member{g.Name, c.Name})
			t.base = append(t.base, hold)
			t.counters = append(t.counters, counter{Totals: Totals{Group: g.Name, Compressor: c.Name}})
		}
	}
	for _, g := range t.groups {
		t.counters = append(t.counters, counter{Totals: Totals{Group: g}})
	}
	for _, g := range site.Groups {
		for _, c := range g.Circuits {
			t.counters = append(t.counters, counter{Totals: Totals{Group: g.Name, Circuit: c.Name}})
		}
	}
	for _, p := range site.Points {
		t.paths = append(t.paths, p.Path)
		t.pointOf = append(t.pointOf, p.Group)
	}
	return t
}

// notFound stands for the finding of a condition that no finding of a row is
// about.
var notFound = floodback.Finding{Verdict: floodback.Clear}

// Step takes the result of one row and returns what changed, in an order that
// depends on the rows alone. The slice is valid until the next Step.
func (t *Tracker) Step(r analyze.Result) []Change {
	t.changes = t.changes[:0]
	t.row++
	from := t.gaps.Last()
	g := t.gaps.Next(r.Time)
	t.gap = Gap{}
	if g.Gap {
		t.gap = Gap{From: from, To: r.Time}
	}
	for i := range r.States {
		if st := &r.States[i]; st.Compressor >= 0 && st.Compressor < len(t.members) {
			t.counters[st.Compressor].count(st, g.Watched)
		}
	}
	circuits := t.counters[len(t.members)+len(t.groups):]
	for i := range min(len(r.Stages), len(circuits)) {
		circuits[i].countCircuit(r.Stages[i], r.Time)
	}
	t.closeOrphans(r.Time)
	for i := range r.Findings {
		f := &r.Findings[i]
		if !t.concerns(f) {
			continue
		}
		c := t.conditionOf(f, r.Time, g)
		if c == nil {
			continue
		}
		if c.row != t.row { // a second finding of the same row adds nothing but a withdrawal
			t.update(c, f, r, g)
		}
		if f.Withdraw != nil {
			t.withdraw(c, f.Withdraw, r.Time)
		}
	}
	kept := t.live[:0]
	for _, c := range t.live {
		if c.row != t.row {
			t.update(c, &notFound, r, g)
		}
		if c.ended() {
			delete(t.byKey, c.key)
		} else {
			t.expire(c, r.Time)
			kept = append(kept, c)
		}
	}
	clear(t.live[len(kept):])
	t.live = kept
	return t.changes
}

// Gap returns the unwatched interval that ended with the last row, or zero.
func (t *Tracker) Gap() Gap { return t.gap }

// concerns reports whether f is about something that the site has.
func (t *Tracker) concerns(f *floodback.Finding) bool {
	if f.Input >= len(t.paths) || f.Compressor >= len(t.members) {
		return false
	}
	return f.Compressor >= 0 || f.Input >= 0
}

// conditionOf returns the condition that f is about. One that is not known yet
// begins where f is Present; nil where it is not.
func (t *Tracker) conditionOf(f *floodback.Finding, at time.Time, g reading.Interval) *condition {
	key := Key{Kind: f.Kind, Compressor: max(f.Compressor, -1), Input: max(f.Input, -1)}
	c := t.byKey[key]
	if c == nil && f.Verdict == floodback.Present {
		c = newCondition(key, f, at, g, t.clearHold(key))
		t.byKey[key] = c
		t.live = append(t.live, c)
	}
	return c
}

// update takes what a row shows of c: its clock, its figures, its state, and
// with the state the event.
func (t *Tracker) update(c *condition, f *floodback.Finding, r analyze.Result, g reading.Interval) {
	c.row = t.row
	c.tick(f, r.Time, g)
	t.measure(c, r, f.Verdict, g.Watched)
	if f.Withdraw != nil {
		return // the verdict moves nothing any more
	}
	worse, from := false, c.severity
	if f.Verdict == floodback.Present {
		worse = c.worsen(f)
	}
	before := c.state
	c.advance(f)
	if f.Verdict == floodback.Present && c.state == open {
		c.learn(f)
	}
	switch {
	case c.state == open && before == pending:
		t.open(c, r)
	case c.state == closed:
		t.close(c, r.Time)
	case worse && c.state == open:
		t.counterOf(c).escalate(c.key.Kind, from, c.severity)
		ended := c.endAcknowledgement() // what somebody took on was less grave
		t.changes = append(t.changes, Change{Escalated, r.Time.UTC(), c.current()})
		if ended {
			t.changes = append(t.changes, Change{AcknowledgementEnded, r.Time.UTC(), c.current()})
		}
	}
}

func (t *Tracker) open(c *condition, r analyze.Result) {
	who := t.memberOf(c.key)
	ev := Event{
		Kind: c.key.Kind.String(), Site: t.site, Group: who.group, Compressor: who.compressor,
		Opened: r.Time.UTC(), Began: c.began.UTC(), Phase: "unknown",
	}
	if c.key.Input >= 0 {
		ev.Input = t.paths[c.key.Input]
	}
	if n := c.key.Compressor; n >= 0 && n < len(r.States) {
		ev.Phase = r.States[n].Phase.String()
	}
	if st := t.stateOf(c, r); st != nil {
		ev.FloorK = known(float64(st.Floor))
	}
	ev.ID = t.uniqueID(idOf(subject(who.group, who.compressor, ev.Input), c.key.Kind, ev.Opened))
	c.event = ev
	n := t.counterOf(c)
	n.open(c.key.Kind, c.severity)
	if c.key.Kind == floodback.Floodback {
		n.FloodbackSeconds += c.seconds // the hold time belongs to the event
		n.FloodbackKelvinSeconds += c.dose
	}
	t.changes = append(t.changes, Change{Opened, ev.Opened, c.current()})
}

// uniqueID distinguishes events that open at the same instant, which needs two
// rows of equal time or a clock that was set back.
func (t *Tracker) uniqueID(id string) string {
	n := t.lastID[id]
	if n == 0 && len(t.lastID) > 4096 {
		clear(t.lastID) // bounded; clashes are of neighbours
	}
	t.lastID[id] = n + 1
	if n == 0 {
		return id
	}
	return id + "-" + strconv.Itoa(n+1)
}

func (t *Tracker) close(c *condition, at time.Time) {
	ev := c.current()
	at = at.UTC()
	ev.Closed = &at
	t.countCause(&ev)
	t.changes = append(t.changes, Change{Closed, at, ev})
}

// countCause adds a floodback that closes to its first circuit, or to its group
// where none is known.
func (t *Tracker) countCause(ev *Event) {
	if ev.Kind != floodback.Floodback.String() || ev.Withdrawn != nil || len(ev.Causes) == 0 {
		return
	}
	circuit := ""
	if len(ev.Circuits) > 0 {
		circuit = ev.Circuits[0].Name
	}
	for i := len(t.members); i < len(t.counters); i++ {
		if c := &t.counters[i]; c.Group == ev.Group && c.Circuit == circuit {
			c.countCause(ev.Causes[0].Cause)
			return
		}
	}
}

// withdraw ends c because its inputs proved it false. The time and dose of its
// event stay in the exposure, which never goes back, and are counted a second
// time as withdrawn, so that a report can leave them out.
func (t *Tracker) withdraw(c *condition, why *evidence.Item, at time.Time) {
	if c.ended() {
		return
	}
	c.state = withdrawal[c.state]
	if c.state != withdrawn {
		return
	}
	if c.key.Kind == floodback.Floodback {
		t.counterOf(c).withdraw(c.seconds, c.dose)
	}
	ev := c.current()
	at = at.UTC()
	ev.Closed, ev.Withdrawn = &at, why
	t.changes = append(t.changes, Change{Withdrawn, at, ev})
}

// measure takes the row's state into c's figures, and time and dose of an open
// floodback into the exposure.
func (t *Tracker) measure(c *condition, r analyze.Result, v floodback.Verdict, watched time.Duration) {
	seconds, dose := c.measure(t.stateOf(c, r), v, watched)
	if c.hasEvent() && c.key.Kind == floodback.Floodback {
		n := t.counterOf(c)
		n.FloodbackSeconds += seconds
		n.FloodbackKelvinSeconds += dose
	}
}

// stateOf returns the state that c's figures come from; nil where superheat
// has no part in it.
func (t *Tracker) stateOf(c *condition, r analyze.Result) *analyze.State {
	n := c.key.Compressor
	if n < 0 || n >= len(r.States) || c.key.Kind == floodback.SensorFault || c.key.Kind == floodback.NoData {
		return nil
	}
	return &r.States[n]
}

func (t *Tracker) memberOf(k Key) member {
	if k.Compressor >= 0 {
		return t.members[k.Compressor]
	}
	return member{group: t.pointOf[k.Input]}
}

func (t *Tracker) counterOf(c *condition) *counter {
	if c.key.Compressor >= 0 {
		return &t.counters[c.key.Compressor]
	}
	return &t.counters[len(t.members)+max(0, slices.Index(t.groups, t.pointOf[c.key.Input]))]
}

func (t *Tracker) clearHold(k Key) time.Duration {
	if k.Compressor >= 0 {
		return t.base[k.Compressor]
	}
	return defaultClearHold
}

// Open returns the open events with their figures so far, in order of opening.
func (t *Tracker) Open() []Event {
	events := append([]Event{}, t.orphans...)
	for _, c := range t.live {
		if c.hasEvent() {
			events = append(events, c.current())
		}
	}
	slices.SortStableFunc(events, func(x, y Event) int { return x.Opened.Compare(y.Opened) })
	return events
}

// Totals returns the exposure of each compressor, of each group for the inputs
// that it shares, and of each circuit, each in configuration order.
func (t *Tracker) Totals() []Totals {
	totals := make([]Totals, len(t.counters))
	for i := range t.counters {
		totals[i] = t.counters[i].export()
	}
	return totals
}
