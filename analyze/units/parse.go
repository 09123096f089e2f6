package units

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// ParseError describes what is wrong with a quantity written as text, and what
// would be right.
type ParseError struct {
	Text string // as written
	Why  string // what is wrong with it
	Want string // what would be right
}

func (e *ParseError) Error() string {
	return fmt.Sprintf("%q: %s; want %s", e.Text, e.Why, e.Want)
}

// What would be right, by quantity.
const (
	wantPressure     = `a pressure with its unit and "a" for absolute or "g" for gauge, such as "1.8 barg", "26 psig", "280 kPaa" or "10 inHg vacuum"`
	wantTemperature  = `a temperature such as "-6 C", "22 F" or "267 K"`
	wantDifference   = `a difference of temperatures such as "11 K" or "20 F" (Fahrenheit degrees)`
	wantPressureStep = `a difference of pressures without "a" or "g", such as "0.13 bar" or "2 psi"`
	wantLength       = `a length such as "120 m" or "400 ft"`
	wantPercent      = `a percentage such as "1 %"`
	wantDuration     = `a duration such as "60 s", "5 min", "1h30m" or "30 d"`
	wantAtmosphere   = `the pressure of the air, such as "1013.25 hPa" or "29.92 inHg"`
	wantAny          = `a pressure such as "1.8 barg" or "26 psig", or a temperature such as "-6 C" or "22 F"`
)

// Pressure is a pressure as written. A gauge pressure has no absolute value
// before the atmosphere of its place is known.
type Pressure struct {
	Number float64
	Unit   Unit // of AbsolutePressure or GaugePressure
}

// Absolute returns the pressure in Pa; atmosphere counts for a gauge pressure only.
func (p Pressure) Absolute(atmosphere Pascal) Pascal {
	return Pascal(p.Unit.ToSI(p.Number, atmosphere))
}

// IsGauge reports whether the pressure is above the atmosphere.
func (p Pressure) IsGauge() bool { return p.Unit.Quantity == GaugePressure }

// ParsePressure reads a pressure that says whether it is absolute or gauge.
func ParsePressure(text string) (Pressure, error) {
	number, unit, err := parseAs(text, wantPressure)
	if err != nil {
		return Pressure{}, err
	}
	switch unit.Quantity {
	case AbsolutePressure, GaugePressure:
	case PressureDifference:
		why := fmt.Sprintf("absolute or gauge? write \"%v %sa\" or \"%v %sg\"", number, unit.Name, number, unit.Name)
		return Pressure{}, &ParseError{text, why, wantPressure}
	default:
		return Pressure{}, wrongQuantity(text, unit, wantPressure)
	}
	if err := checkPressure(text, number, unit); err != nil {
		return Pressure{}, err
	}
	return Pressure{number, unit}, nil
}

// highestAtmosphere is above any air pressure on earth; a gauge pressure more
// than this below zero would be below a perfect vacuum anywhere.
const highestAtmosphere = 1100e2

func checkPressure(text string, number float64, unit Unit) error {
	si := unit.SI(number)
	if si < 0 && unit.Quantity == AbsolutePressure || si < -highestAtmosphere {
		return &ParseError{text, "below a perfect vacuum", wantPressure}
	}
	return nil
}

// ParseTemperature reads a temperature; "K" is the absolute scale.
func ParseTemperature(text string) (Celsius, error) {
	number, unit, err := parseAs(text, wantTemperature)
	if err != nil {
		return 0, err
	}
	if unit.Quantity != Temperature {
		return 0, wrongQuantity(text, unit, wantTemperature)
	}
	t := unit.SI(number)
	if t < -kelvinAtZeroC {
		return 0, &ParseError{text, "below absolute zero", wantTemperature}
	}
	return Celsius(t), nil
}

// ParseDifference reads a difference of temperatures in K, or in F for
// Fahrenheit degrees: "20 F" is 11.1 K.
func ParseDifference(text string) (Kelvin, error) {
	number, unit, err := parseAs(text, wantDifference)
	if err != nil {
		return 0, err
	}
	switch unit.Name {
	case "K":
		return Kelvin(kelvinDifference.SI(number)), nil
	case "degF":
		return Kelvin(fahrenheitDifference.SI(number)), nil
	case "degC":
		return 0, &ParseError{text, "°C is for temperatures; a difference is in K", wantDifference}
	}
	return 0, wrongQuantity(text, unit, wantDifference)
}

// ParsePressureDifference reads a difference of pressures, in Pa, such as a
// sensor's limits of error or its span.
func ParsePressureDifference(text string) (float64, error) {
	number, unit, err := parseAs(text, wantPressureStep)
	if err != nil {
		return 0, err
	}
	if unit.Quantity != PressureDifference {
		return 0, wrongQuantity(text, unit, wantPressureStep)
	}
	return unit.SI(number), nil
}

// ParseAtmosphere reads the pressure of the air, which is absolute whether or
// not it says so.
func ParseAtmosphere(text string) (Pascal, error) {
	number, unit, err := parseAs(text, wantAtmosphere)
	if err != nil {
		return 0, err
	}
	if unit.Quantity != PressureDifference && unit.Quantity != AbsolutePressure {
		return 0, wrongQuantity(text, unit, wantAtmosphere)
	}
	p := unit.SI(number)
	if lowest, _ := Atmosphere(highestAltitude); p < float64(lowest) || p > highestAtmosphere {
		return 0, &ParseError{text, fmt.Sprintf("%.0f hPa is no air pressure of an inhabited place", p/100), wantAtmosphere}
	}
	return Pascal(p), nil
}

