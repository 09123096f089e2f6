package alert

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

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
