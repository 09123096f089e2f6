package alert

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/trend"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func event(n int) Event {
	at := start.Add(time.Duration(n) * time.Minute)
	return Event{ID: fmt.Sprintf("mt.c1-floodback-%03d", n), Kind: "floodback", Severity: "risk", Site: "demo", Group: "mt", Compressor: "c1",
		Opened: at, Began: at.Add(-time.Minute), Phase: "steady", Circuits: []Score{}, Causes: []Cause{}, Evidence: evidence.Sentences([]string{"Näher an <dew> & \"floor\"."})}
}

func closedAt(ev Event, at time.Time) Event {
	ev.Closed = &at
	return ev
}

func openJournal(t *testing.T, dir string, limit int64) *Journal {
	t.Helper()
	j, err := OpenJournal(dir, limit)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j
}

// written returns the text of a journal with n opened events.
func written(t *testing.T, n int) []byte {
	t.Helper()
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	for i := range n {
		j.Add(Change{Opened, event(i).Opened, event(i)})
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, JournalFile))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func reopened(t *testing.T, data []byte) (*Journal, string) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, JournalFile), data, 0o640); err != nil {
		t.Fatal(err)
	}
	return openJournal(t, dir, 0), dir
}

func TestJournalSurvivesRestart(t *testing.T) {
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	j.Note(Note{At: start, What: evidence.New(evidence.DaemonStarted, evidence.Name("version", "v1"))})
	j.Add(Change{Opened, event(0).Opened, event(0)}, Change{Opened, event(1).Opened, event(1)})
	if got := j.Open(); len(got) != 0 {
		t.Errorf("%d events shown before they were synced", len(got))
	}
	j.Add(Change{Closed, start.Add(time.Hour), closedAt(event(0), start.Add(time.Hour))})
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenJournal(dir, 0); err == nil || !strings.Contains(err.Error(), "in use by another") {
		t.Errorf("a second journal in the same directory: %v", err)
	}
	grown := event(1)
	grown.SecondsBelow = 99
	j.Refresh(start.Add(2*time.Hour), []Event{grown}, true)
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	want := j.Events(time.Time{}, false)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	k := openJournal(t, dir, 0)
	if diff := cmp.Diff(want, k.Events(time.Time{}, false)); diff != "" {
		t.Error(diff)
	}
	if open := k.Open(); len(open) != 1 || open[0].SecondsBelow != 99 {
		t.Errorf("open after restart: %+v", open)
	}
	if got := k.Events(start.Add(30*time.Minute), false); len(got) != 1 || got[0].ID != event(0).ID {
		t.Errorf("since: %+v, want the one that closed later", got)
	}
	if n := k.Notes(); len(n) != 1 || n[0].What.Code != evidence.DaemonStarted || n[0].What.Word("version") != "v1" {
		t.Errorf("notes %+v", n)
	}
	if s := k.Status().Recovered.String(); s != "" {
		t.Errorf("a sound journal reports %q", s)
	}
}

// Trap 30: power is cut at any byte of a write. What was whole stays, the torn
// end is cut and counted, and the next entry is sound.
func TestTrap30TornTail(t *testing.T) {
	data := written(t, 3)
	second := bytes.IndexByte(data, '\n') + 1
	second += bytes.IndexByte(data[second:], '\n') + 1
	for cut := second; cut < len(data); cut++ {
		j, dir := reopened(t, data[:cut])
		wantEvents, wantTorn := 2, cut-second
		if cut == len(data)-1 { // whole but for its new line
			wantEvents, wantTorn = 3, 0
		}
		if got, torn := len(j.Open()), j.Status().Recovered.TornBytes; got != wantEvents || torn != wantTorn {
			t.Fatalf("cut at %d: %d events, %d torn bytes; want %d, %d", cut, got, torn, wantEvents, wantTorn)
		}
		j.Add(Change{Opened, event(9).Opened, event(9)})
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		k := openJournal(t, dir, 0)
		if got := len(k.Open()); got != wantEvents+1 || k.Status().Recovered.String() != "" {
			t.Fatalf("cut at %d, written on: %d events, %q", cut, got, k.Status().Recovered)
		}
		k.Close()
	}
}

