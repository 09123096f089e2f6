package alert

import (
	"bytes"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
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

// Trap 44: one read error at the start. Nothing is cut, every sound entry is kept,
// and the file is reported until a person has moved it away.
func TestTrap44ReadErrorAtTheStart(t *testing.T) {
	for name, c := range map[string]struct {
		bad  int64 // first byte of a block that cannot be read; −1: the file cannot be opened
		lost int   // at most
	}{"a block in the middle": {8192, 12}, "the first block": {0, 12}, "the whole file": {-1, 200}} {
		t.Run(name, func(t *testing.T) {
			data := written(t, 200)
			dir := t.TempDir()
			path := filepath.Join(dir, JournalFile)
			if err := os.WriteFile(path, data, 0o640); err != nil {
				t.Fatal(err)
			}
			j, err := openJournalOn(badBlockDisk{bad: c.bad, name: path}, dir, 0)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { j.Close() })
			if got := len(j.Open()); got < 200-c.lost || (c.bad >= 0 && got == 0) {
				t.Errorf("%d events kept of 200", got)
			}
			if s := j.Status(); len(s.SetAside) != 1 || s.Recovered.ReadFault == "" || !strings.Contains(s.Recovered.String(), "set aside") {
				t.Errorf("status %+v", s)
			}
			aside := filepath.Join(dir, JournalFile+".aside-1")
			if kept, err := os.ReadFile(aside); err != nil || !bytes.Equal(kept, data) {
				t.Errorf("%v: the file set aside has %d bytes of %d", err, len(kept), len(data))
			}
			kept := len(j.Open())
			commit(t, j, opens(300))
			j.Close()
			k := openJournal(t, dir, 0) // a restart does not confirm
			if got := len(k.Open()); got != kept+1 {
				t.Errorf("%d events after a restart, want %d", got, kept+1)
			}
			if s := k.Status(); len(s.SetAside) != 1 || s.Recovered.String() != "" {
				t.Errorf("after a restart: %+v", s)
			}
			if err := os.Remove(aside); err != nil {
				t.Fatal(err)
			}
			if err := k.Commit(); err != nil || len(k.Status().SetAside) != 0 {
				t.Errorf("%v: moved away and still reported: %+v", err, k.Status())
			}
		})
	}
}

// badBlockDisk is a disk with 4 KiB that cannot be read in the file name; with a
// negative block, that file cannot be opened for reading.
type badBlockDisk struct {
	disk

	bad  int64
	name string
}

func (d badBlockDisk) Open(path string, flag int, mode os.FileMode) (file, error) {
	if path == d.name && d.bad < 0 && flag == os.O_RDONLY {
		return nil, &fs.PathError{Op: "open", Path: path, Err: syscall.EIO}
	}
	f, err := d.disk.Open(path, flag, mode)
	if err != nil || path != d.name || flag != os.O_RDONLY {
		return f, err
	}
	return badBlockFile{f, d.bad}, nil
}

type badBlockFile struct {
	file
	bad int64
}

func (f badBlockFile) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) <= f.bad || off >= f.bad+badBlock {
		return f.file.ReadAt(p, off)
	}
	n := 0
	if off < f.bad {
		n, _ = f.file.ReadAt(p[:f.bad-off], off)
	}
	return n, syscall.EIO
}

