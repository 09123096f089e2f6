package alert

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Add takes changes, as Tracker.Step returns them, for the next Commit. Until
// then no reader sees them.
func (j *Journal) Add(changes ...Change) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for i := range changes {
		c := &changes[i]
		ev := c.Event
		j.queue(entry{At: c.At.UTC(), Entry: c.Kind.String(), Event: &ev})
		if ev.Closed != nil {
			delete(j.written, ev.ID)
		} else {
			j.written[ev.ID] = writtenFigures{c.At, ev.SecondsBelow}
		}
	}
}

// Refresh takes the open events as they stand (Tracker.Open). Their figures are
// journalled while they grow, a young event's each minute and an old one's each
// ten, and always when closing is near: pass last. Call it between Add and
// Commit.
func (j *Journal) Refresh(at time.Time, open []Event, last bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.figures = open
	for i := range open {
		ev := open[i]
		s := j.written[ev.ID]
		due := min(max(at.Sub(ev.Opened)/updateShare, minUpdateAge), maxUpdateAge)
		if last || (ev.SecondsBelow != s.seconds && at.Sub(s.at) >= due) {
			j.queue(entry{At: at.UTC(), Entry: Updated.String(), Event: &ev})
			j.written[ev.ID] = writtenFigures{at, ev.SecondsBelow}
		}
	}
}

// Note adds a remark for the next Commit.
func (j *Journal) Note(n Note) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.queue(noteEntry(n))
}

func (j *Journal) queue(e entry) {
	if len(j.waiting) >= maxWaiting {
		j.thin()
	}
	j.waiting = append(j.waiting, e)
}

// thin lets go of what waits all but maintenance and the newest change of each
// event, and of events that have closed the oldest where that is not enough.
func (j *Journal) thin() {
	before := len(j.waiting)
	newest := map[string]int{}
	for i, e := range j.waiting {
		if e.Event != nil {
			newest[e.Event.ID] = i
		}
	}
	excess := len(newest) - maxWaiting/2
	kept := j.waiting[:0]
	for i, e := range j.waiting {
		switch {
		case e.Maintenance != nil:
		case e.Event == nil || newest[e.Event.ID] != i:
			continue
		case excess > 0 && e.Event.Closed != nil:
			excess--
			continue
		}
		kept = append(kept, e)
	}
	clear(j.waiting[len(kept):])
	j.waiting = kept
	j.thinned = true
	j.status.Dropped += uint64(before - len(kept))
}

// Commit writes what waits and syncs it to disk. On an error all of it still
// waits, and the error names what failed. It first looks whether the file is
// still there under its name; where it is not, or is not whole, all of it is
// written anew from memory.
func (j *Journal) Commit() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.confirmSetAside()
	err := j.check()
	if err == nil && (len(j.waiting) > 0 || j.rewrite || j.status.Fault != "") {
		err = j.write()
		if err != nil && isFull(err) && j.reserve.free() {
			j.shut()
			err = j.write()
		}
	}
	if err != nil {
		j.shut() // a descriptor that failed once is not trusted again
		err = fmt.Errorf("journal %s: %w", j.path(), err)
		j.fail(err)
		return err
	}
	for _, ev := range j.figures {
		if _, onDisk := j.history.at[ev.ID]; onDisk {
			j.history.Apply(Change{Kind: Updated, At: ev.Opened, Event: ev})
		}
	}
	j.figures = nil
	j.status.Fault = ""
	j.reserve.try()
	return nil
}

// block is a piece of the file that is being made. Its numbers count once it is
// on the disk.
type block struct {
	content []byte
	last    uint64 // number of its newest entry
	logged  []logged
	letGo   uint64 // number of the newest change that it lacks
}

// add appends an entry under the next number.
func (j *Journal) add(b *block, e entry) {
	b.last++
	e.Number = b.last
	frame := j.frame(e)
	b.content = append(b.content, frame...)
	if kind, ofEvent := changeKindOf(e.Entry); ofEvent && kind != Updated {
		b.logged = append(b.logged, logged{number: e.Number, event: e.Event.ID, ends: e.Event.Closed != nil, frame: frame})
	}
}

// addWaiting appends what waits.
func (j *Journal) addWaiting(b *block) {
	if j.thinned { // what was let go has a number, so that readers notice
		b.last++
		b.letGo = b.last
	}
	for _, e := range j.waiting {
		j.add(b, e)
	}
}

