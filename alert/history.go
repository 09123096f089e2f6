package alert

import (
	"slices"
	"time"
)

// History keeps the newest form of each event, in order of opening: the
// replay's collection, and what the daemon shows. It is not safe for
// concurrent use.
type History struct {
	limit  int
	events []record
	at     map[string]int // index by id
}

type record struct {
	event Event
	last  time.Time // of its last change
}

// NewHistory returns a history of at most limit closed events (the oldest go
// first; open ones always stay); limit 0 keeps all.
func NewHistory(limit int) *History {
	return &History{limit: limit, at: map[string]int{}}
}

// Apply takes changes as Tracker.Step returns them.
func (h *History) Apply(changes ...Change) {
	for _, c := range changes {
		i, seen := h.at[c.Event.ID]
		if !seen {
			i = len(h.events)
			h.at[c.Event.ID] = i
			h.events = append(h.events, record{})
		}
		h.events[i].event = c.Event
		if c.Kind != Updated || !seen {
			h.events[i].last = c.At
		}
	}
	if h.limit > 0 && len(h.events) > h.limit+h.limit/8 {
		h.trim()
	}
}

// Refresh brings open events up to date, with what Tracker.Open returns.
func (h *History) Refresh(open []Event) {
	for _, ev := range open {
		h.Apply(Change{Kind: Updated, At: ev.Opened, Event: ev})
	}
}

// trim forgets the oldest closed events.
func (h *History) trim() {
	excess := len(h.events) - h.limit
	h.events = slices.DeleteFunc(h.events, func(c record) bool {
		if excess > 0 && c.event.Closed != nil {
			excess--
			return true
		}
		return false
	})
	clear(h.at)
	for i, c := range h.events {
		h.at[c.event.ID] = i
	}
}

// Events returns all events in order of opening.
func (h *History) Events() []Event { return h.Since(time.Time{}) }

// Since returns the events that opened, escalated or ended at t or later, or that
// people acknowledged or looked into then, in order of opening.
func (h *History) Since(t time.Time) []Event {
	var events []Event
	for _, c := range h.events {
		if !c.last.Before(t) {
			events = append(events, c.event)
		}
	}
	slices.SortStableFunc(events, func(a, b Event) int { return a.Opened.Compare(b.Opened) })
	return events
}

// Open returns the events that have not closed, in order of opening.
func (h *History) Open() []Event {
	var open []Event
	for _, ev := range h.Events() {
		if ev.Closed == nil {
			open = append(open, ev)
		}
	}
	return open
}