// Trap 44: the same file fails at each start. What is set aside is bounded, and
// the first is never replaced.
func TestTrap44FilesSetAsideAreBounded(t *testing.T) {
	dir := t.TempDir()
	for n := range 9 {
		path := filepath.Join(dir, JournalFile)
		if err := os.WriteFile(path, written(t, n+1), 0o640); err != nil {
			t.Fatal(err)
		}
		j, err := openJournalOn(badBlockDisk{bad: 0, name: path}, dir, 0)
		if err != nil {
			t.Fatal(err)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	names := asideOf(disk{}, filepath.Join(dir, JournalFile))
	first, err := os.ReadFile(filepath.Join(dir, names[0]))
	if err != nil || len(names) != maxAside || !bytes.Equal(first, written(t, 1)) {
		t.Errorf("%v: set aside %v", err, names)
	}
}

// Trap 45: the file is removed, replaced or cut under the running daemon. The next
// commit writes all of it anew; a file of somebody else is set aside.
func TestTrap45FileChangedUnderTheDaemon(t *testing.T) {
	for name, c := range map[string]struct {
		harm  func(path string) error
		aside int
	}{
		"removed": {os.Remove, 0},
		"cut":     {func(path string) error { return os.Truncate(path, 100) }, 0},
		"emptied": {func(path string) error { return os.Truncate(path, 0) }, 0},
		"replaced": {func(path string) error {
			return replace(disk{}, path, bytes.Repeat([]byte("somebody else's\n"), 9999), nil)
		}, 1},
		"replaced by a copy": {func(path string) error {
			data, err := os.ReadFile(path)
			return errors.Join(err, replace(disk{}, path, data, nil))
		}, 1},
		"directory removed and made again": {func(path string) error {
			dir := filepath.Dir(path)
			return errors.Join(os.Rename(dir, dir+"-gone"), os.Mkdir(dir, 0o750))
		}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			j := openJournal(t, dir, 0)
			for i := range 5 {
				commit(t, j, opens(i), closes(i))
			}
			before, _ := j.After(0, 100)
			if err := c.harm(j.path()); err != nil {
				t.Fatal(err)
			}
			commit(t, j, opens(7))
			if s := j.Status(); s.Anew != 1 || len(s.SetAside) != c.aside {
				t.Errorf("status %+v", s)
			}
			// A process of its own reads the path, as after a kill.
			events, _, err := ReadEvents(dir)
			if err != nil || len(events) != 6 {
				t.Errorf("%v: %d events under the path, want 6", err, len(events))
			}
			k := newJournal(disk{}, dir, 0)
			if err := k.load(); err != nil {
				t.Fatal(err)
			}
			after, _ := k.After(0, 100)
			if len(after) != len(before)+1 || after[3].Number != before[3].Number {
				t.Errorf("changes %v, before %v", numbers(after), numbers(before))
			}
		})
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

// fullDisk is a disk with little room: writes that exceed it fail, and what is
// removed gives its space back.
type fullDisk struct {
	disk

	dir  string
	room *int64 // bytes that the directory may hold
}

func (d fullDisk) used() (sum int64) {
	names, _ := os.ReadDir(d.dir) // an empty list is no room at all
	for _, n := range names {
		if info, err := n.Info(); err == nil {
			sum += info.Size()
		}
	}
	return sum
}

func (d fullDisk) Open(path string, flag int, mode os.FileMode) (file, error) {
	f, err := d.disk.Open(path, flag, mode)
	if err != nil {
		return nil, err
	}
	return fullDiskFile{f, d}, nil
}

type fullDiskFile struct {
	file
	d fullDisk
}

func (f fullDiskFile) WriteAt(p []byte, off int64) (int, error) {
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	if more := off + int64(len(p)) - st.Size(); f.d.used()+more > *f.d.room {
		n, err := f.file.WriteAt(p[:len(p)/2], off)
		return n, errors.Join(err, syscall.ENOSPC)
	}
	return f.file.WriteAt(p, off)
}

// Trap 46: something else fills the disk to the last byte. The space that was held
// back takes events and exposure on; then an event that is not on the disk is not
// shown as one.
func TestTrap46SpaceIsHeldBackForTheJournal(t *testing.T) {
	dir := t.TempDir()
	room := int64(1 << 40)
	files := fullDisk{dir: dir, room: &room}
	j, err := openJournalOn(files, dir, 100_000)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	l, _, err := openLedgerOn(files, dir)
	if err != nil {
		t.Fatal(err)
	}
	commit(t, j, opens(0))
	room = files.used() // full
	j.Add(opens(-1))
	if err := j.Commit(); err != nil { // gives the space up
		t.Errorf("an event on a full disk: %v", err)
	}
	room = 1 << 40
	j.reserve.hold()
	room = files.used()
	totals := func() []Totals { return []Totals{{Group: "mt", Starts: 1}} }
	if err := l.Save(start, 1, totals, false, true); err == nil || !j.FreeReserve(err) {
		t.Fatalf("the ledger on a full disk: %v", err)
	}
	if err := l.Save(start, 1, totals, false, true); err != nil {
		t.Errorf("with the space held back: %v", err)
	}
	n := 1
	for ; n < 500; n++ {
		j.Add(opens(n))
		if j.Commit() != nil {
			break
		}
	}
	if n < 20 || n == 500 {
		t.Errorf("%d events fitted", n)
	}
	if s := j.Status(); !s.Short || s.Unshown != 1 || s.Fault == "" {
		t.Errorf("status %+v", s)
	}
	if got := len(j.Open()); got != n+1 {
		t.Errorf("%d events shown, %d are on the disk", got, n+1)
	}
	room = 1 << 40
	for range reserveEvery + 1 {
		if err := j.Commit(); err != nil {
			t.Fatal(err)
		}
	}
	if s := j.Status(); s.Short || s.Unshown != 0 || len(j.Open()) != n+2 {
		t.Errorf("with room again: %+v, %d events", s, len(j.Open()))
	}
	if st, err := os.Stat(filepath.Join(dir, ReserveFile)); err != nil || st.Size() != 25_000 {
		t.Errorf("the space is not held back again: %v", err)
	}
}
