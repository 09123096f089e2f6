package alert

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
)

// Restore takes over what an earlier run left: its open events, which stay
// open and close by the usual rule, and its totals. Call it before the first
// Step. An event whose compressor or input has left the configuration can no
// longer be watched: it is closed at the first row.
func (b *Book) Restore(open []Event, totals []Totals) {
	for _, ev := range open {
		key, ok := b.keyOf(ev)
		severity, sOK := severityOf(ev.Severity)
		if !ok || !sOK || ev.Closed != nil || b.byKey[key] != nil {
			b.orphans = append(b.orphans, ev)
			continue
		}
		e := newEpisode(key, ev.Began)
		e.open, e.severity, e.event = true, severity, ev
		e.clearHold = b.clearHold(key)
		e.last = floodback.CannotTell
		e.seconds, e.dose = ev.SecondsBelow, ev.KelvinSecondsBelow
		e.minSuperheat, e.minMargin = orNaN(ev.MinSuperheatK), orNaN(ev.MinMarginK)
		e.circuits, e.causes, e.evidence = slices.Clone(ev.Circuits), slices.Clone(ev.Causes), slices.Clone(ev.Evidence)
		b.byKey[key] = e
		b.live = append(b.live, e)
		b.lastID[ev.ID] = 1
	}
	for _, t := range totals {
		for i := range b.counters {
			if c := &b.counters[i]; c.Group == t.Group && c.Compressor == t.Compressor {
				c.resume(t)
			}
		}
	}
}

// keyOf finds what an event of an earlier run was about.
func (b *Book) keyOf(ev Event) (Key, bool) {
	kind, ok := kindOf(ev.Kind)
	if !ok {
		return Key{}, false
	}
	key := Key{Kind: kind, Compressor: -1, Input: -1}
	if ev.Compressor != "" {
		key.Compressor = slices.Index(b.members, member{ev.Group, ev.Compressor})
		ok = key.Compressor >= 0
	}
	if ev.Input != "" {
		key.Input = slices.Index(b.paths, ev.Input)
		ok = ok && key.Input >= 0
	}
	return key, ok && (key.Compressor >= 0 || key.Input >= 0)
}

// closeOrphans closes restored events that nothing can tell about any more.
func (b *Book) closeOrphans(at time.Time) {
	for _, ev := range b.orphans {
		at := at.UTC()
		ev.Closed = &at
		ev.Evidence = append(slices.Clone(ev.Evidence), evidence.New(evidence.ClosedSubjectGone))
		b.changes = append(b.changes, Change{Closed, at, ev})
	}
	b.orphans = nil
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
