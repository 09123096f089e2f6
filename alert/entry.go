package alert

import (
	"bytes"
	"encoding/json"
	"slices"
	"time"

	"dewgap/analyze/evidence"
)

// Note is a remark beside the events: a start, a stop, a jump of the clock.
type Note struct {
	At   time.Time
	What evidence.Item
}

// Words of entries that are no change of an event.
const (
	noteWord     = "note"
	turnoverWord = "turnover" // a file's beginning
)

// otherWords are all words of entries but those of ChangeKind.
var otherWords = []string{noteWord, turnoverWord, maintenanceEntry, maintenanceEndedEntry}

// entry is the text of one frame.
type entry struct {
	// Number grows from entry to entry; 0 in a journal of a version that had no
	// numbers.
	Number uint64         `json:"n,omitempty"`
	At     time.Time      `json:"at"`
	Entry  string         `json:"entry"` // a ChangeKind, note, turnover
	Event  *Event         `json:"event,omitempty"`
	Note   *evidence.Item `json:"note,omitempty"`
	// Maintenance is of the entries about one, as it stands since then.
	Maintenance *Maintenance `json:"maintenance,omitempty"`
	// What and Text are a note of a journal written before notes had codes.
	What string `json:"what,omitempty"`
	Text string `json:"text,omitempty"`
	// LetGo and Whole belong to a turnover: the number of the newest change that
	// neither file holds, and whether this file alone holds all the others.
	LetGo uint64 `json:"let_go,omitempty"`
	Whole bool   `json:"whole,omitempty"`
}

// note returns the remark that e holds.
func (e *entry) note() Note {
	if e.Note != nil {
		return Note{At: e.At, What: *e.Note}
	}
	return Note{At: e.At, What: evidence.Item{Code: evidence.Sentence, Text: e.What + ": " + e.Text}}
}

func noteEntry(n Note) entry { return entry{At: n.At.UTC(), Entry: noteWord, Note: &n.What} }

// maxNumber bounds what is believed to be an entry's number; no journal comes to it.
const maxNumber = 1 << 53

// decodeEntry reads the text of a frame. A word that only another version knows
// makes an entry that is not known, and no damage; what is damaged returns false.
func decodeEntry(text []byte) (readEntry, bool) {
	var head struct {
		Number uint64 `json:"n"`
		Entry  string `json:"entry"`
	}
	if json.Unmarshal(text, &head) != nil || head.Entry == "" || head.Number > maxNumber {
		return readEntry{}, false
	}
	e := readEntry{text: text}
	_, ofEvent := changeKindOf(head.Entry)
	if !ofEvent && !slices.Contains(otherWords, head.Entry) {
		e.Number, e.Entry = head.Number, head.Entry
		return e, true
	}
	e.known = true
	if json.Unmarshal(text, &e.entry) != nil {
		return e, false
	}
	switch head.Entry {
	case noteWord, turnoverWord:
		return e, true
	case maintenanceEntry, maintenanceEndedEntry:
		return e, e.Maintenance != nil && e.Maintenance.ID != ""
	}
	return e, e.Event != nil && e.Event.ID != ""
}

// frame returns e as a line of the file, with words in the units of people.
func (j *Journal) frame(e entry) []byte {
	if e.Event != nil {
		ev := e.Event.WithText(j.renderer)
		e.Event = &ev
	}
	if e.Note != nil {
		e.Note = &j.renderer.WithText([]evidence.Item{*e.Note})[0]
	}
	return frameOf(e)
}

func frameOf(e entry) []byte {
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e); err != nil {
		// Every field is a plain value; NaN cannot get here (see known).
		panic("alert: journal entry: " + err.Error())
	}
	return appendFrame(nil, bytes.TrimSuffix(text.Bytes(), []byte{'\n'}))
}
