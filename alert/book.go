package alert

import (
	"slices"
	"strconv"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
)

// defaultClearHold closes events whose finding never said how long clear must
// last (after a restart, before the condition shows again); the contract's default.
const defaultClearHold = 120 * time.Second

// Book turns findings into events: a condition that is present for its hold
// time opens one, its absence for the clear time closes it, and until then it
// only escalates. Step it once for each row; it is not safe for concurrent use.
//
// The rules, for all kinds alike:
//
//   - An episode begins at the first row with Present. Clear or Between before
//     it opens ends it without a trace.
//   - It opens at the row at which Present has lasted for Hold, or at once if
//     the finding says so, and closes at the row at which Clear has lasted for
//     ClearHold. Between and Present start the clear time anew.
//   - A key that no finding speaks of is Clear.
//   - Only time between two watched rows of the same verdict counts. CannotTell,
//     holes in the data and clocks that jump count neither way: a gap opens
//     nothing and closes nothing. If what is not known outlasts Hold (or
//     ClearHold), that clock begins anew.
//   - Severity is the worst since the episode began.
type Book struct {
	site     string
	members  []member // by compressor index
	groups   []string
	paths    []string // by point index
	pointOf  []string // group of each point
	gaps     reading.GapDetector
	step     uint64
	live     []*episode // pending and open, in order of beginning
	byKey    map[Key]*episode
	counters []counter // compressors, then groups
	lastID   map[string]int
	orphans  []Event // restored events whose subject is gone from the site
	changes  []Change
	gap      Gap
	base     []time.Duration // clear hold by compressor, as configured
}

type member struct{ group, compressor string }

// Gap is an interval between two rows that nobody watched: a hole in the data,
// a suspended machine, or a clock that was set.
type Gap struct{ From, To time.Time }

// NewBook returns an empty book of site.
func NewBook(site analyze.Site) *Book {
	b := &Book{site: site.Name, byKey: map[Key]*episode{}, lastID: map[string]int{}}
	for _, g := range site.Groups {
		b.groups = append(b.groups, g.Name)
		hold := g.Detect.ClearHold
		if hold <= 0 {
			hold = defaultClearHold
		}
		for _, c := range g.Compressors {
			b.members = append(b.members, member{g.Name, c.Name})
			b.base = append(b.base, hold)
			b.counters = append(b.counters, counter{Totals: Totals{Group: g.Name, Compressor: c.Name}})
		}
	}
	for _, g := range b.groups {
		b.counters = append(b.counters, counter{Totals: Totals{Group: g}})
	}
	for _, p := range site.Points {
		b.paths = append(b.paths, p.Path)
		b.pointOf = append(b.pointOf, p.Group)
	}
	return b
}

// Step takes the result of one row and returns what changed, in an order that
// depends on the rows alone. The slice is valid until the next Step.
func (b *Book) Step(r analyze.Result) []Change {
	b.changes = b.changes[:0]
	b.step++
	from := b.gaps.Last()
	g := b.gaps.Next(r.Time)
	b.gap = Gap{}
	if g.Gap {
		b.gap = Gap{From: from, To: r.Time}
	}
	for i := range r.States {
		if st := &r.States[i]; st.Compressor >= 0 && st.Compressor < len(b.members) {
			b.counters[st.Compressor].watch(st, g.Watched)
		}
	}
	b.closeOrphans(r.Time)
	for i := range r.Findings {
		f := &r.Findings[i]
		if b.concerns(f) {
			b.hear(f, r, g)
		}
	}
	kept := b.live[:0]
	for _, e := range b.live {
		if e.seen != b.step {
			b.hearClear(e, r, g)
		}
		if e.open || e.last == floodback.Present || e.last == floodback.CannotTell {
			kept = append(kept, e)
		} else {
			delete(b.byKey, e.key)
		}
	}
	clear(b.live[len(kept):])
	b.live = kept
	return b.changes
}

// Gap returns the unwatched interval that ended with the last row, or zero.
func (b *Book) Gap() Gap { return b.gap }

// concerns says whether f speaks of something that the site has.
func (b *Book) concerns(f *floodback.Finding) bool {
	if f.Input >= len(b.paths) || f.Compressor >= len(b.members) {
		return false
	}
	return f.Compressor >= 0 || f.Input >= 0
}

// hear takes one finding of the row.
func (b *Book) hear(f *floodback.Finding, r analyze.Result, g reading.Interval) {
	key := Key{Kind: f.Kind, Compressor: max(f.Compressor, -1), Input: max(f.Input, -1)}
	e := b.byKey[key]
	if e == nil {
		if f.Verdict != floodback.Present {
			return
		}
		e = newEpisode(key, r.Time)
		e.clearHold = b.clearHold(key)
		b.byKey[key] = e
		b.live = append(b.live, e)
	}
	if e.seen == b.step {
		return // a second finding of the same row has nothing to add
	}
	e.seen = b.step
	if f.ClearHold > 0 {
		e.clearHold = f.ClearHold
	}
	e.hear(f.Verdict, f.Hold, f.Lasted, r.Time, g)
	b.measure(e, r, f.Verdict, g.Watched)
	switch {
	case f.Verdict == floodback.Present:
		b.present(e, f, r)
	case e.open && f.Verdict == floodback.Clear && e.clear >= e.clearHold:
		b.close(e, r.Time)
	}
}

