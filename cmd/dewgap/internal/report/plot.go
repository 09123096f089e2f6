package report

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
)

// Sizes of a plot, in units of its own; 720 of them span the paper.
const (
	plotWidth  = 720.0
	plotHeight = 318.0
	plotLeft   = 44.0
	plotRight  = 600.0
	upperTop   = 26.0
	upperEnd   = 158.0
	stripTop   = 165.0
	stripEnd   = 182.0
	lowerTop   = 190.0
	lowerEnd   = 289.0
)

// figure is what one plot shows: a compressor over some time.
type figure struct {
	summary string // for who cannot see the plot
	times   []time.Time
	trace   *commissioning.Trace
	coil    []float32 // °C; nil for none
	dip     *float64  // K, the lowest superheat, where it is to be pointed at
	dipAt   *time.Time
	marks   []*time.Time // numbered from 1; nil ones keep their number
}

// plot draws a figure: superheat with its uncertainty and floor above, phases
// between, temperatures below. Curves differ by line style and carry their
// names, so that print and colour-blind eyes lose nothing.
type plot struct {
	words
	figure
	b    strings.Builder
	from time.Time
	span float64 // s
}

// cyclePlot draws compressor i through a cycle.
func (w words) cyclePlot(c *commissioning.Cycle, i int) template.HTML {
	s := &c.Stages
	f := figure{times: c.Times, trace: &c.Traces[i], coil: c.Coil, marks: []*time.Time{s.Began, s.HeatEnded, s.Resumed, s.Steady}}
	f.summary = fmt.Sprintf("Compressor %s: superheat, floor, phases, dew and line temperature through cycle %d of %s.%s",
		f.trace.Compressor, c.Number, c.Group, c.Circuit)
	for k := range c.Compressors {
		if m := &c.Compressors[k]; m.Name == f.trace.Compressor {
			f.dip, f.dipAt = m.Lowest, m.LowestAt
		}
	}
	return w.plot(f)
}

