package alert

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// Trap 43: a counter that comes back lower than what was scraped. Only what is on
// the disk is published.
func TestTrap43WhatIsPublishedIsOnTheDisk(t *testing.T) {
	dir := t.TempDir()
	l, _, err := OpenLedger(dir)
	if err != nil {
		t.Fatal(err)
	}
	now := Totals{Group: "mt", Compressor: "c1"}
	totals := func() []Totals { return []Totals{now} }
	for second := range 200 {
		now.RunningSeconds, now.FloodbackSeconds, now.Starts = float64(second), float64(second)/2, uint64(second/7)
		if err := l.Save(start.Add(time.Duration(second)*time.Second), uint64(second), totals, second > 100, second == 33); err != nil {
			t.Fatal(err)
		}
		published := l.Written(totals())[0]
		// The power is cut here.
		again, back, err := OpenLedger(dir)
		if err != nil {
			t.Fatal(err)
		}
		if b := back[0]; published.RunningSeconds > b.RunningSeconds || published.FloodbackSeconds > b.FloodbackSeconds || published.Starts > b.Starts {
			t.Fatalf("after %d s: published %+v, on the disk %+v", second, published, b)
		}
		if again.Entry() != l.Entry() {
			t.Errorf("entry %d, written %d", again.Entry(), l.Entry())
		}
		late := now.RunningSeconds - published.RunningSeconds
		if limit := 60.0; late >= limit || (second > 120 && late >= 15) {
			t.Errorf("after %d s the page is %g s late", second, late)
		}
	}
}

// Trap 43: what the disk never took is not published, and what left the
// configuration is there when it comes back.
func TestTrap43NothingWrittenIsNothingPublished(t *testing.T) {
	files := &failing{}
	dir := t.TempDir()
	l, _, err := openLedgerOn(files, dir)
	if err != nil {
		t.Fatal(err)
	}
	files.at, files.length, files.err = 0, 1<<40, syscall.ENOSPC
	c1, c2 := Totals{Group: "mt", Compressor: "c1", Starts: 5}, Totals{Group: "mt", Compressor: "c2", Starts: 9}
	both, one := func() []Totals { return []Totals{c1, c2} }, func() []Totals { return []Totals{c1} }
	if err := l.Save(start, 1, both, false, true); !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	if got := l.Written(both())[1]; got.Starts != 0 || got.Compressor != "c2" {
		t.Errorf("published %+v", got)
	}
	files.length = 0
	for _, totals := range []func() []Totals{both, one} {
		if err := l.Save(start, 2, totals, false, true); err != nil {
			t.Fatal(err)
		}
	}
	_, back, err := OpenLedger(dir)
	if err != nil || len(back) != 2 || back[1].Starts != 9 {
		t.Errorf("%v: %+v, want c2 kept", err, back)
	}
}

// Trap 43: the power is cut between journal and ledger. The event is counted at
// the next start, once.
func TestTrap43EventsBehindTheLedgerAreCounted(t *testing.T) {
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	grown := event(0)
	grown.Severity, grown.SecondsBelow, grown.KelvinSecondsBelow = "minor", 40, 120
	ended := closedAt(grown, grown.Opened.Add(time.Hour))
	ended.Causes = []Cause{{Cause: "unknown", Score: 1}}
	commit(t, j, opens(0))
	counted := j.Last()
	commit(t, j, Change{Escalated, grown.Opened, grown}, Change{Closed, *ended.Closed, ended}, opens(1))
	entries, _ := j.After(0, 100)
	for _, c := range []struct {
		entry             uint64
		opened, escalated uint64
	}{{0, 2, 1}, {counted, 1, 1}, {j.Last(), 0, 0}} {
		tr := NewTracker(testSite())
		tr.Restore(nil, nil)
		tr.Recount(entries, c.entry)
		var opened, escalated, causes uint64
		for _, sum := range tr.Totals() {
			for _, n := range sum.Events {
				opened, escalated = opened+n.Opened, escalated+n.Escalated
			}
			causes += sum.Causes["unknown"]
		}
		if opened != c.opened || escalated != c.escalated || causes != c.escalated {
			t.Errorf("behind entry %d: %d opened, %d escalated, %d causes; want %d, %d, %d", c.entry, opened, escalated, causes, c.opened, c.escalated, c.escalated)
		}
	}
}

