package firstlook

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/sensorcheck"
	"dewgap/analyze/units"
	"dewgap/config"
)

// Remedy is the change of the site file that would explain an input that cannot be
// right, as far as the file has such a key.
type Remedy struct {
	Input string `json:"input"`
	Key   string `json:"key"`
	Value string `json:"value"` // as it stands in the file
	File  string `json:"file"`
	Line  int    `json:"line"`  // of the file that the text replaces
	Paste string `json:"paste"` // the whole new line
	Why   string `json:"why"`
}

// unitMistakes are the explanations of other anomalies that another unit puts
// right, with the change of the unit's name.
var unitMistakes = map[evidence.Code]struct {
	role   reading.Role
	change func(unit string) string
}{
	evidence.GaugeTakenForAbsolute:     {reading.SuctionPressure, func(u string) string { return lastLetter(u, "g") }},
	evidence.AbsoluteTakenForGauge:     {reading.SuctionPressure, func(u string) string { return lastLetter(u, "a") }},
	evidence.PsiTakenForBar:            {reading.SuctionPressure, func(u string) string { return lastLetter("psi?", reference(u)) }},
	evidence.BarTakenForPsi:            {reading.SuctionPressure, func(u string) string { return lastLetter("bar?", reference(u)) }},
	evidence.FahrenheitTakenForCelsius: {reading.SuctionTemperature, func(string) string { return "degF" }},
	evidence.CelsiusTakenForFahrenheit: {reading.SuctionTemperature, func(string) string { return "degC" }},
}

func lastLetter(unit, letter string) string {
	if unit == "" {
		return ""
	}
	return unit[:len(unit)-1] + letter
}

// reference returns whether a unit is gauge or absolute, as its last letter does.
func reference(unit string) string {
	if strings.HasSuffix(unit, "a") {
		return "a"
	}
	return "g"
}

// remedies returns the changes that would explain what is held against an input.
func (l *Look) remedies(i int) []Remedy {
	for _, m := range l.mistakes {
		if m.Point == i {
			return l.remediesOf(m)
		}
	}
	why := l.result.Inputs[i].Reason
	if why == nil {
		return nil
	}
	var all []Remedy
	for _, name := range []string{"likely_code", "line_code", "pressure_code"} {
		code := evidence.Code(why.Word(name))
		m, ok := unitMistakes[code]
		if !ok {
			continue
		}
		at := i
		if p := &l.config.Site.Points[i]; p.Role != m.role {
			if at = l.pointAt(p.Group, p.Member, m.role); at < 0 && m.role == reading.SuctionPressure {
				at = l.pointAt(p.Group, "", m.role)
			}
		}
		if at < 0 {
			continue
		}
		if now := l.config.Site.Points[at].Unit.Name; m.change(now) != now {
			unit := m.change(now)
			all = append(all, l.remedy(at, "unit", strconv.Quote(unit), words(code)))
		}
	}
	return all
}

// remediesOf returns the lines that put a mistake right.
func (l *Look) remediesOf(m sensorcheck.Misconfiguration) []Remedy {
	why := words(m.Kind)
	switch m.Remedy.Key {
	case "exchange":
		return []Remedy{l.takesPlace(m.Point, m.Other, why), l.takesPlace(m.Other, m.Point, why)}
	case "scale":
		return []Remedy{l.remedy(m.Point, "scale", strconv.FormatFloat(l.config.Scale(m.Point)*m.Remedy.Factor, 'g', 6, 64), why)}
	case "unit":
		if _, err := units.ParseUnit(m.Remedy.Value); err != nil {
			return nil // "gauge" or "absolute", where the file has no unit to change
		}
	}
	return []Remedy{l.remedy(m.Point, m.Remedy.Key, strconv.Quote(m.Remedy.Value), why)}
}

// takesPlace returns the line of an input with what stands behind the name of
// another.
func (l *Look) takesPlace(point, other int, why string) Remedy {
	at := l.config.Inputs[point]
	name, _, _ := strings.Cut(at.Text, "=")
	_, value, _ := strings.Cut(l.config.Inputs[other].Text, "=")
	return Remedy{Input: l.config.Site.Points[point].Path, Key: "exchange", Value: l.config.Site.Points[other].Path,
		File: l.config.File, Line: at.Line, Paste: name + "=" + value, Why: why}
}

// words writes a code as words.
func words(code evidence.Code) string { return strings.ReplaceAll(string(code), "_", " ") }

// remedy returns the change of one key of an input.
func (l *Look) remedy(point int, key, value, why string) Remedy {
	at := l.config.Inputs[point]
	return Remedy{
		Input: l.config.Site.Points[point].Path, Key: key, Value: value, File: l.config.File, Line: at.Line,
		Paste: WithKey(at.Text, key, value), Why: why,
	}
}

// Comparison returns the key that states a comparison with a gauge, and the line
// of the file that has it.
func Comparison(c *config.Config, point int, v config.Verification) (key, line string) {
	by := ""
	if v.By != "" {
		by = fmt.Sprintf("by = %q, ", v.By)
	}
	key = fmt.Sprintf("{ on = %q, %sgauge = %q, read = %q }", v.On.Format("2006-01-02"), by, v.Gauge, v.Read)
	return "verified = " + key, WithKey(c.Inputs[point].Text, "verified", key)
}

// WithKey returns the line of an input's inline table with one key set: in place
// of its present value, or before the closing brace. A line that is no inline
// table is not changed; then the key and its value stand alone.
func WithKey(line, key, value string) string {
	text, comment := line, ""
	if end := closingBrace(line); end >= 0 {
		text, comment = line[:end], line[end:]
	} else {
		return key + " = " + value
	}
	// Values are texts, numbers, lists without lists inside, or inner tables
	// without tables inside.
	present := regexp.MustCompile(`([{,]\s*)` + regexp.QuoteMeta(key) + `\s*=\s*("[^"]*"|\[[^\]]*\]|\{[^}]*\}|[^,}\s]+)`)
	if at := present.FindStringSubmatchIndex(text); at != nil {
		return text[:at[3]] + key + " = " + value + text[at[1]:] + comment
	}
	return strings.TrimRight(text, " \t,") + ", " + key + " = " + value + " " + comment
}

// closingBrace returns the position of the brace that closes the first inline
// table of a line; −1 where there is none.
func closingBrace(line string) int {
	depth := 0
	quote := byte(0)
	for i := 0; i < len(line); i++ {
		switch c := line[i]; {
		case quote != 0:
			if c == '\\' && quote == '"' {
				i++
			} else if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '#':
			return -1
		case c == '{':
			depth++
		case c == '}':
			if depth--; depth == 0 {
				return i
			}
		}
	}
	return -1
}