// hearClear takes a row in which no finding spoke of e.
func (b *Book) hearClear(e *episode, r analyze.Result, g reading.Interval) {
	e.hear(floodback.Clear, 0, 0, r.Time, g)
	b.measure(e, r, floodback.Clear, g.Watched)
	if e.open && e.clear >= e.clearHold {
		b.close(e, r.Time)
	}
}

// present opens e when its time has come, and escalates it when it is open.
func (b *Book) present(e *episode, f *floodback.Finding, r analyze.Result) {
	severity := f.Severity
	if severity == floodback.NoSeverity {
		severity = SeveritiesOf(f.Kind)[0]
	}
	worse := severity > e.severity
	e.severity = max(e.severity, severity)
	switch {
	case e.open:
		e.learn(f)
		if worse {
			b.counterOf(e).escalated[e.key.Kind][severity]++
			b.changes = append(b.changes, Change{Escalated, r.Time.UTC(), e.current()})
		}
	case f.Unsure:
	case f.AtOnce || e.present >= f.Hold:
		e.learn(f)
		b.openEvent(e, r)
	}
}

func (b *Book) openEvent(e *episode, r analyze.Result) {
	e.open = true
	who := b.memberOf(e.key)
	ev := Event{
		Kind: e.key.Kind.String(), Site: b.site, Group: who.group, Compressor: who.compressor,
		Opened: r.Time.UTC(), Began: e.began.UTC(), Phase: "unknown",
	}
	if e.key.Input >= 0 {
		ev.Input = b.paths[e.key.Input]
	}
	if c := e.key.Compressor; c >= 0 && c < len(r.States) {
		ev.Phase = r.States[c].Phase.String()
	}
	if st := b.stateOf(e, r); st != nil {
		ev.FloorK = known(float64(st.Floor))
	}
	ev.ID = b.uniqueID(idOf(subject(who.group, who.compressor, ev.Input), e.key.Kind, ev.Opened))
	e.event = ev
	c := b.counterOf(e)
	c.opened[e.key.Kind][e.severity]++
	if e.key.Kind == floodback.Floodback {
		c.FloodbackSeconds += e.seconds // the hold time belongs to the event
		c.FloodbackKelvinSeconds += e.dose
	}
	b.changes = append(b.changes, Change{Opened, ev.Opened, e.current()})
}

// uniqueID tells apart events that open at the same instant, which needs two
// rows of equal time or a clock that was set back.
func (b *Book) uniqueID(id string) string {
	n := b.lastID[id]
	if n == 0 && len(b.lastID) > 4096 {
		clear(b.lastID) // bounded; clashes are of neighbours
	}
	b.lastID[id] = n + 1
	if n == 0 {
		return id
	}
	return id + "-" + strconv.Itoa(n+1)
}

func (b *Book) close(e *episode, at time.Time) {
	ev := e.current()
	at = at.UTC()
	ev.Closed = &at
	e.open = false
	b.changes = append(b.changes, Change{Closed, at, ev})
}

// measure takes the row's state into e's figures, and time and dose of an open
// floodback into the exposure.
func (b *Book) measure(e *episode, r analyze.Result, v floodback.Verdict, watched time.Duration) {
	seconds, dose := e.measure(b.stateOf(e, r), v, watched)
	if e.open && e.key.Kind == floodback.Floodback {
		c := b.counterOf(e)
		c.FloodbackSeconds += seconds
		c.FloodbackKelvinSeconds += dose
	}
}

// stateOf returns the state that e's figures come from; nil where superheat
// has no part in it.
func (b *Book) stateOf(e *episode, r analyze.Result) *analyze.State {
	c := e.key.Compressor
	if c < 0 || c >= len(r.States) || e.key.Kind == floodback.SensorFault || e.key.Kind == floodback.NoData {
		return nil
	}
	return &r.States[c]
}

func (b *Book) memberOf(k Key) member {
	if k.Compressor >= 0 {
		return b.members[k.Compressor]
	}
	return member{group: b.pointOf[k.Input]}
}

func (b *Book) counterOf(e *episode) *counter {
	if e.key.Compressor >= 0 {
		return &b.counters[e.key.Compressor]
	}
	return &b.counters[len(b.members)+max(0, slices.Index(b.groups, b.pointOf[e.key.Input]))]
}

func (b *Book) clearHold(k Key) time.Duration {
	if k.Compressor >= 0 {
		return b.base[k.Compressor]
	}
	return defaultClearHold
}

// Open returns the open events with their figures so far, in order of opening.
func (b *Book) Open() []Event {
	open := append([]Event{}, b.orphans...)
	for _, e := range b.live {
		if e.open {
			open = append(open, e.current())
		}
	}
	slices.SortStableFunc(open, func(x, y Event) int { return x.Opened.Compare(y.Opened) })
	return open
}

// Totals returns the exposure of each compressor, in configuration order, and
// of each group for the inputs that it shares.
func (b *Book) Totals() []Totals {
	t := make([]Totals, len(b.counters))
	for i := range b.counters {
		t[i] = b.counters[i].export()
	}
	return t
}
