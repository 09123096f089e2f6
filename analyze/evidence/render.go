package evidence

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/units"
)

// Renderer puts evidence into words for people of one system of units.
type Renderer struct {
	System units.System
	// Atmosphere is the pressure of the air at the site, Pa, which a gauge does
	// not show; 0 shows absolute pressures.
	Atmosphere units.Pascal
	// Pressure is the unit in which the site's own transmitters read; a renderer
	// without one shows what a gauge of the system shows.
	Pressure units.Unit
}

// In returns r for a reader who asked for a system of units: another than the
// site's has no use for the unit of the site's transmitters.
func (r Renderer) In(system units.System) Renderer {
	if system != r.System {
		r.System, r.Pressure = system, units.Unit{}
	}
	return r
}

// Text returns i in words. Evidence whose code the catalogue lacks is shown as
// the text that came with it, or as its code and numbers.
func (r Renderer) Text(i Item) string {
	template, ok := catalogue[i.Code]
	if !ok {
		if i.Text != "" {
			return i.Text
		}
		return r.plain(i)
	}
	return r.fill(template, i)
}

// fill returns the template with its holes filled from i.
func (r Renderer) fill(template string, i Item) string {
	var b strings.Builder
	for rest := template; ; {
		before, after, found := strings.Cut(rest, "{")
		b.WriteString(before)
		if !found {
			return b.String()
		}
		hole, tail, _ := strings.Cut(after, "}")
		name, digits, _ := strings.Cut(hole, ":")
		b.WriteString(r.value(i, name, digits))
		rest = tail
	}
}

// Optional returns i in words; nothing where there is none.
func (r Renderer) Optional(i *Item) string {
	if i == nil {
		return ""
	}
	return r.Text(*i)
}

// Texts returns all of them in words.
func (r Renderer) Texts(items []Item) []string {
	var out []string
	for _, i := range items {
		out = append(out, r.Text(i))
	}
	return out
}

// WithText returns copies of items that hold their words, for files and
// answers that people read beside the codes.
func (r Renderer) WithText(items []Item) []Item {
	if items == nil {
		return nil
	}
	out := make([]Item, len(items))
	for n, i := range items {
		i.Text = r.Text(i)
		out[n] = i
	}
	return out
}

// value renders one value with the given number of decimals, or with those of
// its quantity; a part as the text of its code, whose own holes hold no parts.
func (r Renderer) value(i Item, name, digits string) string {
	for _, v := range i.Values {
		if v.Name != name {
			continue
		}
		if text, ok := partText(v); ok {
			return r.fill(text, i)
		}
		return r.Value(v, digits)
	}
	return "unknown"
}

// partText returns the template of a value that is a part; not ok where it is
// none, where the catalogue lacks it, and where it holds parts itself.
func partText(v Value) (template string, ok bool) {
	if !strings.HasSuffix(v.Name, partEnding) {
		return "", false
	}
	template, ok = catalogue[Code(v.Word)]
	return template, ok && !strings.Contains(template, partEnding)
}

// Value renders v with so many decimals ("0", "1", …), or with those usual for
// its quantity where digits is empty.
func (r Renderer) Value(v Value, digits string) string {
	x := v.Number
	if v.Quantity() == Word {
		return v.Word
	}
	if math.IsNaN(x) {
		return "unknown"
	}
	n := -1
	if d, err := strconv.Atoi(digits); err == nil {
		n = d
	}
	switch v.Quantity() {
	case TemperatureQuantity:
		return r.System.TemperatureTo(units.Celsius(x), or(n, 1))
	case DifferenceQuantity:
		return r.System.DifferenceTo(units.Kelvin(x), or(n, 1))
	case RateQuantity:
		return r.System.DifferenceTo(units.Kelvin(x), or(n, 1)) + "/min"
	case PressureQuantity:
		if r.Atmosphere == 0 && r.Pressure.Quantity != units.AbsolutePressure {
			return r.System.AbsolutePressure(units.Pascal(x))
		}
		return r.System.PressureIn(r.Pressure, units.Pascal(x), r.Atmosphere)
	case PressureDifferenceValue:
		return r.System.PressureDifference(units.Pascal(x))
	case DurationQuantity:
		return units.Span(time.Duration(x * float64(time.Second)))
	case ShareQuantity:
		return strconv.FormatFloat(100*x, 'f', or(n, 0), 64) + " %"
	}
	return strconv.FormatFloat(x, 'f', n, 64) // counts, as short as exact
}

func or(n, usual int) int {
	if n < 0 {
		return usual
	}
	return n
}

// plain shows evidence of a code that this version does not have.
func (r Renderer) plain(i Item) string {
	parts := []string{string(i.Code)}
	for _, v := range i.Values {
		parts = append(parts, v.Name+" "+r.Value(v, ""))
	}
	return strings.Join(parts, ", ")
}

// Check returns an error when i does not fit the catalogue: an unknown code or
// part, a value that its sentence needs and i lacks, or one that is shown
// nowhere.
func Check(i Item) error {
	template, ok := catalogue[i.Code]
	if !ok {
		return fmt.Errorf("evidence %q is not in the catalogue", i.Code)
	}
	needed := map[string]bool{}
	for _, name := range holes(template) {
		needed[name] = true
	}
	for _, v := range i.Values {
		if !strings.HasSuffix(v.Name, partEnding) {
			continue
		}
		part, ok := partText(v)
		if !ok {
			return fmt.Errorf("evidence %q: %q is no part of a sentence of the catalogue", i.Code, v.Word)
		}
		for _, name := range holes(part) {
			needed[name] = true
		}
	}
	for _, v := range i.Values {
		if !needed[v.Name] {
			return fmt.Errorf("evidence %q: value %q is in no sentence", i.Code, v.Name)
		}
		delete(needed, v.Name)
	}
	for name := range needed {
		return fmt.Errorf("evidence %q: the sentence needs %q", i.Code, name)
	}
	return nil
}

// holes returns the names of the values that a template needs.
func holes(template string) (names []string) {
	for _, part := range strings.Split(template, "{")[1:] {
		hole, _, _ := strings.Cut(part, "}")
		name, _, _ := strings.Cut(hole, ":")
		names = append(names, name)
	}
	return names
}
