package firstlook

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
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

// unitMistakes are the mistakes that another unit puts right, with the change of
// the unit's name.
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

// exchanges are the mistakes that exchange two inputs, with the role of the other.
var exchanges = map[evidence.Code]map[reading.Role]reading.Role{
	"pressures_exchanged":          {reading.SuctionPressure: reading.DischargePressure, reading.DischargePressure: reading.SuctionPressure},
	"line_and_discharge_exchanged": {reading.SuctionTemperature: reading.DischargeTemperature, reading.DischargeTemperature: reading.SuctionTemperature},
	"coil_and_air_exchanged":       {reading.CoilOutletTemperature: reading.AirTemperature, reading.AirTemperature: reading.CoilOutletTemperature},
}

// remedies returns the changes that would explain what is held against an input.
func (l *Look) remedies(i int) []Remedy {
	why := l.result.Inputs[i].Reason
	if why == nil {
		return nil
	}
	if all := l.stated(i, why); len(all) > 0 {
		return all
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

// stated returns the remedy that the finding itself states: which key of the input
// becomes what.
func (l *Look) stated(i int, why *evidence.Item) []Remedy {
	mistake, becomes := evidence.Code(why.Word("likely_code")), why.Word("becomes")
	switch why.Word("remedy_code") {
	case "remedy_unit":
		if _, err := units.ParseUnit(becomes); err != nil {
			return nil // "gauge" or "absolute", where the file has no unit to change
		}
		return []Remedy{l.remedy(i, "unit", strconv.Quote(becomes), words(mistake))}
	case "remedy_type":
		return []Remedy{l.remedy(i, "type", strconv.Quote(becomes), words(mistake))}
	case "remedy_scale":
		factor, err := strconv.ParseFloat(becomes, 64)
		if err != nil {
			return nil
		}
		scale := strconv.FormatFloat(l.config.Scale(i)*factor, 'g', 6, 64)
		return []Remedy{l.remedy(i, "scale", scale, words(mistake))}
	case "remedy_exchange":
		p := &l.config.Site.Points[i]
		other := l.pointAt(p.Group, p.Member, exchanges[mistake][p.Role])
		if other < 0 {
			return nil
		}
		return []Remedy{l.takesPlace(i, other, words(mistake)), l.takesPlace(other, i, words(mistake))}
	}
	return nil
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
