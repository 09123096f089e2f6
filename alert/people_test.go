package alert

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
)

const s10 = 10 * time.Second

// flooding is a harness with one open event of grade minor.
func flooding(t *testing.T) (*harness, string) {
	t.Helper()
	f := newHarness()
	f.run(3, s10, floodback.Clear, 5)
	f.run(5, s10, floodback.Present, -2)
	open := f.tracker.Open()
	if len(open) != 1 {
		t.Fatalf("%d open events", len(open))
	}
	return f, open[0].ID
}

func ack(f *harness, until *time.Time) Acknowledgement {
	return Acknowledgement{By: "anna", At: f.at, Note: "on my way", Until: until}
}

func TestAcknowledgement(t *testing.T) {
	for _, tc := range []struct {
		name   string
		until  time.Duration // after the acknowledgement; 0: none
		then   func(f *harness)
		want   string // changes after it
		acked  bool   // the newest form of the event
		closed bool
	}{
		{"lasts while the event goes on", 0, func(f *harness) { f.run(50, s10, floodback.Present, -2) }, "", true, false},
		{"ends with the event, which keeps who had it", 0, func(f *harness) { f.run(13, s10, floodback.Clear, 5) }, "closed", true, true},
		{"comes back on escalation", 0, func(f *harness) { f.severity = floodback.Major; f.run(3, s10, floodback.Present, -2) }, "escalated acknowledgement_ended", false, false},
		{"is not ended by a severity that it had", 0, func(f *harness) { f.severity = floodback.Risk; f.run(3, s10, floodback.Present, -2) }, "", true, false},
		{"comes back at its time", time.Minute, func(f *harness) { f.run(6, s10, floodback.Present, -2) }, "acknowledgement_ended", false, false},
		{"lasts up to its time", time.Minute + 1, func(f *harness) { f.run(6, s10, floodback.Present, -2) }, "", true, false},
		{"comes back while clearing", time.Minute, func(f *harness) { f.run(7, s10, floodback.Clear, 5) }, "acknowledgement_ended", false, false},
		{"ends with a withdrawal", 0, func(f *harness) { f.stepWithdraw(s10, floodback.Present, -2, false) }, "withdrawn", true, true},
		{"outlives a restart", time.Minute, func(f *harness) {
			open, totals := f.tracker.Open(), f.tracker.Totals()
			f.tracker = NewTracker(testSite())
			f.tracker.Restore(open, totals)
			f.run(5, s10, floodback.Present, -2)
		}, "", true, false},
		{"comes back after a restart that outlasts it", time.Minute, func(f *harness) {
			open, totals := f.tracker.Open(), f.tracker.Totals()
			f.tracker = NewTracker(testSite())
			f.tracker.Restore(open, totals)
			f.step(time.Hour, floodback.Present, -2)
		}, "acknowledgement_ended", false, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f, id := flooding(t)
			var until *time.Time
			if tc.until > 0 {
				end := f.at.Add(tc.until)
				until = &end
			}
			a := ack(f, until)
			c, err := f.tracker.Acknowledge(id, a)
			if err != nil || c.Kind != Acknowledged || !c.At.Equal(f.at) || c.Event.Acknowledged == nil || c.Event.Acknowledged.By != a.By {
				t.Fatalf("%+v, %v", c, err)
			}
			f.changes = nil
			tc.then(f)
			if got := kinds(f.changes); got != tc.want {
				t.Errorf("changes %q, want %q", got, tc.want)
			}
			newest := f.tracker.Open()
			if n := len(f.changes); n > 0 {
				newest = []Event{f.changes[n-1].Event}
			}
			if got := newest[0]; (got.Acknowledged != nil) != tc.acked || (got.Closed != nil) != tc.closed {
				t.Errorf("acknowledged %+v, closed %v", got.Acknowledged, got.Closed)
			}
		})
	}
}

// The escalation itself shows an event that nobody has taken on, so that whoever
// is told of it is told as of a new one.
func TestEscalationIsNotAcknowledged(t *testing.T) {
	f, id := flooding(t)
	if _, err := f.tracker.Acknowledge(id, ack(f, nil)); err != nil {
		t.Fatal(err)
	}
	f.severity, f.changes = floodback.Major, nil
	f.step(s10, floodback.Present, -2)
	for _, c := range f.changes {
		if c.Event.Acknowledged != nil {
			t.Errorf("%s with %+v", c.Kind, c.Event.Acknowledged)
		}
	}
}