// Trap 56: a file system without hard links. The file before is kept by a rename,
// and a crash between the two renames costs nothing.
func TestTrap56NoHardLinks(t *testing.T) {
	for _, err := range []error{syscall.EPERM, syscall.ENOTSUP, syscall.EMLINK, syscall.ENOSYS} {
		dir := t.TempDir()
		files := linkless{err: err}
		l, _, failed := openLedgerOn(files, dir)
		if failed != nil {
			t.Fatal(failed)
		}
		for n := range uint64(3) {
			if err := l.Save(start, n+1, func() []Totals { return []Totals{{Group: "mt", Starts: n}} }, false, true); err != nil {
				t.Fatal(err)
			}
		}
		if _, got, err := OpenLedger(dir); err != nil || got[0].Starts != 2 {
			t.Errorf("%v: %+v", err, got)
		}
		// The crash: the present file has the name of the older one, the new one
		// not yet its own.
		path := filepath.Join(dir, LedgerFile)
		if err := errors.Join(os.Rename(path, path+newSuffix)); err != nil {
			t.Fatal(err)
		}
		if _, got, err := OpenLedger(dir); err != nil || got[0].Starts != 2 {
			t.Errorf("after a crash between the renames: %v: %+v", err, got)
		}
	}
}

type linkless struct {
	disk

	err error
}

func (l linkless) Link(from, to string) error {
	return &os.LinkError{Op: "link", Old: from, New: to, Err: l.err}
}

// Trap 55: a fault that recurs has the same text each time, so that it is logged
// once.
func TestTrap55FaultsHaveNoRandomNames(t *testing.T) {
	for at := range 6 {
		texts := map[string]bool{}
		dir := t.TempDir()
		for range 3 {
			files := &failing{err: syscall.ENOSPC}
			l, _, err := openLedgerOn(files, dir)
			if err != nil {
				t.Fatal(err)
			}
			files.at, files.length = files.calls+at, 1
			err = l.Save(start, 1, func() []Totals { return nil }, false, true)
			if err == nil {
				texts[""] = true
				continue
			}
			texts[err.Error()] = true
		}
		if len(texts) != 1 {
			t.Errorf("call %d fails with different texts: %v", at, texts)
		}
	}
	dir := filepath.Join(t.TempDir(), "data")
	l, _, err := OpenLedger(dir) // the directory is not there: the real file system words the error
	if err != nil {
		t.Fatal(err)
	}
	first := l.Save(start, 1, func() []Totals { return nil }, false, true)
	if second := l.Save(start, 1, func() []Totals { return nil }, false, true); first == nil || first.Error() != second.Error() {
		t.Errorf("%v, then %v", first, second)
	}
}

// Trap 58, a property: over whatever phases, qualities and verdicts, floodback
// time never exceeds running time.
func TestTrap58FloodbackIsPartOfRunning(t *testing.T) {
	random := rand.New(rand.NewPCG(58, 1))
	counted := 0.0
	for range 300 {
		tr := NewTracker(testSite())
		at := start
		phase, running := frame.Steady, frame.Yes
		for range 200 {
			at = at.Add(time.Duration(random.IntN(3000)) * time.Millisecond)
			if random.IntN(8) == 0 {
				phase, running = frame.Phase(random.IntN(int(frame.PhaseCount))), frame.Tristate(random.IntN(3))
			}
			finding := floodback.Finding{Kind: floodback.Floodback, Verdict: floodback.Verdict(random.IntN(int(floodback.Present) + 1)), Input: -1,
				Hold: 2 * time.Second, ClearHold: 5 * time.Second, Immediate: random.IntN(9) == 0}
			if random.IntN(3) > 0 {
				finding.Verdict = floodback.Present
			}
			st := analyze.State{Time: at, Group: "mt", Name: "c1", Phase: phase, Running: running, Quality: reading.Quality(random.IntN(5)),
				Superheat: 3, Floor: 8, Margin: units.Kelvin(random.Float64()*10 - 8)}
			tr.Step(analyze.Result{Time: at, States: []analyze.State{st}, Findings: []floodback.Finding{finding}})
			sum := tr.Totals()[0]
			if sum.FloodbackSeconds > sum.RunningSeconds+0.001 {
				t.Fatalf("floodback %g s, running %g s, in phase %s", sum.FloodbackSeconds, sum.RunningSeconds, phase)
			}
			counted = max(counted, sum.FloodbackSeconds)
		}
	}
	if counted < 20 {
		t.Errorf("at most %g s of floodback: the test shows nothing", counted)
	}
}

// Trap 58: a machine that runs in a phase that is not known counts both.
func TestTrap58RunningInAnUnknownPhase(t *testing.T) {
	tr := NewTracker(testSite())
	for second := range 100 {
		at := start.Add(time.Duration(second) * time.Second)
		st := analyze.State{Time: at, Group: "mt", Name: "c1", Phase: frame.Unknown, Running: frame.Yes, Quality: reading.Good, Superheat: 3, Floor: 8, Margin: -5}
		tr.Step(analyze.Result{Time: at, States: []analyze.State{st}, Findings: []floodback.Finding{{Kind: floodback.Floodback, Verdict: floodback.Present, Input: -1, Hold: 30 * time.Second}}})
	}
	if sum := tr.Totals()[0]; sum.RunningSeconds != 99 || sum.FloodbackSeconds != 99 {
		t.Errorf("running %g s, floodback %g s; want 99 of both", sum.RunningSeconds, sum.FloodbackSeconds)
	}
}
