package alert

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
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
	// Beyond it the journal is written anew from memory once the disk is back.
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
// lines, synced by Commit before anything is shown to anyone.
//
// Bounds: when the file passes its size limit it becomes OlderFile (whose
// predecessor goes) and a new one starts with the open events carried over. In
// memory stay the newest events, 5,000 closed ones and all open ones.
//
// A disk that is full or read-only is a fault in Status and in Commit's error;
// the entries wait, and each Commit tries again.
//
// Reading (Events, Notes, Status) is safe beside the one writer.
type Journal struct {
	dir   string
	limit int64
	lock  *os.File

	mu          sync.Mutex
	renderer    evidence.Renderer
	file        *os.File // nil while it cannot be opened
	size        int64    // of sound content
	dirty       bool     // bytes past size may be on disk: cut before writing
	added       []Change // since the last Commit: nobody has seen them
	waiting     [][]byte
	carried     int64 // size of what the current file began with
	rewrite     bool  // entries were dropped: write anew from memory
	history     *History
	notes       []Note
	maintenance []Maintenance
	written     map[string]writtenFigures
	status      JournalStatus
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
	Dropped   uint64 // entries that had to be let go; events are kept in memory
	Bytes     int64  // of the current file
	Recovered Recovery
}

// Recovery is what opening found.
type Recovery struct {
	Entries   int // sound ones
	Damaged   int // skipped
	TornBytes int // cut off the end
}

// String describes what was found, for a person; empty when all was sound.
func (r Recovery) String() string {
	if r.Damaged == 0 && r.TornBytes == 0 {
		return ""
	}
	return fmt.Sprintf("journal: %d sound entries, %d damaged skipped, %d bytes of an unfinished entry cut off the end", r.Entries, r.Damaged, r.TornBytes)
}

// OpenJournal opens or begins the journal in dir; limit is the size at which a
// file is put aside, 0 for 16 MiB. It fails only when dir is no directory or
// another process holds it. Whatever else is wrong is in Status, and Commit
// tries again.
func OpenJournal(dir string, limit int64) (*Journal, error) {
	if limit <= 0 {
		limit = defaultJournalBytes
	}
	j := &Journal{dir: dir, limit: limit, history: NewHistory(keptEvents), written: map[string]writtenFigures{}}
	if err := os.MkdirAll(dir, 0o750); err != nil && !errors.Is(err, os.ErrPermission) && !isReadOnly(err) {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	lock, err := lockDir(dir)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j.lock = lock
	j.load()
	if err := j.open(); err != nil {
		j.fail(err)
	}
	return j, nil
}

// SetRenderer sets the units of the words that entries hold beside their codes;
// SI and absolute pressures until then.
func (j *Journal) SetRenderer(r evidence.Renderer) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.renderer = r
}

// load reads both files into memory.
func (j *Journal) load() {
	r := &j.status.Recovered
	for _, name := range []string{OlderFile, JournalFile} {
		data, err := os.ReadFile(filepath.Join(j.dir, name))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			j.fail(err)
		}
		damaged, torn := readFrames(data, func(text []byte) {
			if j.recall(text) {
				r.Entries++
			} else {
				r.Damaged++
			}
		})
		r.Damaged += damaged
		r.TornBytes += torn
		if name == JournalFile {
			j.size = int64(len(data) - torn)
			if torn == 0 && len(data) > 0 && data[len(data)-1] != '\n' {
				// Whole but for its new line: the next entry must not join it.
				j.waiting = append(j.waiting, []byte("\n"))
			}
		}
	}
}

func (j *Journal) keepNote(n Note) {
	j.notes = append(j.notes, n)
	if len(j.notes) > maxNotes {
		j.notes = append([]Note(nil), j.notes[len(j.notes)-maxNotes:]...)
	}
}

// open opens the file for appending and cuts what is not sound off its end.
func (j *Journal) open() error {
	f, err := os.OpenFile(filepath.Join(j.dir, JournalFile), os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return err
	}
	j.file = f
	st, err := f.Stat()
	if err != nil {
		return err
	}
	if st.Size() < j.size { // somebody cut or removed it
		j.size, j.rewrite = st.Size(), true
	}
	j.dirty = st.Size() > j.size
	return j.mend()
}

// mend cuts what a failed write or a power cut left past the sound content.
func (j *Journal) mend() error {
	if !j.dirty {
		return nil
	}
	if err := j.file.Truncate(j.size); err != nil {
		return err
	}
	j.dirty = false
	return nil
}

// Add takes changes, as Tracker.Step returns them, for the next Commit. Until
// then no reader sees them.
func (j *Journal) Add(changes ...Change) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.added = append(j.added, changes...)
}

