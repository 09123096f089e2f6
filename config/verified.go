package config

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
	"dewgap/collector/register"
)

// Verification is a comparison of an input with a gauge or a reference
// thermometer on site. The zero value is none.
type Verification struct {
	On    time.Time // the day
	By    string
	Gauge string // what the gauge showed, as the file states it
	Read  string // what dewgap read at that moment, as the file states it
	// Error is Read − Gauge in Pa or K.
	Error float64
}

// IsZero reports whether nobody compared the input.
func (v *Verification) IsZero() bool { return v.On.IsZero() }

// String returns the comparison for people; empty where there is none.
func (v *Verification) String() string {
	if v.IsZero() {
		return ""
	}
	text := fmt.Sprintf("%s: gauge %s, read %s", v.On.Format(time.DateOnly), v.Gauge, v.Read)
	if v.By != "" {
		text += ", by " + v.By
	}
	return text
}

// Compared returns the comparison of each of the site's points for people; empty
// where there is none.
func (c *Config) Compared() []string {
	all := make([]string, len(c.Verified))
	for i := range c.Verified {
		all[i] = c.Verified[i].String()
	}
	return all
}

// IsComparable reports whether an input of a kind can be compared with a gauge or a
// thermometer.
func IsComparable(kind reading.Kind) bool {
	return kind == reading.Pressure || kind == reading.Temperature
}

// AllowedError is the largest difference between a gauge or reference
// thermometer and a sensor that the sensor's accuracy explains, in Pa or K: the
// limit of the sensor and, of a temperature, that of its contact with the pipe.
// What is not stated is taken from a typical installation.
func AllowedError(kind reading.Kind, s superheat.Sensor) float64 {
	limit := s.Limit
	switch {
	case limit == 0 && kind == reading.Pressure:
		return superheat.TypicalPressureLimit
	case kind == reading.Pressure:
		return limit
	case limit == 0:
		limit = superheat.TypicalTemperatureLimit
	}
	if s.Mounting == 0 {
		return limit + float64(superheat.TypicalMounting)
	}
	return limit + float64(s.Mounting)
}

// SIOf returns a quantity of an input's kind in SI: Pa absolute above the given
// air, or °C.
func SIOf(kind reading.Kind, text string, air units.Pascal) (float64, error) {
	if kind == reading.Pressure {
		p, err := units.ParsePressure(text)
		if err != nil {
			return math.NaN(), err
		}
		return float64(p.Absolute(air)), nil
	}
	t, err := units.ParseTemperature(text)
	return float64(t), err
}

// verifiedRows are the keys of a comparison.
var verifiedRows = []setting.Row[Verification]{
	{
		Key: "verified.on", Field: setting.ByHand[Verification]("day", "", `year-month-day, such as "2026-11-30"`), Needed: "with verified",
		Meaning: "Day on which somebody compared the reading with a gauge or a reference thermometer.", Example: `"2026-11-30"`,
	},
	{
		Key: "verified.by", Field: setting.ByHand[Verification]("text", "not known", ""),
		Meaning: "Who compared it.", Example: `"anna"`,
	},
	{
		Key: "verified.gauge", Field: setting.ByHand[Verification]("pressure, or temperature (degC, degF)", "", ""), Needed: "with verified",
		Meaning: "What the gauge or the thermometer showed; dewgap check --live --compare writes the whole key.", Example: `"-12.3 degC"`,
	},
	{
		Key: "verified.read", Field: setting.ByHand[Verification]("pressure, or temperature (degC, degF)", "", ""), Needed: "with verified",
		Meaning: "What dewgap read at that moment.", Example: `"-12.0 degC"`,
	},
}

// verified reads the comparison of an input with a gauge.
func (b *builder) verified(t *table, kind reading.Kind, m *register.Mapping, sensor superheat.Sensor) (v Verification) {
	in, ok := t.inner("verified", `{ on = "2026-11-30", by = "…", gauge = "1.82 barg", read = "1.79 barg" }`)
	if !ok {
		return v
	}
	defer in.done()
	if !IsComparable(kind) {
		t.fault("verified", fmt.Sprintf("is given for a %s", kind), "only pressures and temperatures are compared with a gauge; leave it out")
		in.known = keysInside(in)
		return v
	}
	on := in.day("on")
	v.By, _ = in.text("by", "anna")
	example := map[reading.Kind]string{reading.Pressure: "1.82 barg", reading.Temperature: "-12.3 degC"}[kind]
	si := func(key string) (string, float64) {
		text, ok := in.need(key, example)
		if !ok {
			return "", math.NaN()
		}
		number, err := SIOf(kind, text, m.Atmosphere)
		if err != nil {
			problem, remedy := explain(err)
			in.fault(key, problem, remedy)
			return "", math.NaN()
		}
		return text, number
	}
	var gauge, read float64
	v.Gauge, gauge = si("gauge")
	v.Read, read = si("read")
	if v.Error = read - gauge; math.IsNaN(v.Error) || on.IsZero() {
		return Verification{}
	}
	v.On = on
	if allowed := AllowedError(kind, sensor); math.Abs(v.Error) > allowed {
		in.warn("read", fmt.Sprintf("is %s away from the gauge, more than the sensor's accuracy of %s explains", b.differenceOf(kind, v.Error), b.differenceOf(kind, allowed)),
			"compare again with gauge and sensor steady; then mend the sensor, its unit or its span, or state calibration = { zero = … }")
	}
	return v
}

// differenceOf writes a difference in Pa or K for people.
func (b *builder) differenceOf(kind reading.Kind, x float64) string {
	if kind == reading.Pressure {
		return b.config.Units.PressureDifference(units.Pascal(math.Abs(x)))
	}
	return b.config.Units.Difference(units.Kelvin(math.Abs(x)))
}

// day reads a day: text, or a date without quotes.
func (t *table) day(key string) time.Time {
	const remedy = `write the day, such as on = "2026-11-30"`
	v, ok := t.value(key)
	if !ok {
		t.fault(key, "is missing", remedy)
		return time.Time{}
	}
	switch v := v.(type) {
	case time.Time:
		return time.Date(v.Year(), v.Month(), v.Day(), 0, 0, 0, 0, time.UTC)
	case string:
		if day, err := time.Parse(time.DateOnly, v); err == nil {
			return day
		}
		t.fault(key, fmt.Sprintf("%q is no day", v), remedy)
	default:
		t.fault(key, "is "+describe(v), remedy)
	}
	return time.Time{}
}

// keysInside returns the names of all keys in a table, to report none of them
// one by one.
func keysInside(t *table) (names []string) {
	for key := range t.values {
		names = append(names, key)
	}
	return names
}
