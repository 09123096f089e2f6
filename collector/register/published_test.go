package register

import (
	"encoding/binary"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"dewgap/analyze/units"
)

// The files in testdata carry the source of each row in the row.

type row struct{ quantity, input, format, expected, unit, tolerance, source string }

func rows(t *testing.T, file string) []row {
	t.Helper()
	f, err := os.Open("testdata/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []row
	for _, r := range records[1:] {
		all = append(all, row{r[0], r[1], r[2], r[3], r[4], r[5], r[6]})
	}
	return all
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// tolerance reads "0.5 %" of want, or an absolute one.
func tolerance(t *testing.T, s string, want float64) float64 {
	if p, ok := strings.CutSuffix(s, " %"); ok {
		return number(t, p) / 100 * math.Abs(want)
	}
	return number(t, s)
}

func wordsOf(t *testing.T, s string) []uint16 {
	t.Helper()
	raw, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	var words []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		words = append(words, binary.BigEndian.Uint16(raw[i:]))
	}
	return words
}

var (
	degC = unit("degC")
	degF = unit("degF")
	barg = unit("barg")
	bara = unit("bara")
)

func unit(name string) units.Unit {
	u, err := units.ParseUnit(name)
	if err != nil {
		panic(err)
	}
	return u
}

var orders = map[string]Order{"ABCD": ABCD, "BADC": BADC, "CDAB": CDAB, "DCBA": DCBA}

// TestTrap12PublishedWords: byte orders, scaled int16, sentinels, NaN and infinities.
func TestTrap12PublishedWords(t *testing.T) {
	seen := map[string]int{}
	for i, r := range rows(t, "modbus.csv") {
		t.Run(fmt.Sprintf("row %d %s %s", i+2, r.quantity, r.input), func(t *testing.T) {
			m := Mapping{}
			switch r.quantity {
			case "float32":
				m.Type, m.Order = Float32, ABCD
			case "float32_word_order":
				m.Type, m.Order = Float32, orders[r.format]
			case "int32_word_order":
				m.Type, m.Order = Int32, orders[r.format]
			case "int16_scaled":
				m.Type, m.Scale = Int16, 1/number(t, r.format[1:])
			case "int16_sentinel":
				m.Type, m.Sentinels = Int16, []float64{float64(wordsOf(t, r.input)[0])}
				if _, f := m.ValueOfWords(wordsOf(t, r.input)); f.Reason() != "sentinel: 0x"+r.input {
					t.Errorf("%q is not refused: %q", r.input, f.Reason())
				}
				seen[r.quantity]++
				return
			case "float32_special":
				m.Type, m.Order = Float32, ABCD
				_, f := m.ValueOfWords(wordsOf(t, r.input))
				want := CodeInfinite
				if r.expected == "NaN" {
					want = CodeNaN
				}
				if f.Code != want {
					t.Errorf("got %q, want %s", f.Reason(), want)
				}
				seen[r.quantity]++
				return
			case "crc_response_input_registers_word_swapped_floats":
				words := wordsOf(t, r.input[len("01 04 10 "):len(r.input)-len(" 70 B9")])
				for k, want := range strings.Fields(r.expected) {
					got, f := (&Mapping{Type: Float32, Order: CDAB}).decode(words[2*k : 2*k+2])
					if f.Failed() || math.Abs(got-number(t, want)) > 1e-6*math.Abs(got) {
						t.Errorf("float %d: %v %q, want %s", k, got, f.Reason(), want)
					}
				}
				seen[r.quantity]++
				return
			default:
				return // frames: collector/modbus
			}
			seen[r.quantity]++
			got, f := m.decode(wordsOf(t, r.input))
			got = got*orOne(m.Scale) + m.Offset
			if want := number(t, r.expected); f.Failed() || math.Abs(got-want) > number(t, r.tolerance)+1e-9 {
				t.Errorf("got %v %q, want %v (%s)", got, f.Reason(), want, r.source)
			}
		})
	}
	for _, q := range []string{"float32", "float32_word_order", "int32_word_order", "int16_scaled", "int16_sentinel", "float32_special", "crc_response_input_registers_word_swapped_floats"} {
		if seen[q] == 0 {
			t.Errorf("no row checked for %s", q)
		}
	}
}

func TestPublishedCurrentLoop(t *testing.T) {
	classes := map[string]SignalClass{"failure_low": FailureLow, "undefined": Undefined, "under_range": UnderRange,
		"normal": Normal, "over_range": OverRange, "failure_high": FailureHigh}
	checked := 0
	for i, r := range rows(t, "ne43.csv") {
		t.Run(fmt.Sprintf("row %d %s %s", i+2, r.quantity, r.input), func(t *testing.T) {
			var m Mapping
			var in float64
			switch r.quantity {
			case "failure_low_at_or_below", "failure_high_at_or_above", "measurement_low_limit", "measurement_high_limit":
				limit := map[string]float64{"failure_low_at_or_below": failureLow, "failure_high_at_or_above": failureHigh,
					"measurement_low_limit": measureLow, "measurement_high_limit": measureHigh}[r.quantity]
				if limit != number(t, r.expected) {
					t.Errorf("limit %v, want %s", limit, r.expected)
				}
				return
			case "failure_must_persist":
				if FailurePersists.Seconds() != number(t, r.expected) {
					t.Errorf("persistence %v, want %s s", FailurePersists, r.expected)
				}
				return
			case "signal_class":
				checked++
				if got := ClassOf(number(t, r.input)); got != classes[r.expected] {
					t.Errorf("class %d, want %s (%s)", got, r.expected, r.source)
				}
				return
			case "percent_of_span":
				m, in = Mapping{Signal: Current, Low: 0, High: 100, Unit: bara}, number(t, r.input)
			case "pressure_from_current":
				m, in = Mapping{Signal: Current, Low: -1, High: 12, Unit: barg}, number(t, r.input)
			case "pressure_from_ratiometric":
				var v, supply float64
				if _, err := fmt.Sscanf(r.input, "%f V of %f V", &v, &supply); err != nil {
					t.Fatal(err)
				}
				m, in = Mapping{Signal: Ratiometric, Low: -1, High: 12, Unit: barg}, v/supply
			default:
				t.Fatalf("row without a check: %s", r.quantity)
			}
			checked++
			got, f := m.signal(in)
			if f.Failed() || math.Abs(got-number(t, r.expected)) > number(t, r.tolerance) {
				t.Errorf("got %v %q, want %s %s (%s)", got, f.Reason(), r.expected, r.unit, r.source)
			}
		})
	}
	if checked < 30 {
		t.Errorf("only %d rows checked", checked)
	}
}

func TestPublishedPlatinum(t *testing.T) {
	for i, r := range rows(t, "pt100_iec60751.csv") {
		t.Run(fmt.Sprintf("row %d %s %s", i+2, r.quantity, r.input), func(t *testing.T) {
			if r.quantity == "alpha" { // mean slope from 0 to 100 °C
				alpha := (PtResistance(100, 100) - PtResistance(0, 100)) / 100 / 100
				if math.Abs(alpha-number(t, r.expected)) > number(t, r.tolerance) {
					t.Errorf("alpha %v, want %s (%s)", alpha, r.expected, r.source)
				}
				return
			}
			in, want := number(t, r.input), number(t, r.expected)
			var got float64
			switch r.quantity {
			case "resistance_pt100":
				got = PtResistance(units.Celsius(in), 100)
			case "resistance_pt1000":
				got = PtResistance(units.Celsius(in), 1000)
			case "temperature_pt100":
				m := Mapping{Signal: Pt100, Unit: degC}
				var f Fault
				if got, f = m.ValueOfNumber(in); f.Failed() {
					t.Fatal(f.Reason())
				}
			default:
				if !strings.HasPrefix(r.quantity, "tolerance_class_") {
					t.Fatalf("row without a check: %s", r.quantity)
				}
				return // uncertainty: analyze/superheat
			}
			if math.Abs(got-want) > number(t, r.tolerance) {
				t.Errorf("got %v, want %v %s (%s)", got, want, r.unit, r.source)
			}
		})
	}
}

// TestPlatinumRoundTrip: the inverse is exact on both sides of 0 °C.
func TestPlatinumRoundTrip(t *testing.T) {
	for c := units.Celsius(-200); c <= 850; c += 0.25 {
		got, ok := PtTemperature(PtResistance(c, 1000), 1000)
		if !ok || math.Abs(float64(got-c)) > 1e-7 {
			t.Fatalf("%v °C comes back as %v", c, got)
		}
	}
}

func TestPublishedThermistors(t *testing.T) {
	curves := map[string]NTCCurve{
		"ntc_b_equation_10k_3435": {R25: 10000, B: 3435},
		// The charts state R at another temperature and B: R25 follows from the B equation.
		"ntc_b_15k0_3480":     {R25: 15000 * math.Exp(3480*(1/298.15-1/273.15)), B: 3480},
		"ntc_b_17k50_4150":    {R25: 17000 * math.Exp(4150*(1/298.15-1/323.15)), B: 4150},
		"ntc_b_7465r120_4057": {R25: 7465 * math.Exp(4057*(1/298.15-1/393.15)), B: 4057},
	}
	all := rows(t, "ntc.csv")
	for _, table := range []string{"ntc_table_103at", "ntc_table_10k_type2"} {
		var c NTCCurve
		for _, r := range all {
			if r.quantity == table {
				c.Table = append(c.Table, NTCPoint{units.Celsius(number(t, r.input)), number(t, r.expected)})
			}
		}
		curves[table] = c
	}
	for i, r := range all {
		t.Run(fmt.Sprintf("row %d %s %s", i+2, r.quantity, r.input), func(t *testing.T) {
			if r.quantity == "ntc_b_equation_error_at_0degc" {
				m := Mapping{Signal: NTC, Curve: NTCCurve{R25: 10000, B: 3435}, Unit: degC}
				got, f := m.ValueOfNumber(number(t, r.input))
				if f.Failed() || math.Abs(got-number(t, r.expected)) > number(t, r.tolerance) {
					t.Errorf("B equation reads %v at 0 °C, want %s (%s)", got, r.expected, r.source)
				}
				return
			}
			curve, ok := curves[r.quantity]
			if !ok {
				t.Fatalf("row without a check: %s", r.quantity)
			}
			m := Mapping{Signal: NTC, Curve: curve, Unit: degC}
			celsius, ohm := number(t, r.input), number(t, r.expected)
			got, f := m.ValueOfNumber(ohm)
			if f.Failed() {
				t.Fatal(f.Reason())
			}
			// The file's tolerance is in ohm: the slope of the curve makes it kelvin.
			k := celsius + zeroCelsius
			within := tolerance(t, r.tolerance, ohm)/ohm*k*k/3400 + 1e-6
			if math.Abs(got-celsius) > within {
				t.Errorf("%v ohm reads %v °C, want %v ± %.2f (%s)", ohm, got, celsius, within, r.source)
			}
		})
	}
	// Between rows the curve must be the thermistor's, not a chord: leaving a
	// row out and asking for it moves the reading less than 0.1 K.
	full := curves["ntc_table_103at"].Table
	for i := 1; i < len(full)-1; i++ {
		c := NTCCurve{Table: append(append([]NTCPoint{}, full[:i]...), full[i+1:]...)}
		got, _, _ := c.temperature(full[i].Ohm)
		if math.Abs(float64(got-full[i].Celsius)) > 0.1 {
			t.Errorf("without its row, %v °C reads %v", full[i].Celsius, got)
		}
	}
}
