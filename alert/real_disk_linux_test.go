package alert

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// mounted returns a small file system of its own. Only root may mount one.
func mounted(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		if os.Getenv("DEWGAP_PEERS") != "" {
			t.Fatalf("mount a small file system: %v", err)
		}
		t.Skipf("a small file system cannot be mounted: %v; root may", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil && !errors.Is(err, syscall.EINVAL) {
			t.Error(err)
		}
	})
	return dir
}

// Trap 46 on a real file system that is full to the last byte.
func TestTrap46RealDiskIsFull(t *testing.T) {
	dir := mounted(t, "1m")
	j := openJournal(t, dir, 400_000)
	commit(t, j, opens(0))
	filler := filepath.Join(dir, "filler")
	if err := os.WriteFile(filler, make([]byte, 2<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("the disk is not full: %v", err)
	}
	n := 1
	for ; n < 1000; n++ {
		j.Add(opens(n))
		if j.Commit() != nil {
			break
		}
	}
	if s := j.Status(); n < 50 || n == 1000 || !s.Short || s.Unshown != 1 || len(j.Open()) != n {
		t.Errorf("%d events fitted, %d shown; %+v", n, len(j.Open()), s)
	}
	events, _, err := ReadEvents(dir)
	if err != nil || len(events) != n {
		t.Errorf("%v: %d events on the disk, %d shown", err, len(events), n)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	want := j.Events(time.Time{}, false)
	if err := j.Close(); err != nil || len(want) != n+1 {
		t.Fatalf("%v: %d events with room again, want %d", err, len(want), n+1)
	}
	if diff := cmp.Diff(want, openJournal(t, dir, 400_000).Events(time.Time{}, false)); diff != "" {
		t.Error(diff)
	}
	t.Logf("%d events fitted into the space held back", n-1)
}

// Trap 43 and 45 on a real file system that becomes read-only, as ext4 does after
// an error, and back.
func TestTrap45RealDiskBecomesReadOnly(t *testing.T) {
	dir := mounted(t, "4m")
	j := openJournal(t, dir, 400_000)
	l, _, err := OpenLedger(dir)
	if err != nil {
		t.Fatal(err)
	}
	starts := uint64(1)
	totals := func() []Totals { return []Totals{{Group: "mt", Starts: starts}} }
	commit(t, j, opens(0))
	if err := l.Save(start, j.Last(), totals, false, true); err != nil {
		t.Fatal(err)
	}
	// Files that are open for writing keep a file system from it, as they would
	// not after an error of the disk.
	j.mu.Lock()
	j.shut()
	j.mu.Unlock()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		// The lock is such a file.
		t.Logf("remount: %v; the lock is let go", err)
		if err := errors.Join(j.lock.Close(), syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, "")); err != nil {
			t.Fatal(err)
		}
		j.lock = nil
	}
	j.Add(opens(1))
	starts = 9
	if err := j.Commit(); !errors.Is(err, syscall.EROFS) {
		t.Errorf("commit: %v", err)
	}
	if err := l.Save(start.Add(time.Hour), j.Last(), totals, false, true); !errors.Is(err, syscall.EROFS) {
		t.Errorf("ledger: %v", err)
	}
	if got := l.Written(totals())[0].Starts; got != 1 || len(j.Open()) != 1 {
		t.Errorf("published %d starts and %d events, 1 of each is on the disk", got, len(j.Open()))
	}
	// A daemon that starts now goes on with what is there.
	k := openJournal(t, dir, 400_000)
	if s := k.Status(); s.Fault == "" || len(k.Open()) != 1 || len(s.SetAside) != 0 {
		t.Errorf("opened read-only: %+v, %d events", s, len(k.Open()))
	}
	k.Close()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, ""); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(j.Commit(), l.Save(start.Add(time.Hour), j.Last(), totals, false, false)); err != nil {
		t.Error(err)
	}
	if got := l.Written(totals())[0].Starts; got != 9 || len(j.Open()) != 2 {
		t.Errorf("writable again: %d starts, %d events", got, len(j.Open()))
	}
}

// Trap 45: the data directory is unmounted under the daemon. The next commit
// writes everything into what is there now.
func TestTrap45RealDiskIsUnmounted(t *testing.T) {
	dir := mounted(t, "4m")
	j := openJournal(t, dir, 400_000)
	commit(t, j, opens(0), opens(1))
	if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
		t.Fatal(err)
	}
	commit(t, j, opens(2))
	events, _, err := ReadEvents(dir)
	if err != nil || len(events) != 3 || j.Status().Anew != 1 {
		t.Errorf("%v: %d events under the path, want 3; %+v", err, len(events), j.Status())
	}
}
