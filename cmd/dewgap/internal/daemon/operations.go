package daemon

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
)

// operation is what a person asks of the running daemon. The main loop executes
// it between two rows, with the time of the row before.
type operation struct {
	do   func(g *generation, at time.Time) ([]alert.Change, error)
	done chan error
}

// errEnding answers operations that come too late.
var errEnding = errors.New("dewgap is stopping: nothing was changed")

// perform has the main loop execute an operation, and returns when what it
// changes is on the disk and on the page.
func (d *Daemon) perform(ctx context.Context, do func(g *generation, at time.Time) ([]alert.Change, error)) error {
	op := operation{do, make(chan error, 1)}
	select {
	case d.operations <- op:
	case <-ctx.Done():
		return ctx.Err()
	case <-d.ended:
		return errEnding
	}
	return <-op.done // the loop answers what it has taken
}

// execute executes an operation and answers it.
func (d *Daemon) execute(g *generation, op operation, last time.Time) {
	if last.IsZero() {
		last = d.Clock.Now()
	}
	changes, err := op.do(g, last)
	if err != nil {
		op.done <- err
		return
	}
	d.journal.Add(changes...)
	err = d.journal.Commit()
	d.logFault("journal", err)
	d.logChanges()
	if g.shown {
		d.publish(g, g.result)
	}
	if err != nil {
		err = fmt.Errorf("taken, and not on the disk yet: %w; it is written as soon as the disk takes it", err)
	}
	op.done <- err
}

// Acknowledge records that a person has taken on the open event id. It returns
// the event, or an alert.UnknownError or alert.RefusedError.
func (d *Daemon) Acknowledge(ctx context.Context, id string, a alert.Acknowledgement) (ev alert.Event, err error) {
	err = d.perform(ctx, func(g *generation, at time.Time) ([]alert.Change, error) {
		a.At = at.UTC()
		if err := a.Check(); err != nil {
			return nil, err
		}
		c, err := g.pipeline.Tracker.Acknowledge(id, a)
		if err != nil {
			return nil, d.ifEnded(id, err)
		}
		ev = c.Event
		return []alert.Change{c}, nil
	})
	return ev, err
}

// Unacknowledge takes an acknowledgement back; the journal notes who did.
func (d *Daemon) Unacknowledge(ctx context.Context, id, by string) (ev alert.Event, err error) {
	err = d.perform(ctx, func(g *generation, at time.Time) ([]alert.Change, error) {
		if err := alert.CheckName(by); err != nil {
			return nil, err
		}
		c, err := g.pipeline.Tracker.Unacknowledge(id, at)
		if err != nil {
			return nil, d.ifEnded(id, err)
		}
		d.note(at, evidence.AcknowledgementTakenBack, evidence.Name("event", id), evidence.Name("by", by))
		d.log.Info("acknowledgement taken back", "event", id, "by", by)
		ev = c.Event
		return []alert.Change{c}, nil
	})
	return ev, err
}

// Found records what a person found for an event, open or ended.
func (d *Daemon) Found(ctx context.Context, id string, f alert.Found) (ev alert.Event, err error) {
	err = d.perform(ctx, func(g *generation, at time.Time) ([]alert.Change, error) {
		f.At = at.UTC()
		known, ok := d.event(id)
		if !ok {
			return nil, &alert.UnknownError{What: "event", ID: id, Near: alert.NearestIDs(id, d.journal.Events(time.Time{}, false))}
		}
		if err := f.Check(g.site, known.Group); err != nil {
			return nil, err
		}
		c, open := g.pipeline.Tracker.FoundOnSite(id, f)
		if !open {
			known.Found = &f
			c = alert.Change{Kind: alert.FoundOnSite, At: f.At, Event: known}
		}
		ev = c.Event
		return []alert.Change{c}, nil
	})
	return ev, err
}

// SetMaintenance begins a maintenance and returns it with its id.
func (d *Daemon) SetMaintenance(ctx context.Context, m alert.Maintenance) (alert.Maintenance, error) {
	err := d.perform(ctx, func(g *generation, at time.Time) ([]alert.Change, error) {
		m.From = at
		if err := m.Check(g.site); err != nil {
			return nil, err
		}
		m = d.journal.SetMaintenance(m)
		d.log.Info("maintenance begins", "id", m.ID, "until", m.Until, "by", m.By, "note", m.Note)
		return nil, nil
	})
	return m, err
}

// EndMaintenance ends a maintenance before its time.
func (d *Daemon) EndMaintenance(ctx context.Context, id, by string) (m alert.Maintenance, err error) {
	err = d.perform(ctx, func(_ *generation, at time.Time) ([]alert.Change, error) {
		var err error
		if m, err = d.journal.EndMaintenance(id, at, by); err != nil {
			return nil, err
		}
		d.log.Info("maintenance ends", "id", m.ID, "by", by)
		return nil, nil
	})
	return m, err
}

// event returns the event id as the journal holds it.
func (d *Daemon) event(id string) (alert.Event, bool) {
	all := d.journal.Events(time.Time{}, false)
	i := slices.IndexFunc(all, func(ev alert.Event) bool { return ev.ID == id })
	if i < 0 {
		return alert.Event{}, false
	}
	return all[i], true
}

// ifEnded returns err, or that the event has ended where it has.
func (d *Daemon) ifEnded(id string, err error) error {
	if ev, ok := d.event(id); ok && ev.Closed != nil {
		return &alert.RefusedError{Conflict: true, Reason: fmt.Sprintf(
			"event %s ended at %s: only an open event is acknowledged; record what was found instead", id, ev.Closed.Format(time.RFC3339))}
	}
	return err
}
