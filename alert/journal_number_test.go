package alert

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"dewgap/analyze/evidence"
)

func numbers(entries []Entry) (n []uint64) {
	for _, e := range entries {
		n = append(n, e.Number)
	}
	return n
}

func commit(t *testing.T, j *Journal, changes ...Change) {
	t.Helper()
	j.Add(changes...)
	if err := j.Commit(); err != nil {
		t.Fatal(err)
	}
}

func opens(n int) Change { return Change{Opened, event(n).Opened, event(n)} }
func closes(n int) Change {
	at := event(n).Opened.Add(30 * time.Second)
	return Change{Closed, at, closedAt(event(n), at)}
}

// Entries are numbered: those on the disk alone are shown, in order, and the same
// after a restart.
func TestAfter(t *testing.T) {
	dir := t.TempDir()
	j := openJournal(t, dir, 0)
	j.Add(opens(0))
	if got, oldest := j.After(0, 10); len(got) != 0 || oldest != 1 {
		t.Errorf("before the commit: %v, oldest %d", got, oldest)
	}
	j.Note(Note{At: start, What: evidence.New(evidence.DaemonStarted, evidence.Name("version", "v1"))})
	commit(t, j, opens(1))
	j.Refresh(start.Add(time.Hour), []Event{event(0), event(1)}, true)
	commit(t, j, closes(0))
	for range 2 {
		got, oldest := j.After(0, 10)
		if want := "[1 3 6]"; fmt.Sprint(numbers(got)) != want || oldest != 1 {
			t.Errorf("numbers %v, oldest %d; want %s, 1", numbers(got), oldest, want)
		}
		if got, _ := j.After(1, 1); len(got) != 1 || got[0].Number != 3 || got[0].Change.Kind != Opened || got[0].Change.Event.ID != event(1).ID {
			t.Errorf("after 1, at most one: %+v", got)
		}
		if got, _ := j.After(3, 10); len(got) != 1 || got[0].Change.Kind != Closed || !got[0].At.Equal(closes(0).At) {
			t.Errorf("after 3: %+v", got)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		j = openJournal(t, dir, 0)
	}
	commit(t, j, opens(2))
	if got, _ := j.After(6, 10); len(got) != 1 || got[0].Number != 7 {
		t.Errorf("after a restart: %+v", got)
	}
}

// A journal of a version without numbers is read and numbered on.
func TestJournalWithoutNumbers(t *testing.T) {
	data := regexp.MustCompile(`(?m)^.*$`).ReplaceAllFunc(bytes.TrimSuffix(written(t, 3), []byte("\n")), func(line []byte) []byte {
		text := regexp.MustCompile(`"n":\d+,`).ReplaceAll(line[bytes.IndexByte(line, '{'):], nil)
		return bytes.TrimSuffix(appendFrame(nil, text), []byte("\n"))
	})
	if bytes.Contains(data, []byte(`"n":`)) {
		t.Fatal("the example has numbers")
	}
	j, dir := reopened(t, append(data, '\n'))
	commit(t, j, closes(1))
	for range 2 {
		if got, oldest := j.After(0, 10); fmt.Sprint(numbers(got)) != "[1 2 3 4]" || oldest != 1 {
			t.Errorf("numbers %v, oldest %d", numbers(got), oldest)
		}
		j.Close()
		j = openJournal(t, dir, 0)
	}
}

// What a newer version wrote is kept, also when the file turns over, and is no
// damage.
func TestUnknownEntriesAreKept(t *testing.T) {
	data := written(t, 1)
	later := `{"n":77,"at":"2026-03-01T06:41:20Z","entry":"inspection","event":[1,2]}`
	j, dir := reopened(t, appendFrame(data, []byte(later)))
	j.limit = 4000
	if r := j.Status().Recovered; r.Damaged != 0 || r.Unknown != 1 || r.String() != "" {
		t.Errorf("recovered %+v", r)
	}
	turns := 0
	for i := range 60 {
		before := j.from
		commit(t, j, opens(i), closes(i))
		if j.from != before {
			turns++
		}
	}
	if turns < 3 {
		t.Fatalf("the file turned over %d times", turns)
	}
	j.Close()
	found := 0
	for _, name := range []string{JournalFile, OlderFile} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		found += bytes.Count(data, []byte(later))
	}
	k := openJournal(t, dir, 0)
	if found == 0 || len(k.unknown) != 1 {
		t.Errorf("found %d times on the disk, %d in memory", found, len(k.unknown))
	}
	if got, _ := k.After(0, 1000); got[0].Number < 78 {
		t.Errorf("numbers go on at %d, want above 77", got[0].Number)
	}
}

// The file that turns over keeps what the slowest reader has not taken, within
// its bound, and states what it let go.
func TestKeep(t *testing.T) {
	for name, c := range map[string]struct {
		pinned  bool
		follows bool
		keep    uint64
		limit   int64
		missing bool
	}{
		"no reader":             {limit: 8000, missing: true},
		"a reader that follows": {pinned: true, follows: true, limit: 8000},
		"a slow reader":         {pinned: true, keep: 200, limit: 400_000},
		"a reader too slow":     {pinned: true, keep: 1, limit: 8000, missing: true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			j := openJournal(t, dir, c.limit)
			if c.pinned {
				j.Keep(c.keep)
			}
			var all []Entry
			for i := range 400 {
				commit(t, j, opens(i), closes(i))
				if c.follows && i%3 == 0 {
					got, _ := j.After(c.keep, 6)
					c.keep = got[len(got)-1].Number
					j.Keep(c.keep)
				}
			}
			all, _ = j.After(c.keep, 1000)
			j.Close()
			k := openJournal(t, dir, c.limit)
			got, oldest := k.After(c.keep, 1000)
			if missing := c.keep+1 < oldest; missing != c.missing {
				t.Errorf("oldest %d: missing is %t, want %t", oldest, missing, c.missing)
			}
			if !c.missing && len(got) != len(all) {
				t.Errorf("%d changes after the restart, %d before", len(got), len(all))
			}
			for i := 1; i < len(got); i++ {
				if got[i].Number <= got[i-1].Number {
					t.Fatalf("number %d after %d", got[i].Number, got[i-1].Number)
				}
			}
			// Whatever is said to be kept is kept.
			kept := map[uint64]bool{}
			for _, e := range got {
				kept[e.Number] = true
			}
			for _, e := range all {
				if e.Number >= oldest && !kept[e.Number] {
					t.Errorf("%d is gone, oldest is %d", e.Number, oldest)
				}
			}
		})
	}
}

// A reader that has seen numbers which a lost journal had gives no number twice.
func TestNumbersGoOnAboveAReader(t *testing.T) {
	j := openJournal(t, t.TempDir(), 0)
	j.Keep(1000)
	commit(t, j, opens(0))
	if got, _ := j.After(1000, 10); len(got) != 1 || got[0].Number != 1001 {
		t.Errorf("got %+v", got)
	}
}
