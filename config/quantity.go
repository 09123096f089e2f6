package config

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/units"
)

// quantity reads text with a unit. A bare number gets the answer that the
// parser has for one.
func quantity[T any](t *table, key string, parse func(string) (T, error)) (T, bool) {
	var zero T
	v, ok := t.value(key)
	if !ok {
		return zero, false
	}
	text, isText := v.(string)
	if !isText {
		text = ""
		if _, number := asNumber(v); number {
			text = fmt.Sprint(v)
		}
	}
	q, err := parse(text)
	switch {
	case err == nil && isText:
		return q, true
	case err == nil: // 0 without quotes
		t.fault(key, "is "+describe(v), `write it in quotes with its unit, such as "0 s"`)
	case isText:
		problem, remedy := explain(err)
		t.fault(key, problem, remedy)
	default:
		_, remedy := explain(err)
		t.fault(key, "is "+describe(v)+", which has no unit", remedy)
	}
	return zero, false
}

// explain splits a parser's error into what is wrong and what would be right.
func explain(err error) (problem, remedy string) {
	var parse *units.ParseError
	if errors.As(err, &parse) {
		return fmt.Sprintf("%q: %s", parse.Text, parse.Why), "write " + parse.Want
	}
	problem, remedy, _ = strings.Cut(err.Error(), "; ")
	return problem, remedy
}

// within reads a quantity between two limits, both allowed. usual, where it is
// not empty, adds the values in use to the message.
func within[T ~float64 | ~int64](t *table, key string, parse func(string) (T, error), lowest, highest T, show func(T) string, usual string) (T, bool) {
	q, ok := quantity(t, key, parse)
	if ok && !(q >= lowest && q <= highest) {
		remedy := fmt.Sprintf("it lies between %s and %s", show(lowest), show(highest))
		if usual != "" {
			remedy += "; " + usual
		}
		t.fault(key, fmt.Sprintf("%q is out of range", t.values[key]), remedy)
		return 0, false
	}
	return q, ok
}

// shortDuration writes a duration as configurations do: 1h, 90s, 100ms.
func shortDuration(d time.Duration) string {
	switch {
	case d != 0 && d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d >= 3*time.Minute && d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d >= time.Second && d%time.Second == 0, d == 0:
		return fmt.Sprintf("%d s", d/time.Second)
	case d >= time.Second && d%(100*time.Millisecond) == 0:
		return fmt.Sprintf("%.1f s", d.Seconds())
	case d%time.Millisecond == 0:
		return fmt.Sprintf("%d ms", d/time.Millisecond)
	}
	return d.String()
}

// span is a closed range in one unit, written "-1..12 barg".
type span struct {
	low, high float64
	unit      units.Unit
}

var spanText = regexp.MustCompile(`^\s*([-+]?\d+(?:\.\d+)?)\s*\.\.\s*([-+]?\d+(?:\.\d+)?)\s*(\S.*?)\s*$`)

const wantSpan = `write both ends and the unit, such as "-1..12 barg" or "-60..60 degC"`

func parseSpan(text string) (span, error) {
	m := spanText.FindStringSubmatch(strings.ReplaceAll(text, "−", "-"))
	if m == nil {
		return span{}, fmt.Errorf("%q is no range; %s", text, wantSpan)
	}
	var s span
	var err error
	s.low, _ = strconv.ParseFloat(m[1], 64)
	s.high, _ = strconv.ParseFloat(m[2], 64)
	if s.unit, err = units.ParseUnit(m[3]); err != nil {
		return span{}, fmt.Errorf("%q: unit %q is not known; %s", text, m[3], wantSpan)
	}
	if s.unit.Quantity == units.PressureDifference {
		return span{}, fmt.Errorf("%q: absolute or gauge?; write %sa or %sg", text, s.unit.Name, s.unit.Name)
	}
	if !(s.low < s.high) {
		return span{}, fmt.Errorf("%q: the lower end comes first; write \"%s..%s %s\"", text, m[2], m[1], m[3])
	}
	return s, nil
}

// in returns the range in another unit of the same quantity.
func (s span) in(u units.Unit) span {
	return span{u.Number(s.unit.SI(s.low)), u.Number(s.unit.SI(s.high)), u}
}

// step converts a difference in SI into one in the scale of u.
func step(u units.Unit, si float64) float64 { return u.Number(si) - u.Number(0) }

// switchUnits are units of what a machine shows while it runs, for thresholds.
var switchUnits = map[string]struct {
	measures string
	factor   float64
}{
	"A": {"current", 1}, "mA": {"current", 1e-3},
	"W": {"power", 1}, "kW": {"power", 1e3},
	"Hz": {"frequency", 1}, "rpm": {"speed", 1}, "1/min": {"speed", 1},
	"V": {"voltage", 1}, "%": {"share", 1},
}

const wantThreshold = `write a number with its unit: A, mA, W, kW, Hz, rpm, V or %, such as "8 A"`

// threshold is a number in one of the switchUnits.
type threshold struct {
	number float64
	unit   string
}

func parseThreshold(text string) (threshold, error) {
	text = strings.TrimSpace(text)
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) })
	if end < 0 {
		end = len(text)
	}
	number, err := strconv.ParseFloat(text[:end], 64)
	unit := strings.TrimSpace(text[end:])
	switch {
	case err != nil:
		return threshold{}, fmt.Errorf("%q does not start with a number; %s", text, wantThreshold)
	case unit == "":
		return threshold{}, fmt.Errorf("%q: a number without a unit; %s", text, wantThreshold)
	}
	if _, known := switchUnits[unit]; !known {
		return threshold{}, fmt.Errorf("%q: unit %q is not known; %s", text, unit, wantThreshold)
	}
	return threshold{number, unit}, nil
}

var sizeUnits = []struct {
	name  string
	bytes int64
}{{"TB", 1e12}, {"GB", 1e9}, {"MB", 1e6}, {"kB", 1e3}, {"TiB", 1 << 40}, {"GiB", 1 << 30}, {"MiB", 1 << 20}, {"KiB", 1 << 10}, {"B", 1}}

func parseSize(text string) (int64, error) {
	const want = `write a size such as "2 GB" or "500 MB"`
	for _, u := range sizeUnits {
		number, found := strings.CutSuffix(strings.TrimSpace(text), u.name)
		if !found {
			continue
		}
		n, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !(n >= 0 && n*float64(u.bytes) < 1e15) {
			return 0, fmt.Errorf("%q is no size; %s", text, want)
		}
		return int64(n * float64(u.bytes)), nil
	}
	return 0, fmt.Errorf("%q has no unit of size; %s", text, want)
}

func showSize(n int64) string {
	for _, u := range sizeUnits[:4] {
		if n >= u.bytes {
			return strconv.FormatFloat(float64(n)/float64(u.bytes), 'g', 4, 64) + " " + u.name
		}
	}
	return fmt.Sprintf("%d B", n)
}

// parseShare reads a percentage as a share: "5 %" is 0.05.
func parseShare(text string) (float64, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !found || err != nil || x-x != 0 {
		return 0, fmt.Errorf("%q is no share; write a percentage such as \"99 %%\"", text)
	}
	return x / 100, nil
}