func TestUnacknowledge(t *testing.T) {
	f, id := flooding(t)
	var refused *RefusedError
	if _, err := f.tracker.Unacknowledge(id, f.at); !errors.As(err, &refused) || !refused.Conflict {
		t.Errorf("without one: %v", err)
	}
	if _, err := f.tracker.Acknowledge(id, ack(f, nil)); err != nil {
		t.Fatal(err)
	}
	c, err := f.tracker.Unacknowledge(id, f.at)
	if err != nil || c.Kind != AcknowledgementEnded || c.Event.Acknowledged != nil || f.tracker.Open()[0].Acknowledged != nil {
		t.Errorf("%+v, %v", c, err)
	}
	var unknown *UnknownError
	if _, err := f.tracker.Acknowledge("mt.c1-flood", ack(f, nil)); !errors.As(err, &unknown) || !strings.Contains(err.Error(), id) {
		t.Errorf("an id that is nearly right: %v", err)
	}
	f.run(13, s10, floodback.Clear, 5)
	if _, err := f.tracker.Acknowledge(id, ack(f, nil)); !errors.As(err, &unknown) {
		t.Errorf("after the end: %v", err)
	}
}

// What was found is part of every later form of the event, also of its end.
func TestFoundOnSite(t *testing.T) {
	f, id := flooding(t)
	found := Found{Cause: "iced_coil", Circuit: "case-1", By: "an engineer", At: f.at, Note: "fan off"}
	c, ok := f.tracker.FoundOnSite(id, found)
	if !ok || c.Kind != FoundOnSite {
		t.Fatalf("%+v %v", c, ok)
	}
	f.run(13, s10, floodback.Clear, 5)
	last := f.changes[len(f.changes)-1]
	if last.Kind != Closed || last.Event.Found == nil || *last.Event.Found != found {
		t.Errorf("%s with %+v", last.Kind, last.Event.Found)
	}
	if _, ok := f.tracker.FoundOnSite(id, found); ok {
		t.Error("taken for an event that has ended")
	}
}

func peopleSite() analyze.Site {
	s := testSite()
	s.Groups[0].Circuits = []analyze.Circuit{{Name: "case-1"}, {Name: "case-2"}}
	return s
}