// take moves what was added into memory and the queue.
func (j *Journal) take() {
	for _, c := range j.added {
		j.history.Apply(c)
		j.queue(entry{At: c.At.UTC(), Entry: c.Kind.String(), Event: &c.Event})
		if c.Event.Closed != nil {
			delete(j.written, c.Event.ID)
		} else {
			j.written[c.Event.ID] = writtenFigures{c.At, c.Event.SecondsBelow}
		}
	}
	j.added = nil
}

// Refresh takes the open events as they stand (Tracker.Open). Their figures are
// journalled while they grow, a young event's each minute and an old one's each
// ten, and always when closing is near: pass last. Call it between Add and
// Commit.
func (j *Journal) Refresh(at time.Time, open []Event, last bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.take()
	for i := range open {
		ev := &open[i]
		s := j.written[ev.ID]
		j.history.Apply(Change{Kind: Updated, At: at, Event: *ev})
		due := min(max(at.Sub(ev.Opened)/updateShare, minUpdateAge), maxUpdateAge)
		if last || (ev.SecondsBelow != s.seconds && at.Sub(s.at) >= due) {
			j.queue(entry{At: at.UTC(), Entry: Updated.String(), Event: ev})
			j.written[ev.ID] = writtenFigures{at, ev.SecondsBelow}
		}
	}
}

// Note adds a remark for the next Commit.
func (j *Journal) Note(n Note) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.keepNote(n)
	j.queue(noteEntry(n))
}

func (j *Journal) queue(e entry) {
	if len(j.waiting) >= maxWaiting {
		j.status.Dropped += uint64(len(j.waiting))
		j.waiting, j.rewrite = nil, true
	}
	j.waiting = append(j.waiting, j.frame(e))
}

// Commit writes what waits and syncs it to disk. On an error all of it still
// waits, and the error names what failed.
func (j *Journal) Commit() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.take()
	if len(j.waiting) == 0 && !j.rewrite && j.status.Fault == "" {
		return nil
	}
	if err := j.write(); err != nil {
		j.shut() // a descriptor that failed once is not trusted again
		err = fmt.Errorf("journal %s: %w", filepath.Join(j.dir, JournalFile), err)
		j.fail(err)
		return err
	}
	j.waiting = nil
	j.status.Fault = ""
	return nil
}

func (j *Journal) shut() {
	if j.file != nil {
		j.file.Close()
		j.file = nil
	}
}

func (j *Journal) fail(err error) {
	j.status.Errors++
	j.status.Fault = err.Error()
}

func (j *Journal) write() error {
	if j.rewrite {
		return j.startAnew()
	}
	if j.file == nil {
		if err := j.open(); err != nil {
			return err
		}
	}
	if err := j.mend(); err != nil {
		return err
	}
	block := bytes.Join(j.waiting, nil)
	j.dirty = len(block) > 0
	if _, err := j.file.WriteAt(block, j.size); err != nil {
		return err
	}
	if err := j.file.Sync(); err != nil {
		return err
	}
	j.size += int64(len(block))
	j.dirty = false
	if j.size > max(j.limit, 2*j.carried) {
		j.waiting = nil // they are on disk, in the file put aside
		return j.startAnew()
	}
	return nil
}

// startAnew puts the file aside and begins a new one with the open events and,
// after entries were dropped, with every event in memory.
func (j *Journal) startAnew() error {
	var content []byte
	events := j.history.Open()
	if j.rewrite {
		events = j.history.Events()
		for _, n := range j.notes {
			content = append(content, j.frame(noteEntry(n))...)
		}
	}
	for i := range events {
		e := entry{At: events[i].Opened, Entry: Updated.String(), Event: &events[i]}
		if events[i].Closed != nil {
			e.At, e.Entry = *events[i].Closed, Closed.String()
		}
		content = append(content, j.frame(e)...)
	}
	for _, e := range j.maintenanceEntries() {
		content = append(content, j.frame(e)...)
	}
	current, older := filepath.Join(j.dir, JournalFile), filepath.Join(j.dir, OlderFile)
	// A crash between the two renames leaves the older file alone, which holds
	// everything that the new one would carry over.
	j.shut() // Windows renames no file that is open
	if err := os.Rename(current, older); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	j.size, j.rewrite = 0, true // until the new file is there
	if err := replaceFile(current, content, 0o640); err != nil {
		return err
	}
	j.size, j.carried = int64(len(content)), int64(len(content))
	if err := j.open(); err != nil {
		return err
	}
	j.rewrite = false
	return nil
}

// Events returns the events that opened, escalated or closed at since or
// later (zero: all), in order of opening; only open ones if asked.
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
	s.Waiting, s.Bytes = len(j.waiting), j.size
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
