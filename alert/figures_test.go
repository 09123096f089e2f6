package alert

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"dewgap/analyze/floodback"
)

// An episode begins where the margin went below zero, between two rows; the
// hold time counts from there, to the nanosecond.
func TestBeginsBetweenRows(t *testing.T) {
	for _, tc := range []struct {
		lasted, hold time.Duration
		want         string
	}{
		{4 * time.Second, 24 * time.Second, "opened"},
		{4*time.Second - 1, 24 * time.Second, ""},
		{0, 20 * time.Second, "opened"},
		{time.Hour, 40 * time.Second, "opened"}, // never more than twice the time since the row before
		{time.Hour, 40*time.Second + 1, ""},
	} {
		f := newHarness()
		f.hold = tc.hold
		f.run(3, 10*time.Second, floodback.Clear, 5)
		f.lasted = tc.lasted
		f.step(10*time.Second, floodback.Present, -1)
		first := f.at
		f.run(2, 10*time.Second, floodback.Present, -1)
		if got := kinds(f.changes); got != tc.want {
			t.Errorf("lasted %v, hold %v: %q, want %q", tc.lasted, tc.hold, got, tc.want)
		}
		if len(f.changes) > 0 {
			if got, want := f.changes[0].Event.Began, first.Add(-min(tc.lasted, 20*time.Second)); !got.Equal(want) {
				t.Errorf("began %v, want %v", got, want)
			}
		}
	}
}

// marginStep is a random row of margins with the time that each stands for.
type marginStep struct {
	margin float64
	lasts  time.Duration
}

func marginSteps(t *rapid.T) []marginStep {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) marginStep {
		return marginStep{
			margin: float64(rapid.IntRange(-80, 80).Draw(t, "margin")) / 10,
			lasts:  time.Duration(rapid.IntRange(1, 5).Draw(t, "seconds")) * time.Second, // longer ones are holes among rows of 1 s
		}
	}), 10, 120).Draw(t, "steps")
}

func verdictOf(margin float64) floodback.Verdict {
	switch {
	case margin < 0:
		return floodback.Present
	case margin > 2:
		return floodback.Clear
	}
	return floodback.InDeadband
}

// play plays the steps; each row is shown in pieces, all alike.
func (f *harness) play(s []marginStep, pieces int) {
	f.run(40, time.Second, floodback.Clear, 5)
	gap := time.Second
	for _, x := range s {
		for range pieces {
			f.step(gap, verdictOf(x.margin), x.margin)
			gap = x.lasts / time.Duration(pieces)
		}
	}
	f.step(gap, floodback.Clear, 5)
	f.run(200, time.Second, floodback.Clear, 5)
}

// Time and dose of an event are the integrals of the margin below zero, each
// row standing until the next, from its beginning to its end; minima are the
// lowest seen.
func TestFiguresAreIntegrals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := marginSteps(t)
		f := newHarness()
		f.play(s, 1)
		for _, c := range f.changes {
			if c.Kind != Closed {
				continue
			}
			at := start.Add(41 * time.Second)
			seconds, dose, low := 0.0, 0.0, math.Inf(1)
			for _, x := range s {
				if !at.Before(c.Event.Began) && at.Before(*c.Event.Closed) {
					if x.margin < 0 {
						seconds += x.lasts.Seconds()
						dose -= x.margin * x.lasts.Seconds()
					}
					low = min(low, x.margin)
				}
				at = at.Add(x.lasts)
			}
			if math.Abs(c.Event.SecondsBelow-seconds) > 0.5 || math.Abs(c.Event.KelvinSecondsBelow-dose) > 0.5 || *c.Event.MinMarginK != low {
				t.Fatalf("%v s, %v K·s, lowest %v; worked out %.0f s, %.1f K·s, %.1f",
					c.Event.SecondsBelow, c.Event.KelvinSecondsBelow, *c.Event.MinMarginK, seconds, dose, low)
			}
		}
	})
}

// Splitting each row into equal ones changes no figure, no beginning and no
// severity, and lets nothing open or close later.
func TestSplitRowsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := marginSteps(t)
		for i := range s { // rows that open and close where others split them
			s[i].lasts = s[i].lasts / time.Second * 2 * time.Second
		}
		whole, split := newHarness(), newHarness()
		whole.hold, split.hold = 0, 0 // opening at the first row is opening at a row of both
		whole.play(s, 1)
		split.play(s, 2)
		figures := func(f *harness) (out []Event) {
			for _, c := range f.changes {
				if c.Kind == Closed {
					e := c.Event
					e.Closed = nil
					out = append(out, e)
				}
			}
			return out
		}
		a, b := figures(whole), figures(split)
		if len(a) != len(b) {
			// A clear time that ends inside a row closes there when it is split,
			// and what comes after is another event.
			if len(b) < len(a) {
				t.Fatalf("%d events of split rows, %d of whole ones", len(b), len(a))
			}
			return
		}
		if diff := cmp.Diff(a, b); diff != "" {
			t.Fatal(diff)
		}
	})
}

// A power cut loses no more of an open event's figures than a quarter of its
// age, at least a minute and at most ten.
func TestFiguresOnDiskAreYoung(t *testing.T) {
	dir := t.TempDir()
	j, err := OpenJournal(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	ev := Event{ID: "g.c-floodback-x", Kind: "floodback", Severity: "risk", Group: "g", Compressor: "c", Opened: start, Began: start}
	j.Add(Change{Opened, start, ev})
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	kept := 0.0
	for age := time.Duration(0); age <= 2*time.Hour; age += 5 * time.Second {
		ev.SecondsBelow = age.Seconds()
		before := j.Status().Bytes
		j.Refresh(start.Add(age), []Event{ev}, false)
		if err := j.Commit(); err != nil {
			t.Fatal(err)
		}
		if j.Status().Bytes > before {
			kept = ev.SecondsBelow
		}
		behind := ev.SecondsBelow - kept
		if allowed := min(max(age.Seconds()/4, 60), 600); behind > allowed+5 {
			t.Fatalf("at an age of %v the journal is %.0f s behind", age, behind)
		}
	}
	if entries := j.Status().Bytes / 300; entries > 60 {
		t.Errorf("some %d entries in two hours", entries)
	}
}
