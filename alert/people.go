package alert

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dewgap/analyze"
	"dewgap/analyze/cause"
	"dewgap/analyze/suggest"
)

// Bounds of what people enter. Common practice, no source.
const (
	maxName = 80   // letters of a person's name
	maxNote = 1000 // letters of a note
	// MaxMaintenance is the longest maintenance, and the longest acknowledgement
	// with an end: what is muted for longer is forgotten.
	MaxMaintenance = 30 * 24 * time.Hour
	// CauseNone is the cause of Found where nothing was the matter.
	CauseNone = "none"
)

// UnknownError is a request about something that is not there.
type UnknownError struct {
	What, ID string   // "open event", and the id that was given
	Near     []string // ids that may have been meant
}

func (e *UnknownError) Error() string {
	text := fmt.Sprintf("there is no %s %q", e.What, e.ID)
	if len(e.Near) > 0 {
		return text + "; near it: " + strings.Join(e.Near, ", ")
	}
	return text
}

// RefusedError is a request that cannot be done as it stands.
type RefusedError struct {
	Reason   string // with what would be right
	Conflict bool   // the request is sound; the present state of things is against it
}

func (e *RefusedError) Error() string { return e.Reason }

func refused(format string, args ...any) error {
	return &RefusedError{Reason: fmt.Sprintf(format, args...)}
}

// maxNear is how many ids an error lists.
const maxNear = 5

// nearest returns the candidates that id may stand for: those that hold it or
// share its beginning, newest last, else the one that is most like it, else the
// last ones.
func nearest(id string, candidates []string) []string {
	subject, _, _ := strings.Cut(id, "-")
	for _, fits := range []func(string) bool{
		func(c string) bool { return id != "" && strings.Contains(c, id) },
		func(c string) bool { return subject != "" && strings.HasPrefix(c, subject+"-") },
		func(c string) bool { return c == suggest.Nearest(id, candidates) },
		func(string) bool { return true },
	} {
		var near []string
		for _, c := range candidates {
			if fits(c) {
				near = append(near, c)
			}
		}
		if len(near) > 0 {
			return near[max(0, len(near)-maxNear):]
		}
	}
	return nil
}

// checkWords checks who entered something and what they wrote beside it.
func checkWords(by, note string) error {
	if strings.TrimSpace(by) == "" {
		return refused(`by is missing: state who does this, as in "by":"anna"`)
	}
	for _, field := range []struct {
		name, text string
		most       int
	}{{"by", by, maxName}, {"note", note, maxNote}} {
		if !utf8.ValidString(field.text) {
			return refused("%s is not valid UTF-8", field.name)
		}
		if n := utf8.RuneCountInString(field.text); n > field.most {
			return refused("%s has %d letters; at most %d are kept", field.name, n, field.most)
		}
		if strings.ContainsFunc(field.text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }) {
			return refused("%s holds a control character; write plain text", field.name)
		}
	}
	return nil
}

// CheckName returns why a person's name cannot be taken; nil where it can.
func CheckName(by string) error { return checkWords(by, "") }

// checkUntil checks the end of something that begins at an instant.
func checkUntil(from, until time.Time) error {
	switch {
	case !until.After(from):
		return refused("until %s has passed: it is %s now; give a later time", until.UTC().Format(time.RFC3339), from.UTC().Format(time.RFC3339))
	case until.Sub(from) > MaxMaintenance:
		return refused("until %s is more than 30 days ahead; give a time up to %s", until.UTC().Format(time.RFC3339), from.Add(MaxMaintenance).UTC().Format(time.RFC3339))
	}
	return nil
}

// Check returns why a cannot be taken; nil where it can.
func (a *Acknowledgement) Check() error {
	if err := checkWords(a.By, a.Note); err != nil {
		return err
	}
	if a.Until != nil {
		return checkUntil(a.At, *a.Until)
	}
	return nil
}

// FoundCauses returns the causes that Found may name.
func FoundCauses() []string { return append(cause.Names(), CauseNone) }

