package alert

import (
	"slices"
	"time"

	"dewgap/analyze/evidence"
)

// Restore takes over what an earlier run left: its open events, which stay
// open and close by the usual rule, and its totals. Call it before the first
// Step. An event whose compressor or input has left the configuration can no
// longer be watched: it is closed at the first row.
func (t *Tracker) Restore(events []Event, totals []Totals) {
	for _, ev := range events {
		key, ok := t.keyOf(ev)
		severity, sOK := severityOf(ev.Severity)
		if !ok || !sOK || ev.Closed != nil || t.byKey[key] != nil {
			t.orphans = append(t.orphans, ev)
			continue
		}
		c := &condition{
			key: key, state: open, began: ev.Began, severity: severity, clearHold: t.clearHold(key), event: ev,
			circuits: slices.Clone(ev.Circuits), causes: slices.Clone(ev.Causes),
		}
		c.figures, c.evidence = figuresOf(ev)
		t.byKey[key] = c
		t.live = append(t.live, c)
		t.lastID[ev.ID] = 1
	}
	for _, sum := range totals {
		for i := range t.counters {
			if c := &t.counters[i]; c.Group == sum.Group && c.Compressor == sum.Compressor && c.Circuit == sum.Circuit {
				c.resume(sum)
			}
		}
	}
}

// keyOf finds what an event of an earlier run was about.
func (t *Tracker) keyOf(ev Event) (Key, bool) {
	kind, ok := kindOf(ev.Kind)
	if !ok {
		return Key{}, false
	}
	key := Key{Kind: kind, Compressor: -1, Input: -1}
	if ev.Compressor != "" {
		key.Compressor = slices.Index(t.members, member{ev.Group, ev.Compressor})
		ok = key.Compressor >= 0
	}
	if ev.Input != "" {
		key.Input = slices.Index(t.paths, ev.Input)
		ok = ok && key.Input >= 0
	}
	return key, ok && (key.Compressor >= 0 || key.Input >= 0)
}

// closeOrphans closes restored events whose subject is gone.
func (t *Tracker) closeOrphans(at time.Time) {
	for _, ev := range t.orphans {
		at := at.UTC()
		ev.Closed = &at
		ev.Evidence = append(slices.Clone(ev.Evidence), evidence.New(evidence.ClosedSubjectGone))
		t.changes = append(t.changes, Change{Closed, at, ev})
	}
	t.orphans = nil
}
