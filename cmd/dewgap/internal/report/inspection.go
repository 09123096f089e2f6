package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	_ "embed"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
	"dewgap/cmd/dewgap/internal/explain"
	"dewgap/cmd/dewgap/internal/inspection"
)

//go:embed inspection.html
var inspectionHTML string

// noVerdict stands on every inspection report.
const noVerdict = "This paper states what was recorded and what to look for. It gives no verdict on warranty or blame: the parts, the work log and the site decide that."

// doseMeans explains the dose in plain words.
const doseMeans = "Below the floor: time while running in which the superheat was under the configured floor, inside floodback events. Depth × time weighs it by how far: 10 K·min is ten minutes at 1 K under the floor, or one minute at 10 K."

// InspectionJSON writes the report for programs; events as the API has them.
func InspectionJSON(w io.Writer, r *inspection.Report, render evidence.Renderer) error {
	x := *r
	for _, list := range []*[]alert.Event{&x.Floodbacks, &x.FloodedStarts, &x.HighSuperheat, &x.Hunting, &x.Doubts, &x.Withdrawn} {
		*list = slices.Clone(*list)
		for i := range *list {
			(*list)[i] = (*list)[i].WithText(render)
		}
	}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(&x)
}

// table is one table of an inspection report, the same in text and HTML.
type table struct {
	Title, Note string
	Head        []string
	Rows        [][]string
}

// sheet is an inspection report in words.
type inspectionSheet struct {
	words
	*inspection.Report
	Place, Machine, Covered string
	Facts                   [][2]string
	Tables                  []table // of exposure and oil
	Lists                   []table // of events
	Cautions                []string
	NoVerdict, DoseMeans    string
	Files                   []commissioning.File
	Plots                   []plotView
	Style                   template.CSS
	render                  evidence.Renderer
}

func newInspectionSheet(r *inspection.Report, render evidence.Renderer) *inspectionSheet {
	s := &inspectionSheet{
		words: words{r.View}, Report: r, Place: r.Group + "/" + r.Compressor, render: render,
		Machine: inspection.KindWords(r.Kind) + ", " + r.Refrigerant, Cautions: cautions, NoVerdict: noVerdict, DoseMeans: doseMeans,
		Files: append([]commissioning.File{r.Config}, r.Data...),
	}
	s.Covered = "All that is kept"
	if r.Since != nil {
		s.Covered = "Since " + s.view.Stamp(*r.Since)
	}
	s.facts()
	s.exposureTables()
	s.eventTables()
	return s
}

func (s *inspectionSheet) fact(name, format string, args ...any) {
	s.Facts = append(s.Facts, [2]string{name, fmt.Sprintf(format, args...)})
}

func (s *inspectionSheet) facts() {
	s.fact("Floodback events", "%d, %s below the floor, depth × time %s", s.Exposure.Events, seconds(s.Exposure.Seconds), s.dose(s.Exposure.KelvinSeconds))
	s.fact("Flooded starts", "%d", len(s.FloodedStarts))
	s.fact("High superheat", "%s", plural(len(s.HighSuperheat), "event"))
	if t := s.Ledger; t != nil {
		name := "Ledger since "
		if s.Replayed {
			name = "Replayed since "
		}
		s.fact(name+s.view.Stamp(t.Since), "ran %s with %s; below the floor %s", seconds(t.RunningSeconds), plural(int(t.Starts), "start"), t.Exposure(s.view.System))
	}
	if w := s.Recorded; w != nil {
		s.fact("Recordings", "%s to %s: ran %s with %s", s.view.Stamp(w.From), s.view.Stamp(w.To), seconds(w.RunningSeconds), plural(int(w.Starts), "start"))
	}
}