// Check returns why f cannot be taken for an event of a group of site; nil where
// it can. A sensor or nothing needs no circuit, nor does any other cause: who
// has not found out leaves it empty.
func (f *Found) Check(site analyze.Site, group string) error {
	if err := checkWords(f.By, f.Note); err != nil {
		return err
	}
	if causes := FoundCauses(); !slices.Contains(causes, f.Cause) {
		text := fmt.Sprintf("cause %q is unknown", f.Cause)
		if near := suggest.Nearest(f.Cause, causes); near != "" {
			text += fmt.Sprintf(", did you mean %q?", near)
		}
		return refused("%s; there are %s", text, strings.Join(causes, ", "))
	}
	if f.Circuit == "" {
		return nil
	}
	var circuits []string
	for _, g := range site.Groups {
		if g.Name != group {
			continue
		}
		for _, c := range g.Circuits {
			circuits = append(circuits, c.Name)
		}
	}
	if !slices.Contains(circuits, f.Circuit) {
		return refused("group %s has no circuit %q; it has %s", group, f.Circuit, orNone(circuits))
	}
	return nil
}

// Maintenance mutes the notifications of a group, or of one of its compressors,
// while people work on it. Analysis, journal and ledger go on.
type Maintenance struct {
	ID         string    `json:"id"`
	Group      string    `json:"group"`
	Compressor string    `json:"compressor"` // empty: the whole group
	From       time.Time `json:"from"`
	Until      time.Time `json:"until"` // exclusive; brought forward when somebody ends it
	By         string    `json:"by"`
	Note       string    `json:"note"`
	EndedBy    string    `json:"ended_by,omitempty"` // who ended it before its time
}

// Check returns why m cannot be taken at site; nil where it can.
func (m *Maintenance) Check(site analyze.Site) error {
	if err := checkWords(m.By, m.Note); err != nil {
		return err
	}
	if strings.TrimSpace(m.Note) == "" {
		return refused(`note is missing: write what is being done, as in "note":"filter drier of c2"`)
	}
	if m.Until.IsZero() {
		return refused("until is missing: a maintenance has an end, at most 30 days ahead, as in %q", m.From.Add(4*time.Hour).UTC().Format(time.RFC3339))
	}
	if err := checkUntil(m.From, m.Until); err != nil {
		return err
	}
	var groups, compressors []string
	for _, g := range site.Groups {
		groups = append(groups, g.Name)
		if g.Name != m.Group {
			continue
		}
		for _, c := range g.Compressors {
			compressors = append(compressors, c.Name)
		}
	}
	if !slices.Contains(groups, m.Group) {
		return refused("there is no group %q; there are %s", m.Group, orNone(groups))
	}
	if m.Compressor != "" && !slices.Contains(compressors, m.Compressor) {
		return refused("group %s has no compressor %q; it has %s", m.Group, m.Compressor, orNone(compressors))
	}
	return nil
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// On reports whether m has begun and not ended at an instant. One that lies ahead
// is off: a clock that was set back must not prolong it.
func (m *Maintenance) On(at time.Time) bool { return !at.Before(m.From) && at.Before(m.Until) }

// Covers reports whether m is of a group's compressor; of the group itself where
// compressor is empty.
func (m *Maintenance) Covers(group, compressor string) bool {
	return m.Group == group && (m.Compressor == "" || m.Compressor == compressor)
}

// Concerns reports whether ev was open at some time of m.
func (m *Maintenance) Concerns(ev *Event) bool {
	return m.Covers(ev.Group, ev.Compressor) && ev.Opened.Before(m.Until) && (ev.Closed == nil || ev.Closed.After(m.From))
}

// During returns the first maintenance that concerns ev; nil where none does.
func During(list []Maintenance, ev *Event) *Maintenance {
	for i := range list {
		if list[i].Concerns(ev) {
			return &list[i]
		}
	}
	return nil
}

// NearestIDs returns the ids of events that id may stand for.
func NearestIDs(id string, events []Event) []string {
	var ids []string
	for i := range events {
		ids = append(ids, events[i].ID)
	}
	return nearest(id, ids)
}

// Overlay returns events with what people did to those of the same id in a
// journal: a replay sees the plant, and not the people.
func Overlay(events, journal []Event) []Event {
	did := map[string]*Event{}
	for i := range journal {
		did[journal[i].ID] = &journal[i]
	}
	events = slices.Clone(events)
	for i := range events {
		if j := did[events[i].ID]; j != nil {
			events[i].Acknowledged, events[i].Found = j.Acknowledged, j.Found
		}
	}
	return events
}