func TestWhatPeopleEnterIsChecked(t *testing.T) {
	at := start
	end := func(d time.Duration) *time.Time { u := at.Add(d); return &u }
	maintenance := func(change func(*Maintenance)) error {
		m := Maintenance{Group: "mt", Compressor: "c1", From: at, Until: at.Add(time.Hour), By: "x", Note: "oil change"}
		change(&m)
		return m.Check(peopleSite())
	}
	found := func(change func(*Found)) error {
		f := Found{Cause: "iced_coil", Circuit: "case-1", By: "x"}
		change(&f)
		return f.Check(peopleSite(), "mt")
	}
	for _, tc := range []struct {
		name string
		err  error
		want string // part of the error; empty: none
	}{
		{"acknowledged", (&Acknowledgement{By: "x", At: at}).Check(), ""},
		{"by nobody", (&Acknowledgement{By: " ", At: at}).Check(), "by is missing"},
		{"a name too long", (&Acknowledgement{By: strings.Repeat("é", 81), At: at}).Check(), "81 letters; at most 80"},
		{"as long as a name may be", (&Acknowledgement{By: strings.Repeat("é", 80), At: at}).Check(), ""},
		{"a note too long", (&Acknowledgement{By: "x", Note: strings.Repeat("n", 1001), At: at}).Check(), "at most 1000"},
		{"a bell", (&Acknowledgement{By: "x", Note: "a\ab", At: at}).Check(), "control character"},
		{"two lines", (&Acknowledgement{By: "x", Note: "a\nb", At: at}).Check(), ""},
		{"no text", (&Acknowledgement{By: "x", Note: "\xff", At: at}).Check(), "UTF-8"},
		{"until now", (&Acknowledgement{By: "x", At: at, Until: end(0)}).Check(), "has passed: it is 2026-03-01T06:40:50Z now"},
		{"until just after", (&Acknowledgement{By: "x", At: at, Until: end(1)}).Check(), ""},
		{"for 30 days", (&Acknowledgement{By: "x", At: at, Until: end(MaxMaintenance)}).Check(), ""},
		{"for longer", (&Acknowledgement{By: "x", At: at, Until: end(MaxMaintenance + 1)}).Check(), "up to 2026-03-31T06:40:50Z"},
		{"found", found(func(*Found) {}), ""},
		{"found nothing", found(func(f *Found) { f.Cause, f.Circuit = "none", "" }), ""},
		{"found a sensor", found(func(f *Found) { f.Cause, f.Circuit = "sensor_misplaced", "" }), ""},
		{"found a cause that is none", found(func(f *Found) { f.Cause = "iced_coill" }), `did you mean "iced_coil"?; there are accumulator_full`},
		{"found no cause", found(func(f *Found) { f.Cause = "" }), "there are accumulator_full"},
		{"found at a circuit that is none", found(func(f *Found) { f.Circuit = "case-9" }), `group mt has no circuit "case-9"; it has case-1, case-2`},
		{"found by nobody", found(func(f *Found) { f.By = "" }), "by is missing"},
		{"maintenance", maintenance(func(*Maintenance) {}), ""},
		{"of a group", maintenance(func(m *Maintenance) { m.Compressor = "" }), ""},
		{"without a note", maintenance(func(m *Maintenance) { m.Note = " " }), "note is missing"},
		{"without an end", maintenance(func(m *Maintenance) { m.Until = time.Time{} }), "until is missing"},
		{"ended before it began", maintenance(func(m *Maintenance) { m.Until = at }), "has passed"},
		{"for 30 days exactly", maintenance(func(m *Maintenance) { m.Until = at.Add(MaxMaintenance) }), ""},
		{"for 30 days and more", maintenance(func(m *Maintenance) { m.Until = at.Add(MaxMaintenance + 1) }), "more than 30 days"},
		{"of no group", maintenance(func(m *Maintenance) { m.Group = "lt" }), `no group "lt"; there are mt`},
		{"of no compressor", maintenance(func(m *Maintenance) { m.Compressor = "c9" }), `no compressor "c9"; it has c1, c2`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var refused *RefusedError
			switch {
			case tc.want == "" && tc.err != nil:
				t.Error(tc.err)
			case tc.want != "" && (!errors.As(tc.err, &refused) || !strings.Contains(tc.err.Error(), tc.want)):
				t.Errorf("%v, want %q", tc.err, tc.want)
			}
		})
	}
}

func reopenedIn(t *testing.T, j *Journal, dir string, limit int64) *Journal {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j, err := OpenJournal(dir, limit)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j
}

// A maintenance survives restarts and files that turn over, ends at its time or
// by hand, and mutes its place alone.
func TestMaintenanceInTheJournal(t *testing.T) {
	dir := t.TempDir()
	const limit = 20 << 10
	j, err := OpenJournal(dir, limit)
	if err != nil {
		t.Fatal(err)
	}
	at := start
	one := j.SetMaintenance(Maintenance{Group: "mt", Compressor: "c1", From: at, Until: at.Add(time.Hour), By: "x", Note: "oil"})
	two := j.SetMaintenance(Maintenance{Group: "mt", Compressor: "c1", From: at, Until: at.Add(2 * time.Hour), By: "x", Note: "drier"})
	three := j.SetMaintenance(Maintenance{Group: "lt", From: at, Until: at.Add(2 * time.Hour), By: "y", Note: "all of it"})
	if one.ID != "mt.c1-maintenance-20260301T064050Z" || two.ID == one.ID || three.ID != "lt-maintenance-20260301T064050Z" {
		t.Errorf("ids %q %q %q", one.ID, two.ID, three.ID)
	}
	if _, err := j.EndMaintenance("mt.c1", at, "z"); err == nil || !strings.Contains(err.Error(), two.ID) {
		t.Errorf("a part of an id: %v", err)
	}
	ended, err := j.EndMaintenance(two.ID, at.Add(time.Minute), "z")
	if err != nil || !ended.Until.Equal(at.Add(time.Minute)) || ended.EndedBy != "z" {
		t.Errorf("%+v, %v", ended, err)
	}
	if _, err := j.EndMaintenance(two.ID, at.Add(2*time.Minute), "z"); err == nil {
		t.Error("ended twice")
	}
	want := j.AllMaintenance()
	j = reopenedIn(t, j, dir, limit)
	for n := range 200 { // the files turn over several times
		ev := Event{ID: fmt.Sprint("mt.c1-floodback-", n), Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Opened: at, Closed: &at}
		j.Add(Change{Closed, at, ev})
		if err := j.Commit(); err != nil {
			t.Fatal(err)
		}
	}
	j = reopenedIn(t, j, dir, limit)
	if diff := cmp.Diff(want, j.AllMaintenance()); diff != "" {
		t.Errorf("after restarts: %s", diff)
	}
	for _, tc := range []struct {
		group, compressor string
		at                time.Duration
		muted             bool
	}{
		{"mt", "c1", -1, false}, {"mt", "c1", 0, true}, {"mt", "c1", time.Hour - 1, true}, {"mt", "c1", time.Hour, false}, {"mt", "c2", 0, false}, {"mt", "", 0, false},
		{"lt", "c1", 0, true}, {"lt", "", time.Hour, true}, {"lt", "", 2 * time.Hour, false},
	} {
		if got := j.Muted(tc.group, tc.compressor, at.Add(tc.at)); got != tc.muted {
			t.Errorf("%s %s after %s: muted %v", tc.group, tc.compressor, tc.at, got)
		}
	}
	if on := j.Maintenance(at.Add(2 * time.Minute)); len(on) != 2 || on[0].ID != one.ID || on[1].ID != three.ID {
		t.Errorf("on: %+v", on)
	}
}

