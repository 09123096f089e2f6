package pipeline

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/trend"
	"dewgap/analyze/units"
)

// Tally counts what a run showed of each compressor, for a summary that a
// person reads.
type Tally struct {
	site        analyze.Site
	from, to    time.Time
	rows        int
	gaps        reading.GapDetector
	compressors []tallied
	notices     []trend.Notice
	limits      []analyze.Limit
}

// tallied is what a run showed of one compressor. The state of each row stands
// until the next row, as far as somebody watched in between.
type tallied struct {
	in     [frame.PhaseCount]time.Duration
	lowest [frame.PhaseCount]units.Kelvin // superheat, NaN before any
	below  time.Duration                  // running with the margin below zero
	known  time.Duration                  // running with superheat known
	last   analyze.State                  // of the row before
	seen   bool
}

// NewTally returns an empty tally.
func NewTally(site analyze.Site) *Tally {
	t := &Tally{site: site}
	for _, g := range site.Groups {
		for range g.Compressors {
			c := tallied{}
			for i := range c.lowest {
				c.lowest[i] = units.Kelvin(math.NaN())
			}
			t.compressors = append(t.compressors, c)
		}
	}
	return t
}

// Add counts one row's states.
func (t *Tally) Add(r analyze.Result) {
	if t.rows == 0 {
		t.from = r.Time
	}
	watched := t.gaps.Next(r.Time).Watched
	t.to = r.Time
	t.rows++
	t.notices, t.limits = r.Notices, r.Limits
	for i := range r.States {
		t.compressors[i].add(&r.States[i], watched)
	}
}

func (c *tallied) add(st *analyze.State, watched time.Duration) {
	if c.seen {
		c.in[c.last.Phase] += watched
		if runsKnown(&c.last) {
			c.known += watched
			if c.last.Margin < 0 {
				c.below += watched
			}
		}
	}
	c.last, c.seen = *st, true
	if low := &c.lowest[st.Phase]; runsKnown(st) && !(*low <= st.Superheat) {
		*low = st.Superheat
	}
}

// runsKnown reports whether a compressor runs with its superheat known.
func runsKnown(st *analyze.State) bool {
	return st.Phase != frame.Off && !math.IsNaN(float64(st.Superheat))
}

// Write prints the summary: times in each phase, lowest superheat, events.
func (t *Tally) Write(w io.Writer, system units.System, events []alert.Event) {
	r := evidence.Renderer{System: system, Atmosphere: t.site.Atmosphere, Pressure: t.site.PressureUnit()}
	fmt.Fprintf(w, "%s: %d rows, %s to %s\n\n", t.site.Name, t.rows, t.from.Format(time.RFC3339), t.to.Format(time.RFC3339))
	i := 0
	for _, g := range t.site.Groups {
		fmt.Fprintf(w, "group %s, %s, floor %s (pulldown %s)\n", g.Name, g.Refrigerant.Name,
			system.Difference(g.Detect.Floor.Steady), system.Difference(g.Detect.Floor.Pulldown))
		for _, c := range g.Compressors {
			t.compressors[i].write(w, c.Name, system)
			i++
		}
		fmt.Fprintln(w)
	}
	for _, l := range t.limits {
		fmt.Fprintf(w, "not judged  %s %s %s: %s\n", l.Group, l.Compressor, l.What, r.Text(l.Reason))
	}
	if len(events) == 0 {
		fmt.Fprintln(w, "no events")
	}
	for _, ev := range events {
		writeEvent(w, r, ev)
	}
	for _, n := range t.notices {
		fmt.Fprintf(w, "trend  %s %s: %s\n", n.Group, n.Circuit+n.Compressor, r.Text(n.Found))
	}
}

func (c *tallied) write(w io.Writer, name string, system units.System) {
	var parts []string
	for _, p := range []frame.Phase{frame.Steady, frame.Pulldown, frame.Defrost, frame.Start, frame.Off, frame.Unknown} {
		if c.in[p] == 0 {
			continue
		}
		part := fmt.Sprintf("%s %s", p, units.Span(c.in[p]))
		if low := c.lowest[p]; !math.IsNaN(float64(low)) {
			part += fmt.Sprintf(" (lowest superheat %s)", system.Difference(low))
		}
		parts = append(parts, part)
	}
	fmt.Fprintf(w, "  %-8s below floor %s of %s running with superheat known\n           %s\n",
		name, units.Span(c.below), units.Span(c.known), strings.Join(parts, ", "))
}

func writeEvent(w io.Writer, r evidence.Renderer, ev alert.Event) {
	subject := ev.Group
	if ev.Compressor != "" {
		subject += " " + ev.Compressor
	}
	ended := "still open"
	if ev.Closed != nil {
		ended = "closed after " + units.Span(ev.Closed.Sub(ev.Opened))
	}
	if ev.Withdrawn != nil {
		ended = "withdrawn after " + units.Span(ev.Closed.Sub(ev.Opened))
	}
	fmt.Fprintf(w, "%s  %s %s  %s, %s\n", ev.Opened.Format(time.RFC3339), ev.Kind, ev.Severity, subject, ended)
	if ev.Withdrawn != nil {
		fmt.Fprintf(w, "    withdrawn, no part of the exposure: %s\n", r.Text(*ev.Withdrawn))
	}
	if a := ev.Acknowledged; a != nil {
		fmt.Fprintf(w, "    acknowledged by %s at %s: %s\n", a.By, a.At.Format(time.RFC3339), a.Note)
	}
	if f := ev.Found; f != nil {
		found := f.Cause
		if f.Circuit != "" {
			found += " at " + f.Circuit
		}
		fmt.Fprintf(w, "    found %s, by %s at %s: %s\n", found, f.By, f.At.Format(time.RFC3339), f.Note)
	}
	if facts := ev.Facts(r); len(facts) > 0 {
		var parts []string
		for _, f := range facts {
			parts = append(parts, strings.ToLower(f.Name[:1])+f.Name[1:]+" "+f.Text)
		}
		fmt.Fprintf(w, "    opened in %s: %s\n", ev.Phase, strings.Join(parts, "; "))
	}
	for _, sentence := range r.Texts(ev.Evidence) {
		fmt.Fprintf(w, "    %s\n", sentence)
	}
	for n, c := range ev.Circuits[:min(3, len(ev.Circuits))] {
		fmt.Fprintf(w, "    circuit %d: %s (%.2f) %s\n", n+1, c.Name, c.Score, strings.Join(r.Texts(c.Why), "; "))
	}
	for n, c := range ev.Causes[:min(3, len(ev.Causes))] {
		fmt.Fprintf(w, "    cause %d: %s (%.2f) %s\n", n+1, c.Cause, c.Score, strings.Join(r.Texts(c.Why), "; "))
	}
	fmt.Fprintf(w, "    id %s\n", ev.ID)
}
