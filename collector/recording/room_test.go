package recording

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// onDisk lists the recordings in dir with their sizes together.
func onDisk(t *testing.T, dir string) (names []string, size int64) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, prefix+"*"+suffix))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	return names, size
}

// Trap 46: the disk fills. The oldest recordings go first, then recording stops,
// with a reason, and the reserve stays free.
func TestTrap46RecordingsGiveWay(t *testing.T) {
	const capacity, reserve = 2 << 20, 200 << 10 // less than an eighth of it
	dir := t.TempDir()
	r := NewRecorder(dir, points, Limits{Bytes: 1 << 40, Reserve: reserve}, nil)
	r.limits.Bytes = 8 * minFile // files of the least size
	others := int64(0)           // what somebody else put on the disk
	r.space = func(string) (int64, int64, bool) {
		_, size := onDisk(t, dir)
		return capacity - others - size, capacity, true
	}
	n := 0
	record := func(rows int) error {
		for range rows {
			r.Append(rowAt(n))
			n++
		}
		return r.write()
	}
	for range 100 {
		if err := record(500); err != nil {
			t.Fatal(err)
		}
	}
	names, size := onDisk(t, dir)
	if len(names) < 4 {
		t.Fatalf("%d recordings of %d bytes: too few to show anything", len(names), size)
	}
	others = capacity - reserve - size/2
	if err := record(500); err != nil {
		t.Fatal(err)
	}
	left, now := onDisk(t, dir)
	if free := capacity - others - now; free < reserve || left[0] == names[0] || left[len(left)-1] < names[len(names)-1] {
		t.Errorf("%d bytes free; recordings %v, before %v", free, left, names)
	}
	others = capacity - reserve/2
	err := record(500)
	if err == nil || !strings.Contains(err.Error(), "stay for the event journal") {
		t.Errorf("recording goes on: %v", err)
	}
	if lost, err := r.Lost(); lost != 0 || err == nil {
		t.Errorf("lost %d, %v: the rows should wait", lost, err)
	}
	others = 0
	if err := record(10); err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	rows, _, err := recordings(t, dir)
	if last := rows[len(rows)-1].Time; err != nil || !last.Equal(rowAt(n-1).Time) {
		t.Errorf("%v: the last row is of %v", err, last)
	}
}

// Trap 46: a disk smaller than the reserve still takes recordings.
func TestTrap46ReserveOnASmallDisk(t *testing.T) {
	for _, c := range []struct {
		free, total int64
		fails       bool
	}{{free: 7 << 20, total: 8 << 20}, {free: 1<<20 - 1, total: 8 << 20, fails: true}, {free: 31 << 20, total: 1 << 30, fails: true}, {free: 40 << 20, total: 1 << 30}} {
		r := NewRecorder(t.TempDir(), points, Limits{Bytes: 1 << 20, Reserve: 32 << 20}, nil)
		r.space = func(string) (int64, int64, bool) { return c.free, c.total, true }
		r.Append(rowAt(0))
		if err := r.Close(); (err != nil) != c.fails {
			t.Errorf("%d bytes free of %d: %v", c.free, c.total, err)
		}
	}
}

// Trap 46: no recording without rows is left behind, neither by a write that
// fails nor by a crash.
func TestTrap46NoEmptyRecordings(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, prefix+"20200101T000000.000Z"+suffix)
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	r := NewRecorder(dir, points, Limits{Bytes: 1 << 20}, nil)
	r.Append(rowAt(0))
	if err := r.openFile(rowAt(0).Time); err != nil {
		t.Fatal(err)
	}
	r.file.Close() // what follows fails
	if err := r.write(); err == nil {
		t.Fatal("wrote into a closed file")
	}
	if names, _ := onDisk(t, dir); len(names) != 0 {
		t.Errorf("left behind: %v", names)
	}
	r.Append(rowAt(1))
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if names, size := onDisk(t, dir); len(names) != 1 || size == 0 {
		t.Errorf("%v of %d bytes", names, size)
	}
}

// The disk is written to once a minute by default, and sooner where a batch is
// large.
func TestRecorderWritesInBatches(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		r := NewRecorder(dir, points, Limits{Bytes: 1 << 30}, nil)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- r.Run(ctx) }()
		wait := func(d time.Duration) { <-time.After(d); synctest.Wait() }
		for i := range 59 {
			r.Append(rowAt(i))
			wait(time.Second)
		}
		if names, _ := onDisk(t, dir); len(names) != 0 {
			t.Errorf("written before its time: %v", names)
		}
		wait(2 * time.Second)
		if rows, _, _ := recordings(t, dir); len(rows) != 59 {
			t.Errorf("%d rows after a minute", len(rows))
		}
		for i := range maxBatch / 20 {
			r.Append(rowAt(60 + i))
		}
		synctest.Wait()
		if rows, _, _ := recordings(t, dir); len(rows) < 1000 {
			t.Errorf("%d rows after a large batch", len(rows))
		}
		cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
	})
}
