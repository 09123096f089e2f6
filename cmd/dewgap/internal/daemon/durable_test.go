package daemon

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
)

func opened(t *testing.T, dir string) *Daemon {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d, err := openIn(t, dir, l, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

// faults returns the faults that page and metrics show, by name.
func faults(d *Daemon) map[string]string {
	s, _ := d.board.Current()
	all := map[string]string{}
	for _, f := range s.AllFaults() {
		all[f.What] = f.Text
	}
	return all
}

// Trap 46: an event that is not on the disk is not shown as one, and the page
// shows that it waits. It is shown once it is written, and the journal notes that
// its file was gone.
func TestTrap46EventsThatWaitAreNotShown(t *testing.T) {
	dir := t.TempDir()
	d := opened(t, dir)
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	ev := alert.Event{ID: "mt.c1-floodback-1", Kind: "floodback", Severity: "major", Group: "mt", Compressor: "c1", Opened: at, Began: at}
	// The file is gone, and no other can be written.
	block := filepath.Join(dir, alert.JournalFile+".new", "x")
	if err := os.Remove(filepath.Join(dir, alert.JournalFile)); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(block, 0o750); err != nil {
		t.Fatal(err)
	}
	d.save(d.current, at, []alert.Change{{Kind: alert.Opened, At: at, Event: ev}}, []alert.Event{ev})
	d.publish(d.current, analyze.Result{Time: at})
	if s, _ := d.board.Current(); len(s.Open) != 0 || !strings.Contains(faults(d)["journal"], "1 changes of events wait") {
		t.Errorf("%d events shown; faults %v", len(s.Open), faults(d))
	}
	if _, totals, err := alert.OpenLedger(dir); err != nil || totals != nil {
		t.Errorf("%v: the ledger is ahead of the journal: %v", err, totals)
	}
	if err := os.RemoveAll(filepath.Dir(block)); err != nil {
		t.Fatal(err)
	}
	d.save(d.current, at.Add(time.Second), nil, []alert.Event{ev})
	d.publish(d.current, analyze.Result{Time: at.Add(time.Second)})
	if s, _ := d.board.Current(); len(s.Open) != 1 || faults(d)["journal"] != "" {
		t.Errorf("%d events shown; faults %v", len(s.Open), faults(d))
	}
	d.save(d.current, at.Add(2*time.Second), nil, []alert.Event{ev})
	notes := d.journal.Notes()
	if len(notes) == 0 || notes[len(notes)-1].What.Code != evidence.JournalAnew {
		t.Errorf("notes %+v", notes)
	}
}

// Trap 43: what is published of a running machine is on the disk.
func TestTrap43PublishedTotalsAreOnTheDisk(t *testing.T) {
	dir := t.TempDir()
	d := opened(t, dir)
	begun := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for second := range 150 {
		at := begun.Add(time.Duration(second) * time.Second)
		r := analyze.Result{Time: at, States: []analyze.State{{Time: at, Group: "mt", Name: "c1", Phase: frame.Steady}}}
		d.current.pipeline.Tracker.Step(r)
		d.save(d.current, at, nil, nil)
		d.publish(d.current, r)
		s, _ := d.board.Current()
		_, onDisk, err := alert.OpenLedger(dir)
		if err != nil || len(onDisk) == 0 {
			t.Fatal(err, onDisk)
		}
		shown := s.Totals[0].RunningSeconds
		if shown > onDisk[0].RunningSeconds || float64(second)-shown > 60 {
			t.Fatalf("after %d s: %g s shown, %g s on the disk", second, shown, onDisk[0].RunningSeconds)
		}
	}
}

// Trap 44: a file that is set aside stays a fault over restarts until a person
// has moved it away.
func TestTrap44SetAsideIsAFaultUntilConfirmed(t *testing.T) {
	dir := t.TempDir()
	var aside []string
	for _, name := range []string{alert.JournalFile, alert.LedgerFile} {
		aside = append(aside, filepath.Join(dir, name+".aside-1"))
		if err := os.WriteFile(aside[len(aside)-1], []byte("what a disk did not give back"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		d := opened(t, dir)
		row := func() map[string]string {
			d.save(d.current, time.Now(), nil, nil)
			d.publish(d.current, analyze.Result{Time: time.Now()})
			return faults(d)
		}
		if f := row(); f["journal_unread"] == "" || f["ledger_unread"] == "" {
			t.Errorf("faults %v", f)
		}
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
	}
	d := opened(t, dir)
	for _, name := range aside {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	d.save(d.current, time.Now(), nil, nil)
	d.publish(d.current, analyze.Result{Time: time.Now()})
	if f := faults(d); f["journal_unread"] != "" || f["ledger_unread"] != "" {
		t.Errorf("moved away and still reported: %v", f)
	}
}
