package alert

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"dewgap/analyze/evidence"
)

// Names of the journal's files inside the data directory.
const (
	JournalFile = "events.journal"   // the one written to
	OlderFile   = "events.journal.1" // the one before it
)

const (
	defaultJournalBytes = 16 << 20
	// maxWaiting is how many entries wait for a disk that does not take them.
	// Beyond it only the newest change of each event waits.
	maxWaiting = 4096
	maxNotes   = 200
	keptEvents = 5000
	// The figures of an open event are written when they are a quarter as old
	// as it is, between these limits: a power cut loses no more of them.
	minUpdateAge = time.Minute
	maxUpdateAge = 10 * time.Minute
	updateShare  = 4
)

// Journal is the lasting record of events: an append-only file of framed JSON
// lines, synced by Commit before anything is shown to anyone. Entries have
// numbers, which only grow (see After).
//
// Bounds: when the file passes its size limit it becomes OlderFile (whose
// predecessor goes) and a new one starts with the open events carried over. In
// memory stay the newest events, 5,000 closed ones and all open ones.
//
// A disk that is full or read-only is a fault in Status and in Commit's error;
// the entries wait unseen, and each Commit tries again. A file that is removed,
// replaced or cut is noticed by the next Commit, which writes it anew from
// memory. A file that cannot be read whole is set aside, never cut.
//
// Reading (Events, Notes, Status, After) is safe beside the one writer.
type Journal struct {
	dir   string
	limit int64
	lock  *os.File
	files fileSystem

	mu          sync.Mutex
	renderer    evidence.Renderer
	file        file        // nil while it cannot be opened
	size        int64       // of sound content
	dirty       bool        // bytes past size may be on disk: cut before writing
	joint       bool        // the last entry lacks its new line
	identity    fs.FileInfo // of the file; nil before it was opened first
	last        uint64      // number of the newest entry on the disk
	at          time.Time   // of the newest change
	waiting     []entry     // without numbers, which they get on the disk; nobody has seen them
	thinned     bool        // some that waited were let go
	figures     []Event     // open events as they stand, for readers once they are committed
	carried     int64       // size of what the current file began with
	from        uint64      // least number that the current file holds but for what was carried
	rewrite     bool        // the file does not hold what it should: write anew from memory
	unsound     []string    // files that cannot be read whole, or not the journal's: to be set aside
	history     *History
	notes       []Note
	maintenance []Maintenance
	log         entryLog
	unknown     []logged // entries of kinds that this version does not know
	written     map[string]writtenFigures
	status      JournalStatus
	reserve     reserve
}

// writtenFigures are those of an open event that its newest entry holds.
type writtenFigures struct {
	at      time.Time
	seconds float64
}

// JournalStatus is the state of the journal: for metrics, log and page.
type JournalStatus struct {
	Fault     string // why the last Commit failed; empty when it did not
	Errors    uint64 // failed Commits since start
	Waiting   int    // entries not yet on disk
	Unshown   int    // changes of events among them, which nobody is shown yet
	Dropped   uint64 // entries that had to be let go; the newest form of each event still waits
	Bytes     int64  // of the current file
	Anew      uint64 // times the file was written anew because it was gone, replaced, cut or unreadable
	Recovered Recovery
	Short     bool // the disk is full: the space that was held back for events is in use
	// SetAside names the files that a person has to look at: they were not
	// readable whole, or not the journal's own. It ends when they are moved out
	// of the directory.
	SetAside []string
}

// Recovery is what opening found.
type Recovery struct {
	Entries   int // sound ones
	Unknown   int // sound ones of a kind that only another version knows; they are kept
	Damaged   int // skipped
	TornBytes int // cut off the end
	// ReadFault is why not all of it could be read; empty when it could.
	ReadFault string
}