// Some file systems leave zeros where a write was lost.
func TestTrap30ZeroTail(t *testing.T) {
	data := append(written(t, 3), make([]byte, 500)...)
	j, _ := reopened(t, data)
	if got, torn := len(j.Open()), j.Status().Recovered.TornBytes; got != 3 || torn != 500 {
		t.Errorf("%d events, %d torn bytes", got, torn)
	}
}

// Trap 30: any flipped bit costs the entry that it hits at most, and shows.
func TestTrap30FlippedBits(t *testing.T) {
	data := written(t, 3)
	first := bytes.IndexByte(data, '\n') + 1
	second := first + bytes.IndexByte(data[first:], '\n') + 1
	for at := first; at < second; at++ {
		for bit := range 8 {
			hit := bytes.Clone(data)
			hit[at] ^= 1 << bit
			ids := map[string]bool{}
			damaged, torn := readFrames(hit, func(text []byte) {
				if i := bytes.Index(text, []byte("mt.c1-floodback-")); i >= 0 {
					ids[string(text[i:i+len("mt.c1-floodback-000")])] = true
				}
			})
			if !ids["mt.c1-floodback-000"] || !ids["mt.c1-floodback-002"] {
				t.Fatalf("byte %d bit %d: a neighbour was lost", at, bit)
			}
			// A letter of the CRC in upper case is the same number.
			sameNumber := at < first+8 && hit[at]|0x20 == data[at]|0x20
			if torn != 0 || (damaged == 0 && !sameNumber) {
				t.Fatalf("byte %d bit %d: damaged %d, torn %d", at, bit, damaged, torn)
			}
		}
	}
	hit := bytes.Clone(data)
	hit[first+40] ^= 4
	j, dir := reopened(t, hit)
	if got := j.Status().Recovered; got.Damaged != 1 || got.Entries != 2 || got.String() == "" {
		t.Errorf("recovered %+v", got)
	}
	j.Add(Change{Opened, event(9).Opened, event(9)})
	j.Close()
	if got := len(openJournal(t, dir, 0).Open()); got != 3 {
		t.Errorf("%d events after writing on", got)
	}
}

// Trap 30: the disk is full. The daemon goes on, says so, and tries again.
func TestTrap30DiskFull(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("this system has no /dev/full")
	}
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	j.Add(Change{Opened, event(0).Opened, event(0)})
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	j.file.Close()
	j.file = &fullFile{j.file, full}
	j.reserve.held = false
	j.Add(Change{Opened, event(1).Opened, event(1)})
	if err := j.Commit(); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("commit on a full disk: %v", err)
	}
	if s := j.Status(); s.Fault == "" || s.Errors != 1 || s.Waiting != 1 {
		t.Errorf("status %+v", s)
	}
	if got := len(j.Open()); got != 1 {
		t.Errorf("%d events shown, want the one that is on the disk", got)
	}
	if err := j.Commit(); err != nil { // the disk is back: the file is opened anew
		t.Fatal(err)
	}
	if s := j.Status(); s.Fault != "" || s.Waiting != 0 {
		t.Errorf("status %+v", s)
	}
	if got := len(j.Open()); got != 2 {
		t.Errorf("%d events shown, want both", got)
	}
	j.Close()
	if got := len(openJournal(t, dir, 0).Open()); got != 2 {
		t.Errorf("%d events on disk", got)
	}
}

// fullFile writes to a device that is full.
type fullFile struct {
	file
	full *os.File
}

func (f *fullFile) WriteAt(p []byte, off int64) (int, error) { return f.full.Write(p) }
func (f *fullFile) Close() error                             { return f.full.Close() }

