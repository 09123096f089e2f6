// Package explain puts one event into words for a technician: when and in which
// phase, how deep and how long, how wet and why, which circuit and why, likely
// causes with their evidence, and what to check next.
//
// It reads an event as the journal holds it and nothing else; it may import
// alert, units, evidence and cause.
package explain

import (
	"fmt"
	"io"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// Explanation is one event in words, in one system of units.
type Explanation struct {
	ID     string   `json:"id"`
	Title  string   `json:"title"`
	Course []string `json:"course"` // when, in which phase, how grave
	// Withdrawn is why the event was proved false; empty where it was not.
	Withdrawn string `json:"withdrawn,omitempty"`
	// Acknowledged is who took the event on; Maintenance, during which it was open.
	Acknowledged string       `json:"acknowledged,omitempty"`
	Maintenance  string       `json:"maintenance,omitempty"`
	Facts        []alert.Fact `json:"facts,omitempty"`
	Evidence     []string     `json:"evidence,omitempty"` // of the kind and the grade
	Circuits     []Candidate  `json:"circuits,omitempty"`
	Causes       []Candidate  `json:"causes,omitempty"`
	// Verdict is how far the ranking of causes decides: one, two, a family.
	Verdict string `json:"verdict,omitempty"`
	// Compared is what was said beside what somebody found; nil until then.
	Compared *Comparison `json:"said_and_found,omitempty"`
	Checks   []CheckOf   `json:"checks,omitempty"` // in the order to make them
	Cautions string      `json:"cautions"`
	renderer evidence.Renderer
}

// Candidate is a circuit or a cause with its share of the blame and why.
type Candidate struct {
	Code  string   `json:"code"` // the circuit's name or the contract's word
	Words string   `json:"words,omitempty"`
	Score float64  `json:"score"`
	Why   []string `json:"why,omitempty"`
}

// CheckOf is a check and the cause that it is for; empty for those that come
// before any cause.
type CheckOf struct {
	For string `json:"for,omitempty"`
	cause.CheckText
}

// maxCandidates is how many circuits and causes are shown; what follows is
// hardly likely.
const maxCandidates = 3

// kinds in words.
var kinds = map[string]string{
	"floodback": "floodback", "flooded_start": "flooded start", "hunting": "hunting", "high_superheat": "high superheat",
	"sensor_fault": "sensor fault", "no_data": "no data",
}

// grades holds what a severity means.
var grades = map[string]string{
	"risk": "below the floor; the gas may still be dry", "minor": "wet gas", "major": "liquid reaches the oil or the cylinders",
	"notice": "worth knowing", "warning": "wants looking at", "critical": "wants looking at now",
}

// Of explains ev in the units of r.
func Of(ev alert.Event, r evidence.Renderer) Explanation {
	s := Explanation{ID: ev.ID, Cautions: cause.Cautions, renderer: r}
	subject := "compressor " + ev.Compressor + " of group " + ev.Group
	switch source := silentSource(&ev); {
	case source != "":
		subject = source + " of group " + ev.Group
	case ev.Input != "":
		subject = "input " + ev.Input
	case ev.Compressor == "":
		subject = "group " + ev.Group
	}
	kind := kinds[ev.Kind]
	if kind == "" {
		kind = ev.Kind
	}
	s.Title = fmt.Sprintf("%s%s, %s, at %s, site %s", strings.ToUpper(kind[:1]), kind[1:], ev.Severity, subject, ev.Site)
	s.Course, s.Facts = course(&ev), ev.Facts(r)
	if ev.Withdrawn != nil {
		s.Withdrawn = r.Text(*ev.Withdrawn)
		s.Title = "Withdrawn: " + s.Title
	}
	s.Evidence = r.Texts(ev.Evidence)
	for _, c := range ev.Circuits[:min(maxCandidates, len(ev.Circuits))] {
		s.Circuits = append(s.Circuits, Candidate{Code: c.Name, Score: c.Score, Why: r.Texts(c.Why)})
	}
	for _, c := range ev.Causes[:min(maxCandidates, len(ev.Causes))] {
		s.Causes = append(s.Causes, Candidate{Code: c.Cause, Words: cause.Words(c.Cause), Score: c.Score, Why: r.Texts(c.Why)})
	}
	s.Verdict = verdict(ev.Causes)
	s.people(&ev)
	if ev.Withdrawn == nil {
		s.Checks = s.next()
	}
	return s
}

// silentSource names what an event about a whole silent source is about; empty for
// all others.
func silentSource(ev *alert.Event) string {
	for _, i := range ev.Evidence {
		switch i.Code {
		case evidence.SourceSilent:
			return "source " + i.Word("source")
		case evidence.GroupSilent:
			return "all inputs"
		}
	}
	return ""
}

// course returns when, in which phase and how grave.
func course(ev *alert.Event) []string {
	lines := []string{fmt.Sprintf("It began at %s and was opened at %s, in the phase %s.", clock(ev.Began), clock(ev.Opened), ev.Phase)}
	if ev.Withdrawn != nil && ev.Closed != nil {
		lines = append(lines, fmt.Sprintf("It was withdrawn at %s, %s after it began.", clock(*ev.Closed), units.Span(ev.Closed.Sub(ev.Began))))
	} else if ev.Closed != nil {
		lines = append(lines, fmt.Sprintf("It was closed at %s, %s after it began.", clock(*ev.Closed), units.Span(ev.Closed.Sub(ev.Began))))
	} else {
		lines = append(lines, "It is still open.")
	}
	if g := grades[ev.Severity]; g != "" {
		lines = append(lines, fmt.Sprintf("Graded %s: %s.", ev.Severity, g))
	}
	return lines
}

// next puts the checks of the shown causes in turn.
func (s *Explanation) next() (list []CheckOf) {
	names := make([]string, len(s.Causes))
	for i, c := range s.Causes {
		names[i] = c.Code
	}
	for _, c := range cause.ChecksInTurn(names...) {
		list = append(list, CheckOf{For: c.Cause, CheckText: c.In(s.renderer)})
	}
	return list
}

// verdict says how far the ranking of an event's causes decides.
func verdict(causes []alert.Cause) string {
	names, scores := make([]string, len(causes)), make([]float64, len(causes))
	for i, c := range causes {
		names[i], scores[i] = c.Cause, c.Score
	}
	return cause.Verdict(names, scores)
}

// Write prints the explanation for a person.
func (s Explanation) Write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n", s.Title)
	if s.Withdrawn != "" {
		fmt.Fprintf(&b, "Its inputs proved it false: %s. It is no part of the exposure.\n", s.Withdrawn)
	}
	for _, l := range s.Course {
		fmt.Fprintf(&b, "%s\n", l)
	}
	s.writePeople(&b)
	for _, f := range s.Facts {
		fmt.Fprintf(&b, "%s: %s\n", f.Name, f.Text)
	}
	s.writeCompared(&b)
	section := func(title string, n int) {
		if n > 0 {
			fmt.Fprintf(&b, "\n%s\n", title)
		}
	}
	section("Evidence", len(s.Evidence))
	for _, l := range s.Evidence {
		fmt.Fprintf(&b, "  - %s\n", l)
	}
	section("Likely circuits", len(s.Circuits))
	candidates(&b, s.Circuits)
	section("Likely cause: "+s.Verdict, len(s.Causes))
	candidates(&b, s.Causes)
	section("Check next, in this order", len(s.Checks))
	for i, k := range s.Checks {
		for_ := ""
		if k.For != "" {
			for_ = " [" + cause.Words(k.For) + "]"
		}
		fmt.Fprintf(&b, "  %d.%s %s\n     confirms: %s\n     clears: %s\n", i+1, for_, k.Do, k.Confirms, k.Clears)
		if k.Caution != "" {
			fmt.Fprintf(&b, "     caution: %s\n", k.Caution)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", s.Cautions)
	_, err := io.WriteString(w, b.String())
	return err
}

func candidates(b *strings.Builder, list []Candidate) {
	for i, c := range list {
		name := c.Code
		if c.Words != "" {
			name = c.Words + " (" + c.Code + ")"
		}
		fmt.Fprintf(b, "  %d. %s, %.0f %%\n", i+1, name, 100*c.Score)
		for _, l := range c.Why {
			fmt.Fprintf(b, "     - %s\n", l)
		}
	}
}

func clock(t time.Time) string { return t.UTC().Format(time.RFC3339) }