// String describes what was found, for a person; empty when all was sound.
func (r Recovery) String() string {
	switch {
	case r.ReadFault != "":
		return fmt.Sprintf("journal: not all of it could be read (%s): %d sound entries kept, %d damaged skipped; the file is set aside", r.ReadFault, r.Entries+r.Unknown, r.Damaged)
	case r.Damaged == 0 && r.TornBytes == 0:
		return ""
	}
	return fmt.Sprintf("journal: %d sound entries, %d damaged skipped, %d bytes of an unfinished entry cut off the end", r.Entries+r.Unknown, r.Damaged, r.TornBytes)
}

// OpenJournal opens or begins the journal in dir; limit is the size at which a
// file is put aside, 0 for 16 MiB. It fails only when dir is no directory or
// another process holds it. Whatever else is wrong is in Status, and Commit
// tries again.
func OpenJournal(dir string, limit int64) (*Journal, error) { return openJournalOn(disk{}, dir, limit) }

func openJournalOn(files fileSystem, dir string, limit int64) (*Journal, error) {
	if limit <= 0 {
		limit = defaultJournalBytes
	}
	j := newJournal(files, dir, limit)
	if err := os.MkdirAll(dir, 0o750); err != nil && !errors.Is(err, os.ErrPermission) && !isReadOnly(err) {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	lock, err := lockDir(dir)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j.lock = lock
	if err := j.load(); err != nil {
		j.status.Recovered.ReadFault = err.Error()
	}
	j.findSetAside()
	if err := j.prepare(); err != nil {
		j.fail(err)
	}
	j.reserve.hold()
	return j, nil
}

func newJournal(files fileSystem, dir string, limit int64) *Journal {
	return &Journal{files: files, dir: dir, limit: limit, reserve: reserve{files: files, path: filepath.Join(dir, ReserveFile), size: min(reserveBytes, limit/4)},
		history: NewHistory(keptEvents), written: map[string]writtenFigures{}}
}

// prepare makes the file ready for the first Commit, and cuts what a power cut
// left of an unfinished entry.
func (j *Journal) prepare() error {
	if j.rewrite {
		return j.startAnew()
	}
	return j.open()
}

func (j *Journal) path() string { return filepath.Join(j.dir, JournalFile) }

// SetRenderer sets the units of the words that entries hold beside their codes;
// SI and absolute pressures until then.
func (j *Journal) SetRenderer(r evidence.Renderer) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.renderer = r
}

func (j *Journal) keepNote(n Note) {
	j.notes = append(j.notes, n)
	if len(j.notes) > maxNotes {
		j.notes = append([]Note(nil), j.notes[len(j.notes)-maxNotes:]...)
	}
}

// Events returns the committed events that opened, escalated or closed at since
// or later (zero: all), in order of opening; only open ones if asked.
func (j *Journal) Events(since time.Time, onlyOpen bool) []Event {
	j.mu.Lock()
	defer j.mu.Unlock()
	var events []Event
	for _, ev := range j.history.Since(since) {
		if !onlyOpen || ev.Closed == nil {
			events = append(events, ev)
		}
	}
	return events
}

// Open returns the events that have not closed: after OpenJournal, those that
// an earlier run left, for Tracker.Restore.
func (j *Journal) Open() []Event { return j.Events(time.Time{}, true) }

// Notes returns the newest remarks, oldest first.
func (j *Journal) Notes() []Note {
	j.mu.Lock()
	defer j.mu.Unlock()
	return append([]Note(nil), j.notes...)
}

// Status returns the state of the journal.
func (j *Journal) Status() JournalStatus {
	j.mu.Lock()
	defer j.mu.Unlock()
	s := j.status
	for i := range j.waiting {
		if kind, ofEvent := changeKindOf(j.waiting[i].Entry); ofEvent && kind != Updated {
			s.Unshown++
		}
	}
	s.Short = j.reserve.short
	s.Waiting, s.Bytes, s.SetAside = len(j.waiting), j.size, slices.Clone(j.status.SetAside)
	return s
}

// Close commits what waits and lets the directory go.
func (j *Journal) Close() error {
	err := j.Commit()
	j.mu.Lock()
	defer j.mu.Unlock()
	j.shut()
	if j.lock != nil {
		err = errors.Join(err, j.lock.Close())
		j.lock = nil
	}
	return err
}
