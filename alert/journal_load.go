package alert

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
)

// readEntry is an entry as a file holds it.
type readEntry struct {
	entry
	known bool
	place uint64 // its number, also where the text has none
	text  []byte
}

// load reads both files into memory. The error is why not all of them could be
// read; what could be is in memory then.
func (j *Journal) load() error {
	r := &j.status.Recovered
	var entries []readEntry
	var faults error
	var turnover, olderTurnover entry // zero where there is none
	hasOlder := false
	// The third is there without the second after a crash between two renames.
	for _, name := range []string{OlderFile, JournalFile, JournalFile + newSuffix} {
		data, err := readSound(j.files, filepath.Join(j.dir, name))
		if err != nil {
			faults = errors.Join(faults, fmt.Errorf("read %s: %w", name, err))
			j.unsound, j.rewrite = append(j.unsound, name), true
		}
		damaged, torn := readFrames(data, func(text []byte) {
			e, ok := decodeEntry(text)
			if !ok {
				r.Damaged++
				return
			}
			if e.known {
				r.Entries++
			} else {
				r.Unknown++
			}
			if e.Entry == turnoverWord {
				turnover = e.entry
			}
			entries = append(entries, e)
		})
		r.Damaged += damaged
		if err == nil {
			r.TornBytes += torn
		} else if torn > 0 {
			r.Damaged++ // cut by the disk, not by a power cut
		}
		if name == OlderFile {
			hasOlder = len(data) > 0 && err == nil
			olderTurnover, turnover = turnover, entry{}
			continue
		}
		if name == JournalFile && data != nil || err != nil {
			j.size = int64(len(data) - torn)
			// Whole but for its new line: the next entry must not join it.
			j.joint = torn == 0 && len(data) > 0 && data[len(data)-1] != '\n'
			break
		}
		j.rewrite = j.rewrite || len(data) > 0 // of the third
	}
	switch {
	case turnover.Number == 0 && hasOlder: // a journal of old, or a file that was cut
		turnover = olderTurnover
	case turnover.Number > 0 && !hasOlder && !turnover.Whole:
		turnover.LetGo = turnover.Number - 1
	}
	j.log.letGo, j.from = turnover.LetGo, turnover.Number
	j.recallAll(entries)
	return faults
}

// recallAll takes entries in the order of their files into memory. Those without
// a number, which older versions wrote, are numbered on. One that was carried
// over may stand in both files.
func (j *Journal) recallAll(entries []readEntry) {
	var highest uint64
	for i := range entries {
		e := &entries[i]
		if e.place = e.Number; e.place == 0 {
			e.place = highest + 1
		}
		highest = max(highest, e.place)
	}
	slices.SortStableFunc(entries, func(a, b readEntry) int { return cmp.Compare(a.place, b.place) })
	for i := range entries {
		if e := &entries[i]; e.place > j.last {
			j.last = e.place
			j.recall(e)
		}
	}
}

// recall takes an entry of a file into memory.
func (j *Journal) recall(e *readEntry) {
	if !e.known {
		j.keepUnknown(loggedOf(e))
		return
	}
	j.take(&e.entry)
	if kind, ofEvent := changeKindOf(e.Entry); ofEvent && kind != Updated {
		j.log.add(loggedOf(e))
	}
}

// take takes an entry that is on the disk into memory: from here on it is shown.
func (j *Journal) take(e *entry) {
	kind, ofEvent := changeKindOf(e.Entry)
	switch {
	case e.Entry == noteWord:
		j.keepNote(e.note())
	case e.Maintenance != nil:
		j.keepMaintenance(*e.Maintenance)
	case ofEvent:
		j.history.Apply(Change{Kind: kind, At: e.At, Event: *e.Event})
		j.at = e.At
	}
}