func (s *inspectionSheet) exposureTables() {
	part := func(title string, list []inspection.Part) {
		t := table{Title: title, Head: []string{"", "Events", "Below the floor", "Depth × time"}}
		for _, p := range list {
			t.Rows = append(t.Rows, []string{p.Name, fmt.Sprint(p.Events), seconds(p.Seconds), s.dose(p.KelvinSeconds)})
		}
		s.Tables = append(s.Tables, t)
	}
	part("Floodback by severity", s.BySeverity)
	part("Floodback by phase at opening", s.ByPhase)
	t := table{Title: "By month", Note: "UTC. An event belongs to the month in which it began. Running hours and starts are those of recordings.",
		Head: []string{"Month", "Floodbacks", "Below the floor", "Depth × time", "Flooded starts", "Ran", "Starts"}}
	oil := table{Title: "Oil sump and discharge while running",
		Note: fmt.Sprintf("Within %s of suction dew liquid has to be expected in the oil. Above %s at the discharge line oil begins to suffer. Both are common practice.", s.view.Difference(float64(inspection.SumpClose)), s.view.Temperature(float64(inspection.DischargeHot))),
		Head: []string{"Month", "Sump known", "Lowest above dew", "Near dew", "Discharge known", "Highest", "Hot"}}
	for _, m := range s.Months {
		row := []string{m.Name, fmt.Sprint(m.Events), seconds(m.Seconds), s.dose(m.KelvinSeconds), fmt.Sprint(m.FloodedStarts), "–", "–"}
		if w := m.Work; w != nil {
			row[5], row[6] = seconds(w.RunningSeconds), fmt.Sprint(w.Starts)
			oil.Rows = append(oil.Rows, []string{m.Name, seconds(w.SumpSeconds), s.kelvin(w.LowestSumpOverDewK), known(w.SumpSeconds, w.SumpNearSeconds),
				seconds(w.DischargeSeconds), s.celsius(w.HighestDischargeC), known(w.DischargeSeconds, w.DischargeHotSeconds)})
		}
		t.Rows = append(t.Rows, row)
	}
	s.Tables = append(s.Tables, t)
	if len(oil.Rows) > 0 {
		s.Tables = append(s.Tables, oil)
	}
}

// known writes some seconds of a time in which they could be seen; a dash where
// there was none.
func known(of, some float64) string {
	if of == 0 {
		return "–"
	}
	return seconds(some)
}

func (s *inspectionSheet) eventTables() {
	episodes := func(title string, ids []string) {
		t := table{Title: title, Head: []string{"Began", "Severity", "Phase", "Below the floor", "Depth × time", "Lowest superheat", "Lowest margin", "Ended"}}
		for _, id := range ids {
			ev := s.Floodback(id)
			t.Rows = append(t.Rows, []string{s.view.Stamp(ev.Began), ev.Severity, ev.Phase, seconds(ev.SecondsBelow), s.dose(ev.KelvinSecondsBelow), s.kelvin(ev.MinSuperheatK), s.kelvin(ev.MinMarginK), s.ended(ev)})
		}
		s.add(t)
	}
	episodes("Longest floodbacks", s.Longest)
	episodes("Worst floodbacks, by depth × time", s.Worst)
	plain := func(title, note string, events []alert.Event) {
		t := table{Title: title, Note: note, Head: []string{"Began", "Severity", "Ended", "What was said"}}
		for i := range events {
			ev := &events[i]
			said := ""
			if ev.Input != "" {
				said = ev.Input + ": "
			}
			if texts := s.render.Texts(ev.Evidence); len(texts) > 0 {
				said += texts[0]
			}
			if ev.Withdrawn != nil {
				said = ev.Kind + "; proved false: " + s.render.Text(*ev.Withdrawn)
			}
			t.Rows = append(t.Rows, []string{s.view.Stamp(ev.Began), ev.Severity, s.ended(ev), said})
		}
		s.add(t)
	}
	plain("Flooded starts", "", s.FloodedStarts)
	plain("High superheat", "", s.HighSuperheat)
	plain("Hunting", "", s.Hunting)
	plain("Inputs in doubt or without data", "Superheat was not judged meanwhile.", s.Doubts)
	plain("Withdrawn", "A doubt of their inputs proved these false. They are no part of the exposure.", s.Withdrawn)
	found := table{Title: "Said and found", Head: []string{"Event", "Said", "Found on site"}}
	for _, ev := range s.Found() {
		c := explain.Of(ev, s.render).Compared
		found.Rows = append(found.Rows, []string{s.view.Stamp(ev.Opened) + " " + ev.Kind, c.Said, c.Found})
	}
	s.add(found)
	taken := table{Title: "Acknowledged", Head: []string{"Event", "By whom"}}
	for _, ev := range s.Acknowledged() {
		taken.Rows = append(taken.Rows, []string{s.view.Stamp(ev.Opened) + " " + ev.Kind, explain.Of(ev, s.render).Acknowledged})
	}
	s.add(taken)
}

