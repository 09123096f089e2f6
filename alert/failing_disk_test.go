package alert

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// onDisk is what the files of a directory hold, whatever they are called: event
// id and kind of change.
func onDisk(t *testing.T, dir string) map[string]bool {
	t.Helper()
	names, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	held := map[string]bool{}
	for _, name := range names {
		if !strings.HasPrefix(name.Name(), JournalFile) {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, name.Name()))
		if err != nil {
			t.Fatal(err)
		}
		readFrames(data, func(text []byte) {
			if e, ok := decodeEntry(text); ok && e.Event != nil {
				held[e.Event.ID] = held[e.Event.ID] || e.Event.Closed != nil
			}
		})
	}
	return held
}

// diskTrial plays opening, events, a file that turns over and reopening on a disk
// that fails, and holds the laws.
type diskTrial struct {
	*testing.T

	files   *failing
	dir     string
	tried   map[string]bool   // event → whether it was closed
	shown   map[string]bool   // that were shown at any time: closed or not
	numbers map[uint64]string // what each number was seen to be
	newest  uint64
	journal *Journal
	ledger  *Ledger
	counted uint64 // starts, the counter of the trial
	most    uint64 // of it that was published
	aside   bool   // a file was set aside
}

func newDiskTrial(t *testing.T, files *failing) *diskTrial {
	return &diskTrial{T: t, files: files, dir: t.TempDir(), tried: map[string]bool{}, shown: map[string]bool{}, numbers: map[uint64]string{}}
}

func (d *diskTrial) open() {
	j, err := openJournalOn(d.files, d.dir, 6000)
	if err != nil {
		d.Fatal(err)
	}
	d.journal = j
	j.Keep(0)
	l, totals, err := openLedgerOn(d.files, d.dir)
	d.ledger = l
	counted := uint64(0)
	if len(totals) > 0 {
		counted = totals[0].Starts
	}
	if counted < d.most && err == nil {
		d.Errorf("the counter came back as %d, %d was published", counted, d.most)
	}
	if counted < d.most { // a disk that does not give the file back was reported
		d.most = counted
	}
	d.counted = counted
	d.look()
}

// step takes changes and looks at what is shown.
func (d *diskTrial) step(n int, changes ...Change) {
	for _, c := range changes {
		d.tried[c.Event.ID] = c.Event.Closed != nil
	}
	d.journal.Add(changes...)
	_ = d.journal.Commit()
	if d.journal.Status().Unshown == 0 {
		d.counted++
		totals := func() []Totals { return []Totals{{Group: "mt", Compressor: "c1", Starts: d.counted}} }
		_ = d.ledger.Save(start.Add(time.Duration(n)*time.Minute), d.journal.Last(), totals, true, true)
		d.most = max(d.most, d.ledger.Written(totals())[0].Starts)
	}
	d.look()
}

// look holds the laws: what is shown is on the disk, once, and numbers grow.
func (d *diskTrial) look() {
	d.aside = d.aside || len(d.journal.Status().SetAside) > 0 || len(d.ledger.SetAside()) > 0
	held := onDisk(d.T, d.dir)
	seen := map[string]bool{}
	for _, ev := range d.journal.Events(time.Time{}, false) {
		ended, there := held[ev.ID]
		if !there || (ev.Closed != nil && !ended) {
			d.Errorf("%s is shown (closed %t) and not on the disk", ev.ID, ev.Closed != nil)
		}
		if seen[ev.ID] {
			d.Errorf("%s is shown twice", ev.ID)
		}
		seen[ev.ID] = true
		d.shown[ev.ID] = d.shown[ev.ID] || ev.Closed != nil
	}
	entries, _ := d.journal.After(0, 1000)
	before := uint64(0)
	times := map[string]int{}
	for _, e := range entries {
		what := e.Change.Kind.String() + " " + e.Change.Event.ID
		if times[what]++; times[what] > 1 {
			d.Errorf("%s has two numbers", what)
		}
		if was, known := d.numbers[e.Number]; known && was != what {
			d.Errorf("number %d was %s and is %s", e.Number, was, what)
		}
		if _, known := d.numbers[e.Number]; e.Number <= before || (!known && e.Number <= d.newest) {
			d.Errorf("number %d of %s after %d and %d", e.Number, what, before, d.newest)
		}
		d.numbers[e.Number], before = what, e.Number
	}
	d.newest = max(d.newest, before)
}