// committed takes what waited, and is on the disk now, into memory: from here on
// it is shown.
func (j *Journal) committed(b *block) {
	j.last, j.log.letGo, j.thinned = b.last, max(j.log.letGo, b.letGo), false
	for i := range j.waiting {
		j.take(&j.waiting[i])
	}
	for _, l := range b.logged {
		j.log.add(l)
	}
	j.waiting = nil
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

// check looks whether the path still is the open file, with all that was
// written. An unlinked or unmounted file takes writes without an error.
func (j *Journal) check() error {
	if j.file == nil || j.rewrite {
		return nil // open looks
	}
	now, err := j.files.Stat(j.path())
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	j.compare(now)
	return nil
}

// compare decides what becomes of a file, nil where there is none, that bears the
// journal's name.
func (j *Journal) compare(now fs.FileInfo) {
	other := now == nil || (j.identity != nil && !os.SameFile(now, j.identity))
	if !other && now.Size() >= j.size {
		j.dirty = j.dirty || now.Size() > j.size
		return
	}
	j.shut()
	j.rewrite = true
	if other && now != nil && now.Size() > 0 {
		j.unsound = []string{JournalFile}
	}
}

// open opens the file for appending and cuts what a failed write or a power cut
// left of an unfinished entry.
func (j *Journal) open() error {
	f, err := j.files.Open(j.path(), os.O_RDWR|os.O_CREATE, fileMode)
	if err != nil {
		return err
	}
	j.file = f
	st, err := f.Stat()
	if err != nil {
		return err
	}
	if j.compare(st); j.rewrite {
		return nil
	}
	if j.identity == nil && st.Size() == 0 {
		if err := j.files.SyncDir(j.dir); err != nil {
			return err
		}
	}
	j.identity = st
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

func (j *Journal) write() error {
	if j.file == nil && !j.rewrite {
		if err := j.open(); err != nil {
			return err
		}
	}
	if j.rewrite {
		return j.startAnew()
	}
	if err := j.mend(); err != nil {
		return err
	}
	b := block{last: j.last}
	if j.joint {
		b.content = []byte{'\n'}
	}
	j.addWaiting(&b)
	j.dirty = len(b.content) > 0
	if _, err := j.file.WriteAt(b.content, j.size); err != nil {
		return err
	}
	if err := j.file.Sync(); err != nil {
		return err
	}
	j.size += int64(len(b.content))
	j.dirty, j.joint = false, false
	j.committed(&b)
	if j.size > max(j.limit, 2*j.carried) {
		return j.turnOver()
	}
	return nil
}

// turnOver puts the file aside as the older one and begins a new one with what
// must not go with the file that was the older one: open events, changes that a
// reader waits for, entries of unknown kinds.
func (j *Journal) turnOver() error {
	b := j.carry()
	j.rewrite = true // until the new file is there
	return j.begin(&b, func() error { return j.files.Rename(j.path(), filepath.Join(j.dir, OlderFile)) })
}

// startAnew writes the file from memory: every event, change, note and entry of
// an unknown kind, and what waits.
func (j *Journal) startAnew() error {
	if err := j.numberPastUnsound(); err != nil {
		return err
	}
	b := j.whole()
	j.addWaiting(&b)
	if err := j.begin(&b, j.setAside); err != nil {
		return err
	}
	j.status.Anew++
	j.committed(&b)
	return nil
}

// begin makes b the file. before takes the one that is there away; a crash right
// after it leaves the new file under the name that load looks for then.
func (j *Journal) begin(b *block, before func() error) error {
	j.shut() // Windows renames no file that is open
	if err := replace(j.files, j.path(), b.content, before); err != nil {
		return err
	}
	j.from = j.last + 1 // its turnover entry
	j.last = b.last
	j.size, j.carried = int64(len(b.content)), int64(len(b.content))
	j.dirty, j.joint, j.rewrite, j.identity = false, false, false, nil
	if err := j.open(); err != nil {
		j.shut() // what b holds is on the disk: the next Commit opens it
	}
	return nil
}

// carry returns what the next file begins with.
func (j *Journal) carry() block {
	room := min(maxLogBytes, j.limit/2)
	turnover := entry{At: j.at.UTC(), Entry: turnoverWord, LetGo: j.log.letGo}
	var pinned [][]byte
	for i := len(j.log.entries) - 1; i >= 0; i-- {
		e := &j.log.entries[i]
		if e.number >= j.from {
			continue // in the file that becomes the older one
		}
		if room -= int64(len(e.frame)); room < 0 || !j.log.pinned || e.number <= j.log.keep {
			turnover.LetGo = max(turnover.LetGo, e.number)
			break
		}
		pinned = append(pinned, e.frame)
	}
	b := block{last: j.last}
	j.add(&b, turnover)
	for i := len(pinned) - 1; i >= 0; i-- {
		b.content = append(b.content, pinned[i]...)
	}
	for _, e := range j.unknown {
		if e.number < j.from {
			b.content = append(b.content, e.frame...)
		}
	}
	for _, e := range j.maintenanceEntries() {
		j.add(&b, e)
	}
	j.addStanding(&b, j.history.Open())
	return b
}

// whole returns all that is in memory.
func (j *Journal) whole() block {
	b := block{last: j.last}
	j.add(&b, entry{At: j.at.UTC(), Entry: turnoverWord, LetGo: j.log.letGo, Whole: true})
	ended := map[string]bool{}
	for _, e := range j.log.entries {
		b.content = append(b.content, e.frame...)
		ended[e.event] = ended[e.event] || e.ends
	}
	for _, e := range j.unknown {
		b.content = append(b.content, e.frame...)
	}
	for _, n := range j.notes {
		j.add(&b, noteEntry(n))
	}
	for _, e := range j.maintenanceEntries() {
		j.add(&b, e)
	}
	var events []Event
	for _, ev := range j.history.Events() {
		if ev.Closed == nil || !ended[ev.ID] {
			events = append(events, ev)
		}
	}
	j.addStanding(&b, events)
	return b
}

// addStanding repeats events as they stand.
func (j *Journal) addStanding(b *block, events []Event) {
	for i := range events {
		at := events[i].Opened
		if events[i].Closed != nil {
			at = *events[i].Closed
		}
		j.add(b, entry{At: at, Entry: Updated.String(), Event: &events[i]})
	}
}