// add adds a table that has rows.
func (s *inspectionSheet) add(t table) {
	if len(t.Rows) > 0 {
		s.Lists = append(s.Lists, t)
	}
}

func (s *inspectionSheet) ended(ev *alert.Event) string {
	if ev.Closed == nil {
		return "still open"
	}
	return s.view.Stamp(*ev.Closed)
}

// dose writes K·s in the reader's units, by the minute.
func (s *inspectionSheet) dose(kelvinSeconds float64) string {
	return s.view.Difference(kelvinSeconds/60) + "·min"
}

func seconds(s float64) string { return commissioning.Length(&s) }

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// InspectionHTML writes the report as one file that needs no other. size is as
// for HTML.
func InspectionHTML(w io.Writer, r *inspection.Report, render evidence.Renderer, size string) error {
	t, err := template.New("inspection").Parse(openingHTML + inspectionHTML)
	if err != nil {
		return err
	}
	s := newInspectionSheet(r, render)
	s.Style = styleFor(size)
	drawn := map[string]bool{}
	for _, id := range slices.Concat(r.Worst, r.Longest) {
		trace, ok := r.Traces[id]
		if !ok || drawn[id] {
			continue
		}
		drawn[id] = true
		s.Plots = append(s.Plots, s.episodePlot(r.Floodback(id), &trace))
	}
	return t.Execute(w, s)
}

// episodePlot draws one floodback; marks 1 and 2 are its beginning and end.
func (s *inspectionSheet) episodePlot(ev *alert.Event, trace *inspection.Trace) plotView {
	f := figure{
		times: trace.Times, trace: &trace.Trace, marks: []*time.Time{&ev.Began, ev.Closed},
		summary: fmt.Sprintf("Compressor %s: superheat, floor, phases, dew and line temperature around the floodback that began %s", s.Place, s.view.Stamp(ev.Began)),
	}
	return plotView{fmt.Sprintf("Floodback %s, %s, %s below the floor", s.view.Stamp(ev.Began), ev.Severity, units.Span(time.Duration(ev.SecondsBelow)*time.Second)), s.plot(f)}
}

// InspectionText writes the report for a terminal.
func InspectionText(w io.Writer, r *inspection.Report, render evidence.Renderer) error {
	s := newInspectionSheet(r, render)
	t := newText(s.view, w)
	t.line("INSPECTION REPORT: %s of site %s", s.Place, r.Site)
	t.line("%s. %s.", s.Machine, s.Covered)
	t.line("%s", noVerdict)
	t.title("In short")
	for _, f := range s.Facts {
		t.line("%s: %s", f[0], f[1])
	}
	t.line("%s", doseMeans)
	for _, x := range slices.Concat(s.Tables, s.Lists) {
		t.table(x)
	}
	for _, part := range []struct {
		title string
		list  []inspection.Sign
	}{{"What to look for inside", r.Signs}, {"What would point to another reason", r.Otherwise}} {
		t.title(part.title)
		for _, sign := range part.list {
			t.line("%s (%s)", sign.Finding, sign.Recorded)
			for _, inside := range sign.Inside {
				t.line("  - %s", inside)
			}
		}
	}
	t.title("What this record cannot show")
	for _, what := range r.CannotShow {
		t.line("  - %s", what)
	}
	t.title("Cautions")
	t.line("%s", cause.Cautions)
	for _, what := range cautions {
		t.line("  %s", what)
	}
	t.title("This report")
	t.line("dewgap %s", r.Dewgap)
	for _, f := range s.Files {
		t.line("%s  sha256 %s", f.Name, f.SHA256)
	}
	return t.w.Flush()
}

// table writes a table below its title.
func (t *text) table(x table) {
	if len(x.Rows) == 0 {
		return
	}
	t.title(x.Title)
	if x.Note != "" {
		t.line("%s", x.Note)
	}
	out := t.columns()
	fmt.Fprintln(out, strings.Join(x.Head, "\t"))
	for _, row := range x.Rows {
		fmt.Fprintln(out, strings.Join(row, "\t"))
	}
	out.Flush()
}
