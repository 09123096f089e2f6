package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
	"dewgap/collector"
)

// progress shows the state of a recording: in a terminal a table that is redrawn
// each second, otherwise lines each minute and at each change of phase.
type progress struct {
	w       io.Writer
	system  units.System
	out     string
	start   time.Time
	length  time.Duration
	sources []collector.Source

	terminal    bool
	columns     int
	drawnLines  int       // lines on the screen that the next table replaces
	drawnAt     time.Time // real time of the last table
	lowest      []lowest
	phases      []frame.Phase
	lastPrinted time.Time // of the last plain lines, in recorded time
}

// lowest is the lowest superheat of a compressor while running, start apart.
type lowest struct {
	superheat units.Kelvin
	at        time.Time
	in        frame.Phase
}

// tellEvery is how often plain lines are written, in recorded time.
const printEvery = time.Minute

func newProgress(w io.Writer, system units.System, out string, begun time.Time, length time.Duration, sources []collector.Source) *progress {
	p := &progress{w: w, system: system, out: filepath.Base(out), start: begun, length: length, sources: sources}
	if f, ok := w.(*os.File); ok {
		p.columns, p.terminal = terminalWidth(f)
	}
	return p
}

// show takes one more row.
func (p *progress) show(r analyze.Result, rows int) {
	if p.lowest == nil {
		p.lowest = make([]lowest, len(r.States))
		p.phases = make([]frame.Phase, len(r.States))
		for i := range p.lowest {
			p.lowest[i].superheat = units.Kelvin(math.NaN())
		}
	}
	for i := range r.States {
		st, low := &r.States[i], &p.lowest[i]
		if st.Phase == frame.Off || st.Phase == frame.Start || st.Phase == frame.Unknown || math.IsNaN(float64(st.Superheat)) {
			continue
		}
		if !(low.superheat <= st.Superheat) {
			*low = lowest{st.Superheat, st.Time, st.Phase}
		}
	}
	if p.terminal {
		if now := time.Now(); now.Sub(p.drawnAt) >= time.Second-50*time.Millisecond {
			p.drawnAt = now
			p.draw(r, rows)
		}
		return
	}
	p.printLines(r)
}

// draw replaces the last table by a new one.
func (p *progress) draw(r analyze.Result, rows int) {
	var text strings.Builder
	passed := r.Time.Sub(p.start).Round(time.Second)
	fmt.Fprintf(&text, "recording to %s: %s of %s, %d rows, it is %s UTC; Ctrl-C ends it\n", p.out, passed, p.length, rows, r.Time.Format("15:04:05"))
	table := tabwriter.NewWriter(&text, 0, 4, 2, ' ', 0)
	fmt.Fprintln(table, "group\tcompressor\tphase\tsuperheat\tfloor\tlowest so far")
	for i := range r.States {
		st := &r.States[i]
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\n", st.Group, st.Name, st.Phase, p.superheat(st), p.system.Difference(st.Floor), p.lowestOf(i))
	}
	table.Flush() // a strings.Builder does not fail
	for _, s := range p.sources {
		if status := s.Status(); !status.Up {
			fmt.Fprintf(&text, "source %s is down: %s\n", status.Name, status.Reason)
		}
	}
	lines := strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n")
	if p.drawnLines > 0 {
		fmt.Fprintf(p.w, "\x1b[%dA\x1b[J", p.drawnLines)
	}
	for _, line := range lines {
		if runes := []rune(line); len(runes) > p.columns {
			line = string(runes[:p.columns-1]) + "…"
		}
		fmt.Fprintln(p.w, line)
	}
	p.drawnLines = len(lines)
}

// end leaves the last table on the screen.
func (p *progress) end() { p.drawnLines = 0 }

// printLines writes one line for a compressor whose phase has changed, and one for
// each compressor every printEvery.
func (p *progress) printLines(r analyze.Result) {
	all := r.Time.Sub(p.lastPrinted) >= printEvery
	if all {
		p.lastPrinted = r.Time
		for _, s := range p.sources {
			if status := s.Status(); !status.Up {
				fmt.Fprintf(p.w, "%s source %s is down: %s\n", r.Time.Format("15:04:05"), status.Name, status.Reason)
			}
		}
	}
	for i := range r.States {
		st := &r.States[i]
		if !all && st.Phase == p.phases[i] {
			continue
		}
		p.phases[i] = st.Phase
		fmt.Fprintf(p.w, "%s %s %s: %s, superheat %s, lowest so far %s\n", st.Time.Format("15:04:05"), st.Group, st.Name, st.Phase, p.superheat(st), p.lowestOf(i))
	}
}

func (p *progress) superheat(st *analyze.State) string {
	switch {
	case st.Phase == frame.Off:
		return "–"
	case math.IsNaN(float64(st.Superheat)):
		return "unknown: " + evidence.Renderer{System: p.system}.Optional(st.Reason)
	}
	text := p.system.Difference(st.Superheat) + " ± " + p.system.Difference(st.Uncertainty)
	if st.Margin < 0 {
		text += " BELOW FLOOR"
	}
	return text
}

func (p *progress) lowestOf(i int) string {
	low := &p.lowest[i]
	if math.IsNaN(float64(low.superheat)) {
		return "–"
	}
	return fmt.Sprintf("%s at %s in %s", p.system.Difference(low.superheat), low.at.Format("15:04:05"), low.in)
}
