package alert

import (
	"bytes"
	"encoding/json"
	"time"
)

// Entry is a numbered change of the journal as it stands on the disk.
type Entry struct {
	Number uint64
	At     time.Time
	Change Change
}

// logged is an entry on the disk in the form that it has there.
type logged struct {
	number uint64
	event  string // id; empty for a kind that is not known
	ends   bool   // the event
	frame  []byte
}

const (
	// minLogBytes of the newest changes stay for readers in any case, and
	// maxLogBytes of those that the slowest reader has not taken. Typical changes
	// have 1 to 3 KiB.
	minLogBytes = 1 << 20
	maxLogBytes = 8 << 20
	// maxUnknownBytes bounds the entries of unknown kinds; the oldest go first.
	maxUnknownBytes = 256 << 10
)

// entryLog holds the newest changes on the disk for those who follow them.
type entryLog struct {
	entries []logged
	bytes   int
	letGo   uint64 // number of the newest change that is no longer kept
	keep    uint64 // the slowest reader has taken all up to this number
	pinned  bool   // keep is set: there is a reader
}

func (l *entryLog) add(e logged) {
	l.entries = append(l.entries, e)
	l.bytes += len(e.frame)
	l.trim()
}

// trim lets go what no reader waits for, and beyond the bound the oldest.
func (l *entryLog) trim() {
	n := 0
	for n < len(l.entries) {
		free := !l.pinned || l.entries[n].number <= l.keep
		if l.bytes <= minLogBytes || (!free && l.bytes <= maxLogBytes) {
			break
		}
		l.bytes -= len(l.entries[n].frame)
		l.letGo = max(l.letGo, l.entries[n].number)
		l.entries[n] = logged{}
		n++
	}
	l.entries = l.entries[n:]
}

// After returns the committed changes of events with a number above number,
// oldest first, at most most of them. All changes from number oldest on are
// still kept: a reader that has taken all up to number has missed some where
// number+1 < oldest.
//
// Numbers only grow, also over restarts, but not by one: notes, figures of open
// events and changes that were let go have numbers too. Kinds that repeat an
// event (Updated) are left out. It is safe beside the writer.
func (j *Journal) After(number uint64, most int) (entries []Entry, oldest uint64) {
	j.mu.Lock()
	var frames []logged
	for _, e := range j.log.entries {
		if e.number > number && len(frames) < most {
			frames = append(frames, e)
		}
	}
	oldest = j.log.letGo + 1
	j.mu.Unlock()
	for _, f := range frames { // what a frame holds never changes
		text, _, _ := firstFrame(f.frame)
		var e entry
		if json.Unmarshal(text, &e) != nil || e.Event == nil {
			continue // it was decoded or encoded before
		}
		kind, _ := changeKindOf(e.Entry)
		entries = append(entries, Entry{Number: f.number, At: e.At, Change: Change{Kind: kind, At: e.At, Event: *e.Event}})
	}
	return entries, oldest
}

// Keep states that the slowest reader has taken all changes up to number. The
// journal keeps those after it, also when its file turns over, up to a bound of
// 8 MiB (half the size limit of the file where that is less). A number above
// any of the journal, which has been lost then, makes it number on from there.
func (j *Journal) Keep(number uint64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.log.keep, j.log.pinned = number, true
	j.last = max(j.last, number)
	j.log.trim()
}

// NumberAbove makes new entries have numbers above number, which a journal that
// was lost may have given.
func (j *Journal) NumberAbove(number uint64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.last = max(j.last, number)
}

// Last returns the number of the newest entry on the disk.
func (j *Journal) Last() uint64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.last
}

// keepUnknown keeps an entry of a kind that this version does not know.
func (j *Journal) keepUnknown(e logged) {
	j.unknown = append(j.unknown, e)
	size := 0
	for i := len(j.unknown) - 1; i >= 0; i-- {
		if size += len(j.unknown[i].frame); size > maxUnknownBytes {
			j.unknown = append([]logged(nil), j.unknown[i+1:]...)
			return
		}
	}
}

// loggedOf keeps an entry read from a file beyond the life of the file's bytes.
func loggedOf(e *readEntry) logged {
	text := e.text
	if e.Number == 0 { // of a journal without numbers: it has one from now on
		text = numbered(e.place, text)
	}
	l := logged{number: e.place, frame: appendFrame(nil, text)}
	if e.Event != nil {
		l.event, l.ends = e.Event.ID, e.Event.Closed != nil
	}
	return l
}

// numbered adds a number to an entry's text, which stays as it is otherwise.
func numbered(number uint64, text []byte) []byte {
	head, err := json.Marshal(number)
	if err != nil || len(text) == 0 || text[0] != '{' {
		return text
	}
	rest := bytes.TrimLeft(text[1:], " ")
	out := append([]byte(`{"n":`), head...)
	if len(rest) > 0 && rest[0] != '}' {
		out = append(out, ',')
	}
	return append(out, rest...)
}
