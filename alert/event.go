// Package alert turns findings into events: hold and clear, one event for one
// occurrence of a condition, the journal that survives a restart, the exposure ledger, notifiers.
//
// It may import analyze and its sub-packages, the standard library and, for the
// journal alone, os. Time comes with the rows, never from a clock;
// net, net/http and log/slog must never come in.
package alert

import (
	"encoding/json"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
)

// Event is one occurrence of a condition, as the contract's section 4 writes it.
// Temperatures are rounded to 0.1 K, times below the floor to 1 s and doses to
// 1 K·s, so that the text of an event is stable.
type Event struct {
	ID                 string          `json:"id"`
	Kind               string          `json:"kind"`
	Severity           string          `json:"severity"`
	Site               string          `json:"site"`
	Group              string          `json:"group"`
	Compressor         string          `json:"compressor"` // empty for an input that the whole group shares
	Opened             time.Time       `json:"opened"`
	Closed             *time.Time      `json:"closed"`
	Began              time.Time       `json:"began"`
	Phase              string          `json:"phase"`           // at opening
	FloorK             *float64        `json:"floor_k"`         // at opening
	MinSuperheatK      *float64        `json:"min_superheat_k"` // measured, since began; null when never known
	MinMarginK         *float64        `json:"min_margin_k"`    // the same; of another row where the floor has changed
	SecondsBelow       float64         `json:"seconds_below"`   // since began, margin below zero
	KelvinSecondsBelow float64         `json:"kelvin_seconds_below"`
	Circuits           []Score         `json:"circuits"`
	Causes             []Cause         `json:"causes"`
	Input              string          `json:"input,omitempty"` // sensor_fault, no_data: path of the point concerned
	Evidence           []evidence.Item `json:"evidence"`        // headline first
	// Withdrawn is why a later doubt of its inputs proved the event false; nil
	// unless one did. Such an event is closed.
	Withdrawn    *evidence.Item   `json:"withdrawn,omitempty"`
	Found        *Found           `json:"found"`
	Acknowledged *Acknowledgement `json:"acknowledged"`
}

// Found is what somebody found on site.
type Found struct {
	Cause   string    `json:"cause"` // a cause that events name, or none
	Circuit string    `json:"circuit"`
	By      string    `json:"by"`
	At      time.Time `json:"at"`
	Note    string    `json:"note"`
}

// Acknowledgement is who took an event on, and until when; nil until: as long
// as it is open.
type Acknowledgement struct {
	By    string     `json:"by"`
	At    time.Time  `json:"at"`
	Note  string     `json:"note"`
	Until *time.Time `json:"until"`
}

// Score is a circuit's share in an event.
type Score struct {
	Name  string          `json:"name"`
	Score float64         `json:"score"`
	Why   []evidence.Item `json:"why,omitempty"`
}

// Cause is a candidate cause of an event.
type Cause struct {
	Cause string          `json:"cause"`
	Score float64         `json:"score"`
	Why   []evidence.Item `json:"why,omitempty"`
}

// ChangeKind is what happened to an event.
type ChangeKind uint8

// Changes of an event. Updated repeats an open event with its figures so far,
// so that a restart loses little of them; the journal's word for it is
// "standing". Withdrawn stands in place of Closed where a doubt of the inputs
// proved the event false.
const (
	Opened ChangeKind = iota + 1
	Escalated
	Closed
	Updated
	Withdrawn
	Acknowledged         // somebody took the event on
	AcknowledgementEnded // taken back, escalated or past its time; never with the event's own end
	FoundOnSite          // somebody has looked; also after the event has ended
)

var changeNames = [...]string{"", "opened", "escalated", "closed", "standing", "withdrawn", "acknowledged", "acknowledgement_ended", "found"}

// String returns the journal's word for k.
func (k ChangeKind) String() string { return changeNames[k] }

// Ends reports whether k ends an event.
func (k ChangeKind) Ends() bool { return k == Closed || k == Withdrawn }

// changeKindOf returns the kind that the journal calls name; false where it is
// none of an event.
func changeKindOf(name string) (ChangeKind, bool) {
	i := slices.Index(changeNames[1:], name)
	return ChangeKind(i + 1), i >= 0
}

// Change is one entry of the journal: an event after something happened to it.
type Change struct {
	Kind  ChangeKind
	At    time.Time
	Event Event
}

// Key names the condition that a finding is about.
type Key struct {
	Kind       floodback.Kind
	Compressor int
	Input      int
}

// WithText returns a copy of e whose evidence and reasons hold their words in
// the units of r, for files and answers that people read beside the codes.
func (e Event) WithText(r evidence.Renderer) Event {
	e.Evidence = append([]evidence.Item{}, r.WithText(e.Evidence)...)
	if e.Withdrawn != nil {
		e.Withdrawn = &r.WithText([]evidence.Item{*e.Withdrawn})[0]
	}
	e.Circuits = append([]Score{}, e.Circuits...)
	for i := range e.Circuits {
		e.Circuits[i].Why = r.WithText(e.Circuits[i].Why)
	}
	e.Causes = append([]Cause{}, e.Causes...)
	for i := range e.Causes {
		e.Causes[i].Why = r.WithText(e.Causes[i].Why)
	}
	return e
}

// WriteEvents writes events as JSON lines, in order of opening, with words in
// the units of r.
func WriteEvents(w io.Writer, events []Event, r evidence.Renderer) error {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b Event) int { return a.Opened.Compare(b.Opened) })
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	for i := range sorted {
		if err := enc.Encode(sorted[i].WithText(r)); err != nil {
			return err
		}
	}
	return nil
}

// subject names what an event is about, as a path.
func subject(group, compressor, input string) string {
	path := group
	if compressor != "" {
		path += "." + compressor
	}
	if input == "" {
		return path
	}
	rest := strings.TrimPrefix(input, group+".")
	if compressor != "" {
		rest = strings.TrimPrefix(rest, compressor+".")
	}
	return path + "." + rest
}

// idOf names an event by what it is about, its kind and when it opened: the
// same in a live run and in its replay.
func idOf(subject string, kind floodback.Kind, opened time.Time) string {
	return subject + "-" + kind.String() + "-" + opened.UTC().Format("20060102T150405.999999999Z")
}

// rounded returns v to the nearest multiple of 1/perUnit.
func rounded(v, perUnit float64) float64 {
	r := math.Round(v*perUnit) / perUnit
	if r == 0 {
		return 0 // not −0
	}
	return r
}

// known returns v rounded to 0.1, or nil when it is not known.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	r := rounded(v, 10)
	return &r
}