func (d *diskTrial) close() { _ = d.journal.Close() }

// cutPower leaves an unfinished entry at the end of the file.
func (d *diskTrial) cutPower() {
	f, err := os.OpenFile(d.journal.path(), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return // a failing disk left no file
	}
	_, err = f.WriteString("5f3a9c01 270 {\"n\":")
	if err := errors.Join(err, f.Close()); err != nil {
		d.Fatal(err)
	}
}

// play is the whole scenario; at its end the disk is sound again.
func (d *diskTrial) play() {
	d.open()
	for i := range 9 {
		d.step(i, opens(i))
		if i > 0 {
			d.step(i, closes(i-1))
		}
		if i == 3 || i == 6 {
			d.close()
			d.cutPower()
			d.open()
		}
	}
	d.files.length = 0
	d.step(10, closes(8))
	d.close()
	d.files.length = 0
	d.open()
	defer d.close()
	held := onDisk(d.T, d.dir)
	final := map[string]bool{}
	for _, ev := range d.journal.Events(time.Time{}, false) {
		final[ev.ID] = ev.Closed != nil
	}
	for _, id := range slices.Sorted(maps.Keys(d.shown)) {
		ended, there := final[id]
		if d.aside { // what a failing disk did not give back is in a file that was set aside
			ended, there = ended || held[id], there || d.hasOnDisk(held, id)
		}
		if !there || (d.shown[id] && !ended) {
			d.Errorf("%s was shown (closed %t) and is lost", id, d.shown[id])
		}
	}
	for id := range final {
		if _, ok := d.tried[id]; !ok {
			d.Errorf("%s was never added", id)
		}
	}
}

func (d *diskTrial) hasOnDisk(held map[string]bool, id string) bool { _, ok := held[id]; return ok }

// A disk that fails at any call, in any way, for a moment or for a while: nothing
// that was shown is lost or doubled, nothing is shown that is not on the disk,
// numbers grow, counters do not go back, and the journal goes on.
func TestDiskThatFailsAtEachCall(t *testing.T) {
	sound := &failing{}
	trial := newDiskTrial(t, sound)
	trial.play()
	if t.Failed() {
		t.Fatal("on a sound disk")
	}
	calls := sound.calls
	hit := map[string]int{}
	stride := 53 // a sample
	if os.Getenv("DEWGAP_PEERS") != "" {
		stride = 1
	}
	played := 0
	for _, kind := range []struct {
		name string
		err  error
		half bool
	}{{"EIO", syscall.EIO, false}, {"ENOSPC", syscall.ENOSPC, false}, {"EPERM", syscall.EPERM, false}, {"half a write", syscall.ENOSPC, true}} {
		for _, length := range []int{1, 2, 12} {
			for at := range calls {
				rare := length == 1 && kind.name == "EIO" && (sound.names[at] == "read" || sound.names[at] == "truncate")
				if !rare && (at+played)%stride != 0 {
					continue
				}
				name := fmt.Sprintf("%s from call %d, %d calls", kind.name, at, length)
				ok := t.Run(name, func(t *testing.T) {
					files := &failing{at: at, length: length, err: kind.err, half: kind.half}
					d := newDiskTrial(t, files)
					d.play()
					on := append(asideOf(disk{}, d.journal.path()), asideOf(disk{}, filepath.Join(d.dir, OlderFile))...)
					if len(on) > 0 != (len(d.journal.Status().SetAside) > 0) {
						t.Errorf("set aside %v, reported %v", on, d.journal.Status().SetAside)
					}
					for _, name := range files.hit {
						hit[name]++
					}
					if t.Failed() {
						t.Logf("failed: %v", files.hit)
					}
				})
				played++
				if !ok && t.Failed() && played > 2000 {
					t.FailNow()
				}
			}
		}
	}
	for _, name := range []string{"open", "read", "write", "sync", "sync directory", "rename", "link", "truncate", "unlink", "stat", "close"} {
		if hit[name] == 0 {
			t.Errorf("%s never failed", name)
		}
	}
	t.Logf("%d scenarios of %d calls; calls that failed: %v", played, calls, hit)
}
