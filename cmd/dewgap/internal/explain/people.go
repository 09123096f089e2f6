package explain

import (
	"fmt"
	"strings"

	"dewgap/alert"
	"dewgap/analyze/cause"
)

// Comparison puts what the analysis named first beside what somebody found on site.
type Comparison struct {
	SaidCause    string `json:"said_cause"` // the contract's word; empty where none was named
	SaidCircuit  string `json:"said_circuit"`
	FoundCause   string `json:"found_cause"`
	FoundCircuit string `json:"found_circuit"`
	Said         string `json:"said"` // the same in words
	Found        string `json:"found"`
}

// people puts into words what people did to the event.
func (s *Explanation) people(ev *alert.Event) {
	if a := ev.Acknowledged; a != nil {
		s.Acknowledged = fmt.Sprintf("Acknowledged by %s at %s%s", a.By, clock(a.At), remark(a.Note))
		if a.Until != nil {
			s.Acknowledged += ", until " + clock(*a.Until)
		}
	}
	f := ev.Found
	if f == nil {
		return
	}
	c := &Comparison{FoundCause: f.Cause, FoundCircuit: f.Circuit, Said: "no cause"}
	var said []string
	if len(ev.Causes) > 0 {
		c.SaidCause = ev.Causes[0].Cause
		said = append(said, fmt.Sprintf("%s, %.0f %%", named(c.SaidCause), 100*ev.Causes[0].Score))
	}
	if len(ev.Circuits) > 0 {
		c.SaidCircuit = ev.Circuits[0].Name
		said = append(said, fmt.Sprintf("circuit %s, %.0f %%", c.SaidCircuit, 100*ev.Circuits[0].Score))
	}
	if len(said) > 0 {
		c.Said = strings.Join(said, "; ")
	}
	c.Found = named(f.Cause)
	if f.Circuit != "" {
		c.Found += "; circuit " + f.Circuit
	}
	c.Found += fmt.Sprintf("; by %s at %s%s", f.By, clock(f.At), remark(f.Note))
	s.Compared = c
}

// named writes a cause for people.
func named(code string) string {
	if code == alert.CauseNone {
		return "nothing was the matter (none)"
	}
	return cause.Words(code) + " (" + code + ")"
}

// remark writes a note after what it belongs to.
func remark(note string) string {
	if note = strings.TrimSpace(note); note == "" {
		return ""
	}
	return ": " + note
}

// DuringMaintenance adds the maintenance during which the event was open; nil
// adds nothing.
func (s *Explanation) DuringMaintenance(m *alert.Maintenance) {
	if m == nil {
		return
	}
	s.Maintenance = fmt.Sprintf("Open during maintenance of %s, %s to %s, by %s%s. It counts all the same", strings.TrimSuffix(m.Group+" "+m.Compressor, " "), clock(m.From), clock(m.Until), m.By, remark(m.Note))
}

func (s *Explanation) writePeople(b *strings.Builder) {
	for _, l := range []string{s.Acknowledged, s.Maintenance} {
		if l != "" {
			fmt.Fprintf(b, "%s.\n", l)
		}
	}
}

func (s *Explanation) writeCompared(b *strings.Builder) {
	if s.Compared != nil {
		fmt.Fprintf(b, "\nSaid and found\n  said:  %s\n  found: %s\n", s.Compared.Said, s.Compared.Found)
	}
}