func TestMaintenanceConcernsAnEvent(t *testing.T) {
	m := []Maintenance{{Group: "mt", Compressor: "c1", From: start, Until: start.Add(time.Hour)}}
	closed := func(d time.Duration) *time.Time { c := start.Add(d); return &c }
	for _, tc := range []struct {
		name   string
		ev     Event
		during bool
	}{
		{"open through it", Event{Group: "mt", Compressor: "c1", Opened: start.Add(-time.Hour)}, true},
		{"closed as it began", Event{Group: "mt", Compressor: "c1", Opened: start.Add(-time.Hour), Closed: closed(0)}, false},
		{"closed just after", Event{Group: "mt", Compressor: "c1", Opened: start.Add(-time.Hour), Closed: closed(1)}, true},
		{"opened in it", Event{Group: "mt", Compressor: "c1", Opened: start.Add(time.Hour - 1)}, true},
		{"opened as it ended", Event{Group: "mt", Compressor: "c1", Opened: start.Add(time.Hour)}, false},
		{"of another", Event{Group: "mt", Compressor: "c2", Opened: start}, false},
	} {
		if got := During(m, &tc.ev) != nil; got != tc.during {
			t.Errorf("%s: %v", tc.name, got)
		}
	}
}

// What was done to an event after its end stays with it over a restart.
func TestFoundOutlivesTheEvent(t *testing.T) {
	dir := t.TempDir()
	j, err := OpenJournal(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	closed := start.Add(time.Hour)
	ev := Event{ID: "mt.c1-floodback-1", Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Opened: start, Closed: &closed}
	j.Add(Change{Closed, closed, ev})
	ev.Found = &Found{Cause: "none", By: "x", At: closed.Add(time.Hour)}
	j.Add(Change{FoundOnSite, ev.Found.At, ev})
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	j = reopenedIn(t, j, dir, 0)
	got := j.Events(ev.Found.At, false) // it changed then
	if len(got) != 1 || got[0].Found == nil || *got[0].Found != *ev.Found || got[0].Closed == nil {
		t.Errorf("%+v", got)
	}
}

// A replay takes over what people did by the id, and nothing else of the journal.
func TestOverlay(t *testing.T) {
	found, acknowledged := &Found{Cause: "none", By: "x"}, &Acknowledgement{By: "y"}
	replayed := []Event{{ID: "a", SecondsBelow: 5}, {ID: "b"}}
	got := Overlay(replayed, []Event{{ID: "a", SecondsBelow: 9, Found: found, Acknowledged: acknowledged}, {ID: "c", Found: found}})
	if want := []Event{{ID: "a", SecondsBelow: 5, Found: found, Acknowledged: acknowledged}, {ID: "b"}}; !cmp.Equal(got, want) {
		t.Errorf("%+v", got)
	}
	if replayed[0].Found != nil {
		t.Error("the events that were given have changed")
	}
}
