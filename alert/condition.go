package alert

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
)

// state is where a condition stands.
type state uint8

const (
	pending   state = iota // present, and not yet for its hold time: no event
	open                   // its event is open; it is present, or between present and clear
	clearing               // its event is open; it is clear, and not yet for the clear time
	dropped                // it ended before its hold time had passed: no event
	closed                 // its event has closed
	withdrawn              // a doubt of its inputs proved its event false
)

var stateNames = [...]string{"pending", "open", "clearing", "dropped", "closed", "withdrawn"}

func (s state) String() string { return stateNames[s] }

// transition is what a row's verdict does to a state.
type transition struct {
	to      state // follows the verdict
	elapsed state // follows it where the clock of to has reached its limit
}

// transitions is all that moves a condition. The clock of pending counts the
// time present, and its limit is the hold time; that of clearing counts the
// time clear, and its limit is the clear time. See condition.tick for what
// counts. dropped, closed and withdrawn are final.
var transitions = [...][floodback.Present + 1]transition{
	pending: {
		floodback.Present:    {pending, open},
		floodback.InDeadband: {dropped, dropped},
		floodback.Clear:      {dropped, dropped},
		floodback.Unknown:    {pending, pending},
	},
	open: {
		floodback.Present:    {open, open},
		floodback.InDeadband: {open, open},
		floodback.Clear:      {clearing, closed},
		floodback.Unknown:    {open, open},
	},
	clearing: {
		floodback.Present:    {open, open},
		floodback.InDeadband: {open, open},
		floodback.Clear:      {clearing, closed},
		floodback.Unknown:    {clearing, clearing},
	},
}

// withdrawal is where a doubt that proves the condition false moves each state.
var withdrawal = [...]state{pending: dropped, open: withdrawn, clearing: withdrawn, dropped: dropped, closed: closed, withdrawn: withdrawn}

// condition is what one detector reports of one compressor or input, from the
// first row that shows it until it has cleared: pending first, then the subject
// of an open event, or dropped.
type condition struct {
	key       Key
	state     state
	began     time.Time
	severity  floodback.Severity // worst since began
	hold      time.Duration      // limit of the clock while pending
	clearHold time.Duration      // limit of the clock while clearing

	last    floodback.Verdict // of the row before
	clock   time.Duration     // watched time in this state
	unknown time.Duration     // time since the last row with a verdict

	figures

	event    Event           // identity, fixed at opening; empty while pending
	evidence []evidence.Item // of the newest row that showed the condition
	circuits []Score
	causes   []Cause
	row      uint64 // number of the newest row taken
}

// maxLasted is how many times the time between two rows a condition may have
// lasted when it is first shown: one that needed a second row to be believed.
const maxLasted = 2

// newCondition returns a condition that the row at an instant is the first to
// show.
func newCondition(key Key, f *floodback.Finding, at time.Time, g reading.Interval, clearHold time.Duration) *condition {
	c := &condition{key: key, clearHold: clearHold}
	c.begin(f, at, g)
	return c
}

// begin makes the row at an instant the first that shows the condition. It may
// have begun between that row and the one before.
func (c *condition) begin(f *floodback.Finding, at time.Time, g reading.Interval) {
	c.clock = min(f.Lasted, maxLasted*g.Watched)
	c.began = at.Add(-c.clock)
	c.severity = floodback.NoSeverity
	c.unknown = 0
	c.figures = newFigures()
}

// ended reports whether the condition is in a final state.
func (c *condition) ended() bool { return c.state >= dropped }

// hasEvent reports whether the condition's event is open.
func (c *condition) hasEvent() bool { return c.state == open || c.state == clearing }

// limit is what the clock of the present state runs up to.
func (c *condition) limit() time.Duration {
	if c.state == pending {
		return c.hold
	}
	return c.clearHold
}

// tick takes a row's verdict into the clock. Only time between two watched rows
// of the same verdict counts, so that an event opens and closes at rows that saw
// it. Time without a verdict counts neither way; where it outlasts the limit of
// the clock, the clock begins anew, and a pending condition with it.
func (c *condition) tick(f *floodback.Finding, at time.Time, g reading.Interval) {
	if g.Gap || f.Verdict == floodback.Unknown || c.last == floodback.Unknown {
		c.unknown += g.Between
	}
	before := c.last
	c.last = f.Verdict
	if f.Verdict == floodback.Unknown {
		return
	}
	c.hold = f.Hold
	if f.ClearHold > 0 {
		c.clearHold = f.ClearHold
	}
	switch {
	case transitions[c.state][f.Verdict].to != c.state:
		c.clock = 0
	case c.unknown > c.limit() && c.state == pending:
		c.begin(f, at, g)
	case c.unknown > c.limit():
		c.clock = 0
	case before == f.Verdict:
		c.clock += g.Watched
	}
	c.unknown = 0
}

// advance moves the condition to the state that follows the row's verdict and
// the clock.
func (c *condition) advance(f *floodback.Finding) {
	next := transitions[c.state][f.Verdict]
	c.state = next.to
	if c.elapsed(f) {
		c.state = next.elapsed
	}
}

// elapsed reports whether the present state has lasted long enough.
func (c *condition) elapsed(f *floodback.Finding) bool {
	if c.state == pending {
		return !f.Unsure && (f.Immediate || c.clock >= c.hold)
	}
	return c.clock >= c.clearHold
}

// worsen takes over the severity of a finding and reports whether it is worse
// than any since the condition began.
func (c *condition) worsen(f *floodback.Finding) bool {
	severity := f.Severity
	if severity == floodback.NoSeverity {
		severity = SeveritiesOf(f.Kind)[0]
	}
	worse := severity > c.severity
	c.severity = max(c.severity, severity)
	return worse
}

// learn keeps the evidence and candidates of the newest finding that shows the
// condition.
func (c *condition) learn(f *floodback.Finding) {
	c.evidence = append(c.evidence[:0], f.Evidence...)
	c.circuits = c.circuits[:0]
	for _, r := range f.Circuits {
		if math.IsNaN(r.Score) {
			continue // not known; a journal has no way to write it
		}
		c.circuits = append(c.circuits, Score{Name: r.Name, Score: rounded(r.Score, 100), Why: slices.Clone(r.Why)})
	}
	c.causes = c.causes[:0]
	for _, r := range f.Causes {
		if math.IsNaN(r.Score) {
			continue
		}
		c.causes = append(c.causes, Cause{Cause: r.Name, Score: rounded(r.Score, 100), Why: slices.Clone(r.Why)})
	}
}

// current returns the event with its figures so far; nothing is shared with c.
func (c *condition) current() Event {
	ev := c.event
	ev.Severity = c.severity.String()
	c.figures.into(&ev)
	ev.Circuits = append(make([]Score, 0, len(c.circuits)), c.circuits...)
	ev.Causes = append(make([]Cause, 0, len(c.causes)), c.causes...)
	ev.Evidence = append(append([]evidence.Item{}, c.figures.headline(&ev)...), c.evidence...)
	return ev
}
