package alert

import (
	"bytes"
	"encoding/json"
	"time"

	"dewgap/analyze/evidence"
)

// Note is a remark beside the events: a start, a stop, a jump of the clock.
type Note struct {
	At   time.Time
	What evidence.Item
}

// entry is the text of one frame.
type entry struct {
	At    time.Time      `json:"at"`
	Entry string         `json:"entry"` // a ChangeKind, note
	Event *Event         `json:"event,omitempty"`
	Note  *evidence.Item `json:"note,omitempty"`
	// Maintenance is of the entries about one, as it stands since then.
	Maintenance *Maintenance `json:"maintenance,omitempty"`
	// What and Text are a note of a journal written before notes had codes.
	What string `json:"what,omitempty"`
	Text string `json:"text,omitempty"`
}

// note returns the remark that e holds.
func (e *entry) note() Note {
	if e.Note != nil {
		return Note{At: e.At, What: *e.Note}
	}
	return Note{At: e.At, What: evidence.Item{Code: evidence.Sentence, Text: e.What + ": " + e.Text}}
}

func noteEntry(n Note) entry { return entry{At: n.At.UTC(), Entry: "note", Note: &n.What} }

// recall takes one entry into memory.
func (j *Journal) recall(text []byte) bool {
	var e entry
	if json.Unmarshal(text, &e) != nil {
		return false
	}
	if e.Entry == "note" {
		j.keepNote(e.note())
		return true
	}
	if e.Entry == maintenanceEntry || e.Entry == maintenanceEndedEntry {
		return j.recallMaintenance(e.Maintenance)
	}
	if k, ok := changeKindOf(e.Entry); ok && e.Event != nil && e.Event.ID != "" {
		j.history.Apply(Change{Kind: k, At: e.At, Event: *e.Event})
		return true
	}
	return false
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
