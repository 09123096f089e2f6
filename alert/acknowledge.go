package alert

import "time"

// Acknowledge records who took on the open event id; a later one replaces it.
// It lasts until the event ends, escalates, or its Until has passed by the time
// of the rows. It fails where no open event has that id.
func (t *Tracker) Acknowledge(id string, a Acknowledgement) (Change, error) {
	c := t.openCondition(id)
	if c == nil {
		return Change{}, t.notOpen(id)
	}
	c.event.Acknowledged = &a
	return Change{Acknowledged, a.At.UTC(), c.current()}, nil
}

// Unacknowledge takes an acknowledgement back at an instant. It fails where the
// open event id has none.
func (t *Tracker) Unacknowledge(id string, at time.Time) (Change, error) {
	c := t.openCondition(id)
	if c == nil {
		return Change{}, t.notOpen(id)
	}
	if !c.endAcknowledgement() {
		return Change{}, &RefusedError{Conflict: true, Reason: "event " + id + " is not acknowledged"}
	}
	return Change{AcknowledgementEnded, at.UTC(), c.current()}, nil
}

// FoundOnSite records what somebody found for the open event id; false where no
// open event has it.
func (t *Tracker) FoundOnSite(id string, f Found) (Change, bool) {
	c := t.openCondition(id)
	if c == nil {
		return Change{}, false
	}
	c.event.Found = &f
	return Change{FoundOnSite, f.At.UTC(), c.current()}, true
}

// openCondition returns the condition whose open event has id; nil where none has.
func (t *Tracker) openCondition(id string) *condition {
	for _, c := range t.live {
		if c.hasEvent() && c.event.ID == id {
			return c
		}
	}
	return nil
}

// notOpen is the error for an id that no open event has.
func (t *Tracker) notOpen(id string) error {
	var open []string
	for _, ev := range t.Open() {
		open = append(open, ev.ID)
	}
	return &UnknownError{What: "open event", ID: id, Near: nearest(id, open)}
}

// endAcknowledgement takes the acknowledgement of c's event back and reports
// whether it had one.
func (c *condition) endAcknowledgement() bool {
	had := c.event.Acknowledged != nil
	c.event.Acknowledged = nil
	return had
}

// expire ends an acknowledgement whose time has passed.
func (t *Tracker) expire(c *condition, at time.Time) {
	a := c.event.Acknowledged
	if a == nil || a.Until == nil || at.Before(*a.Until) {
		return
	}
	c.endAcknowledgement()
	t.changes = append(t.changes, Change{AcknowledgementEnded, at.UTC(), c.current()})
}