// ParseLength reads a length.
func ParseLength(text string) (Metre, error) {
	number, unit, err := parseAs(text, wantLength)
	if err != nil {
		return 0, err
	}
	if unit.Quantity != Length {
		return 0, wrongQuantity(text, unit, wantLength)
	}
	return Metre(unit.SI(number)), nil
}

// ParsePercent reads a percentage and returns it as a share: "1 %" is 0.01.
func ParsePercent(text string) (float64, error) {
	number, rest, err := splitNumber(text, wantPercent)
	if err != nil {
		return 0, err
	}
	if rest != "%" && rest != "percent" {
		return 0, &ParseError{text, fmt.Sprintf("%q is not %%", rest), wantPercent}
	}
	return number / 100, nil
}

// Parse reads any quantity with a unit, for callers that tell by the unit
// what was meant. A temperature below absolute zero or a pressure below
// vacuum is an error.
func Parse(text string) (number float64, unit Unit, err error) {
	number, unit, err = parseAs(text, wantAny)
	if err != nil {
		return 0, Unit{}, err
	}
	switch unit.Quantity {
	case Temperature:
		_, err = ParseTemperature(text)
	case AbsolutePressure, GaugePressure, PressureDifference:
		_, err = ParsePressure(text)
	}
	if err != nil {
		return 0, Unit{}, err
	}
	return number, unit, nil
}

// ParseDuration reads a duration: Go's notation, also with spaces, "min" for
// minutes and "d" for days of 24 h. None is negative.
func ParseDuration(text string) (time.Duration, error) {
	compact := strings.Join(strings.Fields(text), "")
	fail := func(why string) (time.Duration, error) {
		return 0, &ParseError{text, why, wantDuration}
	}
	if compact == "" {
		return fail("empty")
	}
	if compact == "0" {
		return 0, nil
	}
	var total time.Duration
	for rest := compact; rest != ""; {
		end := strings.IndexFunc(rest, func(r rune) bool { return r != '.' && (r < '0' || r > '9') })
		if end == 0 {
			if rest[0] == '-' {
				return fail("negative")
			}
			return fail("not a number")
		}
		if end < 0 {
			return fail("a number without a unit")
		}
		number := rest[:end]
		rest = rest[end:]
		end = strings.IndexFunc(rest, func(r rune) bool { return r == '.' || r >= '0' && r <= '9' || r == '-' })
		if end < 0 {
			end = len(rest)
		}
		unit, times := rest[:end], time.Duration(1)
		rest = rest[end:]
		switch unit {
		case "d", "day", "days":
			unit, times = "h", 24
		case "min":
			unit = "m"
		case "sec":
			unit = "s"
		}
		part, err := time.ParseDuration(number + unit)
		if err != nil {
			return fail(fmt.Sprintf("%q is no duration", number+unit))
		}
		if part > (math.MaxInt64-total)/times {
			return fail("too long")
		}
		total += part * times
	}
	return total, nil
}

// parseAs splits text into its number and its unit; want is for the error.
func parseAs(text, want string) (float64, Unit, error) {
	number, rest, err := splitNumber(text, want)
	if err != nil {
		return 0, Unit{}, err
	}
	unit, err := ParseUnit(rest)
	if err != nil {
		return 0, Unit{}, &ParseError{text, fmt.Sprintf("unit %q is not known", rest), want}
	}
	if math.IsInf(unit.SI(number), 0) {
		return 0, Unit{}, &ParseError{text, "the number is too large", want}
	}
	return number, unit, nil
}

// splitNumber splits text into a decimal number and what follows it.
func splitNumber(text, want string) (number float64, rest string, err error) {
	fail := func(why string) (float64, string, error) {
		return 0, "", &ParseError{text, why, want}
	}
	trimmed := strings.TrimSpace(text)
	if trimmed == "" {
		return fail("empty")
	}
	body := trimmed
	if after, found := strings.CutPrefix(body, "−"); found { // the typographer's minus
		body = "-" + after
	}
	end := numberLength(body)
	if end == 0 {
		return fail("does not start with a number")
	}
	rest = strings.TrimSpace(body[end:])
	if strings.HasPrefix(rest, ",") {
		return fail("decimal comma; write a point")
	}
	number, err = strconv.ParseFloat(body[:end], 64)
	if err != nil {
		return fail("the number is too large")
	}
	if rest == "" {
		return fail("a number without a unit")
	}
	return number, rest, nil
}

// numberLength returns how many bytes at the start of s are a decimal number:
// sign, digits with at most one point, exponent. 0 if there is none.
func numberLength(s string) int {
	i := 0
	digits := func() (n int) {
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
			n++
		}
		return n
	}
	sign := func() {
		if i < len(s) && (s[i] == '+' || s[i] == '-') {
			i++
		}
	}
	sign()
	n := digits()
	if i < len(s) && s[i] == '.' {
		i++
		n += digits()
	}
	if n == 0 {
		return 0
	}
	mantissa := i
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		i++
		sign()
		if digits() > 0 {
			return i
		}
	}
	return mantissa
}

func wrongQuantity(text string, unit Unit, want string) error {
	return &ParseError{text, fmt.Sprintf("%s is a unit of %s", unit.Name, unit.Quantity), want}
}