// Trap 30: a disk that takes nothing for so long that entries are let go. The
// events are in memory, and on disk as soon as it is back.
func TestTrap30DiskGoneForLong(t *testing.T) {
	files := &failing{at: 0, length: 1 << 40, err: syscall.EROFS}
	dir := t.TempDir()
	j, err := openJournalOn(files, dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	if j.Status().Fault == "" {
		t.Error("no fault although the journal cannot be opened")
	}
	const n = maxWaiting/2 + 10
	for i := range n {
		j.Add(opens(i), closes(i))
	}
	j.Add(opens(n)) // makes room
	j.Note(Note{At: start, What: evidence.New(evidence.DataGap, evidence.Duration("gap", time.Minute))})
	if err := j.Commit(); err == nil {
		t.Fatal("commit on a disk that takes nothing")
	}
	if s := j.Status(); s.Dropped == 0 || s.Waiting > maxWaiting {
		t.Errorf("status %+v", s)
	}
	if got := len(j.Events(time.Time{}, false)); got != 0 {
		t.Errorf("%d events shown that are not on the disk", got)
	}
	files.length = 0
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
	if _, oldest := j.After(0, 1); oldest == 1 {
		t.Error("readers are not told that changes were let go")
	}
	want := j.Events(time.Time{}, false)
	if len(want) != n+1 {
		t.Errorf("%d events, want %d", len(want), n+1)
	}
	j.Close()
	k := openJournal(t, dir, 0)
	if diff := cmp.Diff(want, k.Events(time.Time{}, false)); diff != "" {
		t.Error(diff)
	}
	if len(k.Notes()) != 1 {
		t.Errorf("notes %v", k.Notes())
	}
}

// Law: bounded everything. Open events are carried over.
func TestJournalIsBounded(t *testing.T) {
	dir := t.TempDir()
	const limit = 20_000
	j := openJournal(t, dir, limit)
	j.Add(Change{Opened, event(999).Opened, event(999)})
	for i := range 400 {
		j.Add(Change{Opened, event(i).Opened, event(i)}, Change{Closed, event(i).Opened, closedAt(event(i), event(i).Opened)})
		if err := j.Commit(); err != nil {
			t.Fatal(err)
		}
	}
	j.Close()
	total := int64(0)
	for _, name := range []string{JournalFile, OlderFile} {
		st, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		total += st.Size()
	}
	if total > 2*limit+2000 {
		t.Errorf("%d bytes on disk, limit twice %d", total, limit)
	}
	k := openJournal(t, dir, limit)
	if open := k.Open(); len(open) != 1 || open[0].ID != event(999).ID {
		t.Errorf("open events carried over: %v", open)
	}
	if n := len(k.Events(time.Time{}, false)); n < 20 {
		t.Errorf("only %d events left", n)
	}
	// A crash after the file was put aside and before the new one was there.
	k.Close()
	if err := os.Rename(filepath.Join(dir, JournalFile), filepath.Join(dir, OlderFile)); err != nil {
		t.Fatal(err)
	}
	if open := openJournal(t, dir, limit).Open(); len(open) != 1 {
		t.Errorf("open events after a crash in between: %v", open)
	}
}

func FuzzJournal(f *testing.F) {
	f.Add([]byte("00000000 0 \n"))
	f.Add([]byte("deadbeef 4 null\n"))
	f.Add(frameOf(entry{At: start, Entry: "opened", Event: &Event{ID: "x"}}))
	f.Add(frameOf(entry{At: start, Entry: "note", What: "gap"})[:20])
	f.Fuzz(func(t *testing.T, data []byte) {
		j := &Journal{history: NewHistory(10)}
		var entries []readEntry
		_, torn := readFrames(data, func(text []byte) {
			if e, ok := decodeEntry(text); ok {
				entries = append(entries, e)
			}
		})
		j.recallAll(entries)
		if torn > len(data) {
			t.Fatalf("%d torn bytes of %d", torn, len(data))
		}
		// Whatever came before on whole lines, a sound entry after it is found.
		found := false
		readFrames(append(append(bytes.Clone(data), '\n'), frameOf(entry{Entry: "note", Text: "after"})...), func(text []byte) {
			found = found || bytes.Contains(text, []byte(`"after"`))
		})
		if !found {
			t.Fatalf("entry after %q lost", data)
		}
	})
}

// Trap 28: totals come back after a restart, also when the newest file is hit.
func TestTrap28LedgerComesBack(t *testing.T) {
	dir := t.TempDir()
	l, none, err := OpenLedger(dir)
	if err != nil || none != nil {
		t.Fatal(none, err)
	}
	old := []Totals{{Group: "mt", Compressor: "c1", Since: start, FloodbackSeconds: 90}}
	now := []Totals{{Group: "mt", Compressor: "c1", Since: start, FloodbackSeconds: 170, FloodbackKelvinSeconds: 910, RunningSeconds: 3600, Starts: 2,
		Events: []Tally{{"floodback", "minor", 1, 0, 1}}, PhaseSeconds: map[string]float64{"off": 200, "steady": 3600}, LowestInPulldownK: known(4.2)},
		{Group: "mt", Circuit: "case-1", Since: start, Defrosts: 3, Causes: map[string]uint64{"iced_coil": 2}}}
	if err := l.Save(start, 7, func() []Totals { return old }, false, false); err != nil {
		t.Fatal(err)
	}
	if err := l.Save(start.Add(59*time.Second), 7, func() []Totals { t.Error("asked too early"); return nil }, false, false); err != nil {
		t.Fatal(err)
	}
	if err := l.Save(start.Add(60*time.Second), 7, func() []Totals { return now }, false, false); err != nil {
		t.Fatal(err)
	}
	if _, got, err := OpenLedger(dir); err != nil || cmp.Diff(now, got) != "" {
		t.Fatal(err, cmp.Diff(now, got))
	}
	b := NewTracker(testSite())
	b.Restore(nil, now)
	totals := b.Totals()
	if diff := cmp.Diff(now, []Totals{totals[0], totals[len(totals)-1]}); diff != "" {
		t.Error(diff)
	}

	path := filepath.Join(dir, LedgerFile)
	data, _ := os.ReadFile(path)
	data[30] ^= 1
	if err := os.WriteFile(path, data, 0o640); err != nil {
		t.Fatal(err)
	}
	m, got, err := OpenLedger(dir)
	if err == nil || !strings.Contains(err.Error(), "damaged") || cmp.Diff(old, got) != "" {
		t.Errorf("damaged: %v, %v", err, got)
	}
	if err := m.Save(start, 7, func() []Totals { return now }, false, true); err != nil {
		t.Fatal(err)
	}
	if _, got, err := OpenLedger(dir); err != nil || cmp.Diff(now, got) != "" {
		t.Error(err, got)
	}
}

func TestLedgerSaysWhyItCannotWrite(t *testing.T) {
	dir := t.TempDir()
	l, _, err := OpenLedger(dir)
	if err != nil {
		t.Fatal(err)
	}
	path := l.path
	l.path = filepath.Join(dir, "gone", LedgerFile)
	if err := l.Save(start, 7, func() []Totals { return nil }, false, true); err == nil {
		t.Fatal("wrote into a directory that is not there")
	}
	if fault, n := l.Status(); fault == "" || n != 1 {
		t.Errorf("status %q, %d", fault, n)
	}
	l.path = path
	if err := l.Save(start, 7, func() []Totals { return nil }, false, false); err != nil {
		t.Errorf("not tried again: %v", err)
	}
}

// Whatever a file of exposure or trends holds, it is read or its damage is reported,
// and what was read comes back the same after it is saved.
func FuzzStateFiles(f *testing.F) {
	f.Add(appendFrame(nil, []byte(`{"at":"2026-03-01T06:00:00Z","entry":7,"totals":[{"group":"mt","compressor":"c1"}]}`)))
	f.Add(appendFrame(nil, []byte(`{"at":"2026-03-01T06:00:00Z","days":[{}]}`)))
	f.Add(appendFrame(nil, []byte(`[]`)))
	f.Add([]byte("00000000 2 {}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := t.TempDir()
		for _, name := range []string{LedgerFile, TrendsFile} {
			if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		ledger, totals, err := OpenLedger(dir)
		if err == nil {
			if !decodeState(data, &ledgerContent{}) {
				t.Fatalf("%q was read without a fault", data)
			}
			if err := ledger.Save(start, ledger.Entry(), func() []Totals { return totals }, false, true); err != nil {
				t.Fatal(err)
			}
			if _, again, err := OpenLedger(dir); err != nil || len(again) < len(totals) {
				t.Fatalf("%d totals were %d: %v", len(again), len(totals), err)
			}
		}
		days, read, err := OpenTrendStore(dir)
		if err == nil {
			if err := days.Save(start, func() []trend.Days { return read }, true); err != nil {
				t.Fatal(err)
			}
			if _, again, err := OpenTrendStore(dir); err != nil || len(again) != len(read) {
				t.Fatalf("%d days were %d: %v", len(again), len(read), err)
			}
		}
	})
}
