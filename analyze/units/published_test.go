package units

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// publishedRow is one row of a file of published values. Each carries the
// source it was taken from.
type publishedRow struct {
	name                  string // quantity, input and unit
	quantity, unit, toUse string
	input, want, within   float64
	source                string
}

func published(t *testing.T, file string) []publishedRow {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		if s == "" {
			return math.NaN()
		}
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		return x
	}
	var rows []publishedRow
	for _, r := range records[1:] {
		rows = append(rows, publishedRow{
			name: r[0] + " " + r[1] + " " + r[2], quantity: r[0], unit: r[2], toUse: r[4],
			input: number(r[1]), want: number(r[3]), within: number(r[5]),
			source: r[6] + " [" + r[7] + "]",
		})
	}
	return rows
}

func (r publishedRow) check(t *testing.T, got float64) {
	t.Helper()
	// 1e-9 relative: the tolerance 0 of an exact value leaves room for rounding.
	if !(math.Abs(got-r.want) <= r.within+1e-9*math.Abs(r.want)+1e-12) {
		t.Errorf("%s: got %v, want %v ± %v\nsource: %s", r.name, got, r.want, r.within, r.source)
	}
}

func unitOf(t *testing.T, name string) Unit {
	t.Helper()
	u, err := ParseUnit(name)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// TestConversionsArePublishedOnes checks every row of the published conversions.
func TestConversionsArePublishedOnes(t *testing.T) {
	seen := 0
	for _, r := range published(t, "testdata/units.csv") {
		seen++
		number := strconv.FormatFloat(r.input, 'f', -1, 64)
		unit, _, _ := strings.Cut(strings.TrimSuffix(r.unit, " (conventional)"), " at ")
		atmosphere := StandardAtmosphere
		if strings.HasSuffix(r.unit, "845.560 hPa") {
			atmosphere = 84556
		}
		switch {
		case r.quantity == "factor":
			got, err := ParsePressureDifference(number + " " + unit)
			if err != nil {
				t.Errorf("%s: %v", r.name, err)
			}
			r.check(t, got)
		case strings.Contains(r.quantity, "difference"):
			d := difference(t, number, unit)
			want := kelvinDifference
			if strings.HasPrefix(r.toUse, "degF") {
				want = fahrenheitDifference
			}
			r.check(t, want.Number(float64(d)))
		case strings.HasPrefix(r.quantity, "deg"):
			got, err := ParseTemperature(number + " " + unit)
			if err != nil {
				t.Errorf("%s: %v", r.name, err)
			}
			r.check(t, unitOf(t, r.toUse).Number(float64(got)))
		default:
			got, err := ParsePressure(number + " " + unit)
			if err != nil {
				t.Errorf("%s: %v", r.name, err)
				continue
			}
			to := r.toUse
			if to == "Pa" {
				to = "Paa"
			}
			r.check(t, unitOf(t, to).FromSI(float64(got.Absolute(atmosphere)), atmosphere))
		}
	}
	if seen < 80 {
		t.Errorf("only %d rows of published conversions", seen)
	}
}

// difference reads "20" "degF difference" the way a configuration would.
func difference(t *testing.T, number, unit string) Kelvin {
	t.Helper()
	d, err := ParseDifference(number + " " + strings.TrimSuffix(unit, " difference"))
	if err != nil {
		t.Error(err)
	}
	return d
}

// TestAtmosphereIsISO2533 checks every row of the published standard atmosphere.
func TestAtmosphereIsISO2533(t *testing.T) {
	seen := map[string]int{}
	for _, r := range published(t, "testdata/atmosphere.csv") {
		seen[r.quantity]++
		switch r.quantity {
		case "pressure_at_altitude", "sea_level_pressure":
			p, err := Atmosphere(Metre(r.input))
			if err != nil {
				t.Error(err)
			}
			r.check(t, float64(p)/100)
		case "altitude_at_pressure":
			h, err := Altitude(Pascal(r.input * 100))
			if err != nil {
				t.Error(err)
			}
			r.check(t, float64(h))
		case "lapse_rate":
			r.check(t, -lapseRate*1000)
		case "sea_level_temperature":
			r.check(t, seaLevelKelvin-kelvinAtZeroC)
		default:
			t.Errorf("no test for %s", r.quantity)
		}
	}
	if seen["pressure_at_altitude"] < 30 || seen["altitude_at_pressure"] < 7 {
		t.Errorf("rows missing: %v", seen)
	}
}