func (w words) plot(f figure) template.HTML {
	p := plot{words: w, figure: f, from: f.times[0]}
	p.span = max(f.times[len(f.times)-1].Sub(p.from).Seconds(), 1)
	p.write(`<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, plotWidth, plotHeight, template.HTMLEscapeString(p.summary))
	p.hours()
	p.upper()
	p.strip()
	p.lower()
	p.numbered()
	p.write("</svg>")
	return template.HTML(p.b.String()) //nolint:gosec // names are of letters, digits, - and _; figures are ours
}

func (p *plot) write(format string, args ...any) { fmt.Fprintf(&p.b, format, args...) }

func (p *plot) x(t time.Time) float64 {
	return plotLeft + (plotRight-plotLeft)*min(max(t.Sub(p.from).Seconds()/p.span, 0), 1)
}

func (p *plot) xi(i int) float64 { return p.x(p.times[i]) }

// hours draws the axis of time, at whole minutes.
func (p *plot) hours() {
	step := time.Minute
	for _, s := range []time.Duration{5, 10, 15, 30, 60, 120, 240} {
		step = s * time.Minute
		if p.span/step.Seconds() <= 9 {
			break
		}
	}
	for t := p.from.Truncate(step).Add(step); t.Sub(p.from).Seconds() <= p.span; t = t.Add(step) {
		x := p.x(t)
		p.write(`<path class="grid" d="M%.1f %gV%gM%.1f %gV%g"/>`, x, upperTop, upperEnd, x, lowerTop, lowerEnd)
		p.write(`<text class="mid" x="%.1f" y="%g">%s</text>`, x, lowerEnd+14, p.view.Minute(t))
	}
	p.write(`<text class="mid" x="%g" y="%g">time of %s</text>`, (plotLeft+plotRight)/2, lowerEnd+27, p.view.Day(p.from))
}

// axis is one panel's scale: values in SI, ticks at round numbers of the
// reader's units.
type axis struct {
	low, high, top, end float64
	number              func(float64) float64 // SI to the reader's
}

func (a axis) y(v float64) float64 {
	return a.end - (a.end-a.top)*(min(max(v, a.low), a.high)-a.low)/(a.high-a.low)
}

func (p *plot) scale(a axis, title string) {
	low, high := a.number(a.low), a.number(a.high)
	step := 1.0
	for _, s := range []float64{2, 5, 10, 20, 50, 100} {
		step = s
		if (high-low)/step <= 7 {
			break
		}
	}
	for v := math.Ceil(low/step)*step + 0; v <= high; v += step {
		y := a.end - (a.end-a.top)*(v-low)/(high-low)
		p.write(`<path class="grid" d="M%g %.1fH%g"/><text class="end" x="%g" y="%.1f">%s</text>`,
			plotLeft, y, plotRight, plotLeft-5, y+3.5, strings.Replace(fmt.Sprintf("%.0f", v+0), "-", "−", 1))
	}
	p.write(`<text x="%g" y="%g">%s</text>`, 2.0, a.top-8, title)
	p.write(`<path class="frame" d="M%g %gV%gH%gV%gz"/>`, plotLeft, a.top, a.end, plotRight, a.top)
}

// upper draws the superheat.
func (p *plot) upper() {
	tr := p.trace
	a := axis{low: -4, high: 20, top: upperTop, end: upperEnd, number: func(k float64) float64 { return p.view.System.DifferenceUnit().Number(k) }}
	for i := range tr.Highest {
		if h := float64(tr.Highest[i]); h > a.high {
			a.high = min(math.Ceil(h/5)*5, 40)
		}
		if l := float64(tr.Lowest[i]); l < a.low {
			a.low = max(math.Floor(l/2)*2, -12)
		}
	}
	p.scale(a, "Superheat, "+p.unit(true))
	band := p.band(a, func(i int) (float64, float64) {
		u := float64(tr.Uncertainty[i])
		return float64(tr.Lowest[i]) - u, float64(tr.Highest[i]) + u
	})
	p.write(`<path class="uncertain" d="%s"/>`, band)
	p.write(`<path class="under" d="%s"/>`, p.band(a, func(i int) (float64, float64) {
		if tr.Lowest[i] < tr.Floor[i] {
			return float64(tr.Lowest[i]), float64(tr.Floor[i])
		}
		return math.NaN(), math.NaN()
	}))
	p.write(`<path class="floor" d="%s"/>`, p.line(a, tr.Floor, true))
	p.write(`<path class="spread" d="%s"/>`, p.band(a, func(i int) (float64, float64) { return float64(tr.Lowest[i]), float64(tr.Highest[i]) }))
	p.write(`<path class="superheat" d="%s"/>`, p.line(a, tr.Lowest, false))
	if z := a.y(0); a.low < 0 {
		p.write(`<path class="zero" d="M%g %.1fH%g"/>`, plotLeft, z, plotRight)
	}
	p.names(a, []named{{"superheat", "superheat", last(tr.Lowest)}, {"floor", "floor", last(tr.Floor)}, {"zero", "dew (0)", 0}})
	p.pointAtLowest(a)
}

// pointAtLowest points at the lowest superheat.
func (p *plot) pointAtLowest(a axis) {
	if p.dip == nil || p.dipAt == nil {
		return
	}
	x, y := p.x(*p.dipAt), a.y(*p.dip)
	anchor, dx := "on", 7.0
	if x > plotRight-90 {
		anchor, dx = "on end", -7
	}
	p.write(`<circle class="lowest" cx="%.1f" cy="%.1f" r="3.5"/><text class="%s" x="%.1f" y="%.1f">lowest %s</text>`,
		x, y, anchor, x+dx, min(y+13, a.end-3), p.kelvin(p.dip))
}

func (p *plot) unit(difference bool) string {
	switch {
	case p.view.System == units.US:
		return "°F"
	case difference:
		return "K"
	}
	return "°C"
}

// lower draws the temperatures.
func (p *plot) lower() {
	tr := p.trace
	a := axis{low: math.Inf(1), high: math.Inf(-1), top: lowerTop, end: lowerEnd, number: func(c float64) float64 { return p.view.System.TemperatureUnit().Number(c) }}
	for _, x := range [][]float32{tr.Dew, tr.Pipe, p.coil} {
		for _, v := range x {
			if v == v {
				a.low, a.high = min(a.low, float64(v)), max(a.high, float64(v))
			}
		}
	}
	if a.low > a.high {
		a.low, a.high = -10, 10
	}
	a.low, a.high = math.Floor(a.low/5)*5, math.Ceil((a.high+1)/5)*5
	p.write(`<text x="%g" y="%g">%s</text>`, 2.0, lowerTop+9, p.unit(false))
	p.scale(a, "")
	p.write(`<path class="coil" d="%s"/><path class="dew" d="%s"/><path class="pipe" d="%s"/>`,
		p.line(a, p.coil, false), p.line(a, tr.Dew, false), p.line(a, tr.Pipe, false))
	p.names(a, []named{{"pipe", "suction line", last(tr.Pipe)}, {"coil", "coil outlet", last(p.coil)}, {"dew", "dew", last(tr.Dew)}})
}

// line is a curve that lifts its pen where nothing is known; stepped for a
// quantity that jumps.
func (p *plot) line(a axis, values []float32, stepped bool) string {
	var b strings.Builder
	pen := false
	for i, v := range values {
		if v != v {
			pen = false
			continue
		}
		switch {
		case !pen:
			fmt.Fprintf(&b, "M%.1f %.1fh.5", p.xi(i), a.y(float64(v)))
		case stepped && v != values[i-1]:
			fmt.Fprintf(&b, "H%.1fV%.1f", p.xi(i), a.y(float64(v)))
		case stepped && i+1 < len(values) && values[i+1] == v:
		case stepped:
			fmt.Fprintf(&b, "H%.1f", p.xi(i))
		default:
			fmt.Fprintf(&b, "L%.1f %.1f", p.xi(i), a.y(float64(v)))
		}
		pen = true
	}
	return b.String()
}

// band is the area between two curves, in pieces where nothing is known.
func (p *plot) band(a axis, at func(i int) (low, high float64)) string {
	var b strings.Builder
	begun := -1
	finish := func(end int) {
		if begun < 0 {
			return
		}
		for i := begun; i < end; i++ {
			_, high := at(i)
			command := 'L'
			if i == begun {
				command = 'M'
			}
			fmt.Fprintf(&b, "%c%.1f %.1f", command, p.xi(i), a.y(high))
		}
		for i := end - 1; i >= begun; i-- {
			low, _ := at(i)
			fmt.Fprintf(&b, "L%.1f %.1f", p.xi(i), a.y(low))
		}
		b.WriteByte('z')
		begun = -1
	}
	for i := range p.times {
		if low, high := at(i); math.IsNaN(low) || math.IsNaN(high) {
			finish(i)
		} else if begun < 0 {
			begun = i
		}
	}
	finish(len(p.times))
	return b.String()
}

type named struct {
	class, name string
	value       float64
}

func last(values []float32) float64 {
	for i := len(values) - 1; i >= 0; i-- {
		if values[i] == values[i] {
			return float64(values[i])
		}
	}
	return math.NaN()
}

// names writes the names of curves at their right ends, with a piece of line
// in the curve's style, and moves them apart where they would meet.
func (p *plot) names(a axis, list []named) {
	const apart = 14.0
	y := make([]float64, 0, len(list))
	var shown []named
	for _, n := range list {
		if !math.IsNaN(n.value) {
			shown = append(shown, n)
			y = append(y, a.y(n.value))
		}
	}
	for i := range shown { // by height
		for j := i; j > 0 && y[j] < y[j-1]; j-- {
			y[j], y[j-1], shown[j], shown[j-1] = y[j-1], y[j], shown[j-1], shown[j]
		}
	}
	for i := 1; i < len(y); i++ {
		y[i] = max(y[i], y[i-1]+apart)
	}
	for i := len(y) - 1; i >= 0; i-- {
		y[i] = min(y[i], a.end-float64(len(y)-1-i)*apart)
	}
	for i, n := range shown {
		p.write(`<path class="%s" d="M%g %.1fh22"/><text x="%g" y="%.1f">%s</text>`, n.class, plotRight+5, y[i], plotRight+31, y[i]+3.5, n.name)
	}
}

// strip shows the phases, each by a pattern and, where there is room, its name.
func (p *plot) strip() {
	ph := p.trace.Phase
	for i := 0; i < len(ph); {
		j := i
		for j < len(ph) && ph[j] == ph[i] {
			j++
		}
		x0, x1 := p.xi(i), plotRight
		if j < len(ph) {
			x1 = p.xi(j)
		}
		p.write(`<rect class="phase %s" x="%.1f" y="%g" width="%.1f" height="%g"/>`, ph[i], x0, stripTop, max(x1-x0, 0.5), stripEnd-stripTop)
		if name := ph[i].String(); x1-x0 > 6.5*float64(len(name)) {
			p.write(`<text class="mid on" x="%.1f" y="%g">%s</text>`, (x0+x1)/2, stripEnd-5.5, name)
		}
		i = j
	}
	p.write(`<path class="frame" d="M%g %gV%gH%gV%gz"/><text x="%g" y="%g">phase</text>`, plotLeft, stripTop, stripEnd, plotRight, stripTop, plotRight+5, stripEnd-5.5)
}

// numbered draws the marks with their numbers.
func (p *plot) numbered() {
	room := math.Inf(-1)
	for i, at := range p.marks {
		if at == nil {
			continue
		}
		x := p.x(*at)
		label := max(x, room+15)
		room = label
		p.write(`<path class="mark" d="M%.1f %gV%g"/><circle class="badge" cx="%.1f" cy="12" r="7"/><text class="mid" x="%.1f" y="15.5">%d</text>`,
			x, 19.0, lowerEnd, label, label, i+1)
	}
}
