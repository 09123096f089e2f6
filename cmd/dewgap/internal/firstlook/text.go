package firstlook

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteText writes the report for a person: the compressors, the inputs with what
// is wrong with them and the lines to paste, and a closing count.
func (r *Report) WriteText(w io.Writer) error {
	var b strings.Builder
	if r.Rows > 0 {
		fmt.Fprintf(&b, "%s at %s, after %d rows\n\n", r.Site, r.Time.Format("2006-01-02 15:04:05 MST"), r.Rows)
		r.writeCompressors(&b)
	}
	r.writePoints(&b)
	fmt.Fprintf(&b, "\n%s\n", r.Counts)
	_, err := io.WriteString(w, b.String())
	return err
}

func (r *Report) writeCompressors(b *strings.Builder) {
	t := tabwriter.NewWriter(b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "compressor\tphase\tsuction\tdew\tline\tsuperheat\tverdict")
	for i := range r.Compressors {
		c := &r.Compressors[i]
		fmt.Fprintf(t, "%s.%s\t%s\t%s\t%s\t%s\t%s\t%s\n", c.Group, c.Name, c.Phase,
			or(c.Shown.Pressure), or(c.Shown.Dew), or(c.Shown.Line), or(c.Shown.Superheat), c.Verdict)
	}
	t.Flush()
	for i := range r.Compressors {
		for _, note := range r.Compressors[i].Notes {
			fmt.Fprintf(b, "  %s.%s: %s\n", r.Compressors[i].Group, r.Compressors[i].Name, note)
		}
	}
	b.WriteString("\n")
}

func (r *Report) writePoints(b *strings.Builder) {
	t := tabwriter.NewWriter(b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "input\tverdict\tvalue\ton the wire, first read\tgauge")
	for i := range r.Points {
		p := &r.Points[i]
		compared := p.Compared
		if compared == "" && p.Comparable {
			compared = "never compared"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", p.Path, p.Verdict, or(p.Text), or(wire(p)), compared)
	}
	t.Flush()
	for i := range r.Points {
		r.Points[i].writeFaults(b)
	}
}

func wire(p *Point) string {
	switch {
	case p.Where == "":
		return p.Raw
	case p.Raw == "":
		return p.Where
	}
	return p.Where + ", " + p.Raw
}

// writeFaults writes what is wrong with an input and what would put it right.
func (p *Point) writeFaults(b *strings.Builder) {
	notes := p.Notes
	if p.Verdict == Good && len(notes) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s, %s", p.Path, p.Verdict)
	if p.Why != "" {
		fmt.Fprintf(b, ": %s", p.Why)
	}
	b.WriteString("\n")
	for n, m := range p.Remedies {
		likely := "likely"
		switch {
		case n > 0 && m.Key == "exchange":
			likely = "and"
		case n > 0:
			likely = "or"
		}
		fmt.Fprintf(b, "  %s: %s. Line %d of %s becomes:\n    %s\n", likely, m.Why, m.Line, m.File, strings.TrimSpace(m.Paste))
	}
	for _, note := range notes {
		fmt.Fprintf(b, "  %s\n", note)
	}
}

// String is the closing line of a report.
func (c Counts) String() string {
	text := fmt.Sprintf("%d points: %d good, %d doubtful, %d failing", c.Points, c.Good, c.Doubtful, c.Failing)
	if c.NeverCompared > 0 {
		text += fmt.Sprintf("; %d never compared with a gauge", c.NeverCompared)
	}
	return text
}

func or(s string) string {
	if s == "" {
		return "–"
	}
	return s
}
