package alert

import "dewgap/analyze/floodback"

// Recount adds to the totals what the journal holds behind entry, the newest one
// that they count: a crash came between the two files. Call it after Restore and
// before the first Step. entries are all that the journal keeps, oldest first.
//
// Running time, phases and what an event counted after it opened are not in the
// journal; they are lost with the crash, and were never published.
func (t *Tracker) Recount(entries []Entry, entry uint64) {
	severities := map[string]floodback.Severity{} // of each event so far
	for i := range entries {
		ev := &entries[i].Change.Event
		severity, ok := severityOf(ev.Severity)
		before := severities[ev.ID]
		severities[ev.ID] = severity
		if !ok || entries[i].Number <= entry {
			continue
		}
		if key, known := t.keyOf(*ev); known {
			t.recount(t.counterOf(&condition{key: key}), &entries[i].Change, key.Kind, before, severity)
		}
	}
}

func (t *Tracker) recount(n *counter, c *Change, kind floodback.Kind, before, severity floodback.Severity) {
	ofFloodback := kind == floodback.Floodback
	switch c.Kind {
	case Opened:
		n.open(kind, severity)
		if ofFloodback { // the hold time, as far as it ran in time that is counted
			n.FloodbackSeconds = max(n.FloodbackSeconds, min(n.FloodbackSeconds+c.Event.SecondsBelow, n.RunningSeconds))
			n.FloodbackKelvinSeconds += c.Event.KelvinSecondsBelow
		}
	case Escalated:
		n.escalate(kind, before, severity)
	case Closed:
		t.countCause(&c.Event)
	case Withdrawn:
		if ofFloodback {
			n.withdraw(c.Event.SecondsBelow, c.Event.KelvinSecondsBelow)
		}
	}
}
