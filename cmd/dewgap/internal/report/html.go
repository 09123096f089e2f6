package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"

	"dewgap/analyze/cause"
	"dewgap/cmd/dewgap/internal/commissioning"
	"dewgap/config"
)

var (
	//go:embed opening.html
	openingHTML string // of both reports
	//go:embed record.html
	recordHTML string
	//go:embed record.css
	recordCSS string
)

// page is what the template of the record shows.
type page struct {
	words
	*commissioning.Record
	Style    template.CSS
	Shown    []cycleView
	ByHand   []string
	Cautions []string
	Signers  []string
	Scope    string
	Files    []commissioning.File
	OnSite   string // printed with every list of checks
}

type cycleView struct {
	OnSite []string
	*commissioning.Cycle
	Course []stageLine
	Lines  []machineLine
	Matrix []matrixLine
	Names  []string
	Likely []commissioning.Likely // causes, in words
	Plots  []plotView
}

type machineLine struct {
	*commissioning.Machine
	Low, At, Phase, Margin, Below, Longest, Running string
}

// matrixLine is one criterion over the circuit or the compressors.
type matrixLine struct {
	Name  string
	Cells []matrixCell
}

type matrixCell struct {
	Outcome commissioning.Outcome
	Word    string
	Figure  string
}

type plotView struct {
	Name string
	SVG  template.HTML
}

// maxPlots is how many compressors of a cycle are drawn: the lowest margins.
const maxPlots = 4

var paperSizes = map[string]string{"a4": "size: A4;", "letter": "size: letter;"}

// styleFor is the style of both reports on paper of a size.
func styleFor(size string) template.CSS {
	return template.CSS(recordCSS + "@page { " + paperSizes[size] + " margin: 13mm 14mm 15mm; }\n")
}

// simulatedOnEachPage stands in the margin of each sheet of paper.
const simulatedOnEachPage = "@page { @bottom-center { content: \"Simulated: no real plant\"; font: bold 8pt sans-serif; } }\n"

// HTML writes the record as one file that needs no other. size is a4, letter,
// or anything else for the printer's own.
func HTML(w io.Writer, r *commissioning.Record, size string) error {
	t, err := template.New("record").Funcs(template.FuncMap{
		"verdict": func(v commissioning.Verdict) string { return v.Words() },
		"outcome": func(o commissioning.Outcome) string { return outcomes[o] },
		"stamp":   r.View.Stamp, "share": share, "defrost": defrostName, "parts": parts, "assumed": func() string { return assumedMeans },
		"criterion": func(name string) string { return criteria[name] },
	}).Parse(openingHTML + recordHTML)
	if err != nil {
		return err
	}
	p := page{
		words: words{r.View}, Record: r, Style: styleFor(size),
		ByHand: byHand, Cautions: cautions, Signers: signers, Scope: scope, OnSite: cause.Cautions, Files: append([]commissioning.File{r.Config}, r.Data...),
	}
	if r.Simulated {
		p.Style += simulatedOnEachPage
	}
	for _, i := range sheetOf(r.Cycles) {
		p.Shown = append(p.Shown, p.sheet(&r.Cycles[i]))
	}
	return t.Execute(w, p)
}

// KOr writes a difference that may not be known.
func (p page) KOr(d *float64) string { return p.kelvin(d) }

// K writes a difference of temperatures.
func (p page) K(d float64) string { return p.kelvin(&d) }

func (w words) sheet(c *commissioning.Cycle) cycleView {
	v := cycleView{Cycle: c, Course: w.course(c)}
	for i := range c.Compressors {
		m := &c.Compressors[i]
		v.Names = append(v.Names, m.Name)
		v.Lines = append(v.Lines, machineLine{m, w.lowest(m), w.clock(m.LowestAt), m.LowestPhase, w.kelvin(m.Margin),
			commissioning.Length(&m.Below), commissioning.Length(&m.Longest), commissioning.Length(&m.Running)})
	}
	v.OnSite = w.onSite(c)
	for _, likely := range c.Causes {
		likely.Name = cause.Words(likely.Name)
		v.Likely = append(v.Likely, likely)
	}
	for _, name := range config.CommissioningCriteria {
		if line := w.matrix(c, name); line.Cells != nil {
			v.Matrix = append(v.Matrix, line)
		}
	}
	for _, i := range worstFirst(c) {
		v.Plots = append(v.Plots, plotView{c.Traces[i].Compressor, w.cyclePlot(c, i)})
	}
	return v
}

// matrix gathers one criterion: a cell for the circuit and one for each
// compressor; none where nobody was judged by it.
func (w words) matrix(c *commissioning.Cycle, name string) matrixLine {
	line := matrixLine{Name: criteria[name]}
	any := false
	cell := func(checks []commissioning.Check) matrixCell {
		i := slices.IndexFunc(checks, func(k commissioning.Check) bool { return k.Criterion == name })
		if i < 0 {
			return matrixCell{}
		}
		any = true
		return matrixCell{checks[i].Outcome, outcomes[checks[i].Outcome], checks[i].Short(w.view)}
	}
	line.Cells = append(line.Cells, cell(c.Checks))
	for i := range c.Compressors {
		line.Cells = append(line.Cells, cell(c.Compressors[i].Checks))
	}
	if !any {
		line.Cells = nil
	}
	return line
}

// worstFirst returns the compressors that ran in a cycle and are drawn, lowest
// margin first.
func worstFirst(c *commissioning.Cycle) []int {
	var order []int
	for i := range c.Compressors {
		if c.Compressors[i].Lowest != nil || c.Compressors[i].Running > 0 {
			order = append(order, i)
		}
	}
	margin := func(i int) float64 {
		if m := c.Compressors[i].Margin; m != nil {
			return *m
		}
		return -1e9 // not known comes first
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch d := margin(a) - margin(b); {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
	return order[:min(len(order), maxPlots)]
}

// Undrawn writes how many compressors have no plot; empty when all have.
func (v cycleView) Undrawn() string {
	if n := len(v.Compressors) - len(v.Plots); n > 0 && len(v.Plots) == maxPlots {
		return fmt.Sprintf("The %d compressors with the lowest margins are drawn; %d more are in the table.", maxPlots, n)
	}
	return ""
}
