package config

import (
	"encoding/csv"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/collector/register"
)

var voltSignal = regexp.MustCompile(`^(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)V$`)

const wantSignal = `write "4-20mA", "0-10V", "1-5V", "0.5-4.5V", or "ratiometric" for a share of the supply`

// signal reads the electrical signal of a transmitter and its span.
func (b *builder) signal(t *table, kind reading.Kind, m *register.Mapping) span {
	rng, hasSpan := quantity(t, "span", parseSpan)
	if hasSpan {
		switch {
		case kind == reading.Pressure && !rng.unit.IsPressure(), kind == reading.Temperature && rng.unit.Quantity != units.Temperature,
			kind == reading.Share && rng.unit.Quantity != units.Share:
			t.fault("span", fmt.Sprintf("is in %s, a unit of %s, and this input is a %s", rng.unit, rng.unit.Quantity, kind), "write it in "+exampleUnit(kind))
			hasSpan = false
		case !t.has("unit"):
			m.Unit = rng.unit
		case m.Unit.Known() && m.Unit.Quantity != rng.unit.Quantity:
			t.fault("span", fmt.Sprintf("is in %s, and the input's unit is %s", rng.unit, m.Unit), "write the same unit in both")
			hasSpan = false
		case m.Unit.Known():
			rng = rng.in(m.Unit)
		}
	}
	text, ok := t.text("signal", "4-20mA")
	if !ok {
		return rng
	}
	volts := voltSignal.FindStringSubmatch(strings.ReplaceAll(text, " ", ""))
	switch strings.ToLower(strings.ReplaceAll(text, " ", "")) {
	case "4-20ma":
		m.Signal = register.Current
	case "ratiometric":
		m.Signal = register.Ratiometric
	default:
		if volts == nil {
			t.fault("signal", fmt.Sprintf("%q is not known", text), wantSignal)
			return rng
		}
		m.Signal = register.Voltage
		m.LowVolt, _ = strconv.ParseFloat(volts[1], 64)
		m.HighVolt, _ = strconv.ParseFloat(volts[2], 64)
		if !(m.LowVolt < m.HighVolt) {
			t.fault("signal", fmt.Sprintf("%q: the lower end comes first", text), wantSignal)
		}
	}
	if !hasSpan && !t.has("span") {
		t.fault("span", "is missing: what do the ends of the signal mean?", `add both ends with their unit, such as span = "-1..12 barg"`)
	}
	m.Low, m.High = rng.low, rng.high
	return rng
}

// thermometer reads a sensor whose number is a resistance in ohm.
func (b *builder) thermometer(t *table, kind reading.Kind, m *register.Mapping) {
	sensor, ok := word(t, "sensor", thermometers)
	if !ok {
		return
	}
	switch {
	case kind != reading.Temperature:
		t.fault("sensor", "is for temperatures, and this input is a "+kind.String(), "leave it out")
	case m.Signal != register.Plain:
		t.fault("sensor", "is given beside a signal", "keep sensor for a resistance in ohm, or signal for a transmitter")
	}
	m.Signal = sensor
	if !t.has("unit") {
		m.Unit, _ = units.ParseUnit("degC")
	}
	if sensor == register.NTC {
		b.thermistor(t, m)
	}
}

func (b *builder) thermistor(t *table, m *register.Mapping) {
	m.Curve.R25, _ = within(t, "r25", parseOhm, minOhm, maxOhm, showOhm, "")
	m.Curve.B, _ = within(t, "b", parseB, minB, maxB, showB, "")
	file, hasTable := t.text("table", "ntc10k.csv")
	switch {
	case hasTable && (t.has("r25") || t.has("b")):
		t.fault("table", "is given beside r25 or b", "keep the maker's table, which is better, or r25 and b")
	case hasTable:
		var err error
		if m.Curve.Table, err = readThermistor(b.beside(file)); err != nil {
			t.fault("table", err.Error(), "give a CSV file of degC,ohm with one row for each temperature of the maker's table")
		}
	case !t.has("r25") || !t.has("b"):
		t.fault("sensor", `"ntc" is not enough: curves with the same ohms at 25 °C differ by 4 K at 0 °C`, `add r25 = "10 kohm" and b = "3435 K" as the maker states them, or table = "file.csv"`)
	}
}

const wantOhm = `write a resistance such as "10 kohm" or "5000 ohm"`

func parseOhm(text string) (float64, error) {
	number, factor := strings.TrimSpace(text), 0.0
	for _, u := range []struct {
		name   string
		factor float64
	}{{"kohm", 1e3}, {"kΩ", 1e3}, {"ohm", 1}, {"Ω", 1}} {
		if before, found := strings.CutSuffix(number, u.name); found {
			number, factor = strings.TrimSpace(before), u.factor
			break
		}
	}
	ohm, err := strconv.ParseFloat(number, 64)
	if err != nil || factor == 0 {
		return 0, fmt.Errorf("%q is no resistance; %s", text, wantOhm)
	}
	return ohm * factor, nil
}

// Limits of thermistors in use. Common practice, no source.
const (
	minOhm, maxOhm = 10.0, 10e6    // ohm at 25 °C
	minB, maxB     = 1000.0, 10000 // K
)

func showOhm(ohm float64) string {
	if ohm >= 1000 {
		return fmt.Sprintf("%.6g kohm", ohm/1000)
	}
	return fmt.Sprintf("%g ohm", ohm)
}

func showB(k float64) string { return fmt.Sprintf("%g K", k) }

// parseB reads the B value of a thermistor, which is in K.
func parseB(text string) (float64, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), "K")
	k, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !found {
		return 0, fmt.Errorf("%q is no B value; write it in kelvin, such as \"3435 K\"", text)
	}
	return k, nil
}

// readThermistor reads a maker's table: temperature in °C and resistance in
// ohm; a first row of words is a heading. The rows may rise or fall.
func readThermistor(path string) ([]register.NTCPoint, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", path, underlying(err))
	}
	defer f.Close()
	in := csv.NewReader(f)
	in.FieldsPerRecord, in.TrimLeadingSpace, in.Comment = 2, true, '#'
	rows, err := in.ReadAll()
	if err != nil {
		return nil, err
	}
	var points []register.NTCPoint
	for i, row := range rows {
		celsius, wrongT := strconv.ParseFloat(row[0], 64)
		ohm, wrongR := strconv.ParseFloat(row[1], 64)
		if wrongT != nil || wrongR != nil {
			if i == 0 {
				continue
			}
			return nil, fmt.Errorf("row %d of %s is not two numbers", i+1, path)
		}
		points = append(points, register.NTCPoint{Celsius: units.Celsius(celsius), Ohm: ohm})
	}
	if len(points) > 1 && points[0].Celsius > points[1].Celsius {
		slices.Reverse(points)
	}
	m := register.Mapping{Signal: register.NTC, Curve: register.NTCCurve{Table: points}}
	m.Unit, _ = units.ParseUnit("degC")
	if err := m.Check(false); err != nil {
		return nil, err
	}
	return points, nil
}
