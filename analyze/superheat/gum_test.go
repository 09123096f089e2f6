package superheat_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// numbersIn returns the numbers of a cell such as "25; 9.7; 16.6" or
// "c=14.1; a_p=0.035 bar".
func numbersIn(t *testing.T, cell string) []float64 {
	t.Helper()
	var all []float64
	for _, part := range strings.Split(cell, ";") {
		if _, after, ok := strings.Cut(part, "="); ok {
			part = after
		}
		for _, word := range strings.Fields(part) {
			if x, err := strconv.ParseFloat(word, 64); err == nil {
				all = append(all, x)
				break
			}
		}
	}
	return all
}

// TestPublishedUncertainties: testdata/gum.csv, worked examples of JCGM 100 and
// of a superheat, each row with its source. Rows about what a superheat does not
// need (means of series, degrees of freedom, correlated sums, rounding) are
// counted, so that none is lost unseen.
func TestPublishedUncertainties(t *testing.T) {
	file, err := os.Open("testdata/gum.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	done, beside := 0, 0
	for _, row := range rows[1:] {
		quantity, in, source := row[0], numbersIn(t, row[1]), row[6]
		want, err1 := strconv.ParseFloat(row[3], 64)
		tolerance, err2 := strconv.ParseFloat(row[5], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		var got float64
		switch {
		case quantity == "combined_variance":
			u := superheat.Combine(in...)
			got = u * u
		case quantity == "combined_standard_uncertainty", quantity == "combined_relative":
			got = superheat.Combine(in...)
		case quantity == "expanded_uncertainty", quantity == "expanded_relative":
			k := 2.0
			if len(in) > 1 {
				k = in[1]
			}
			got = superheat.Expand(in[0], k)
		case quantity == "rectangular":
			got = superheat.Rectangular(in[0])
		case quantity == "standard_uncertainty_from_k":
			got = superheat.FromExpanded(in[0], in[1])
		case quantity == "standard_uncertainty_from_99_percent_normal":
			got = superheat.FromExpanded(in[0], 2.58)
		case quantity == "uncorrelated_sum":
			parts := make([]float64, 10)
			for i := range parts {
				parts[i] = 0.1
			}
			got = superheat.Combine(parts...)
		case strings.HasPrefix(quantity, "superheat_expanded_uncertainty_"):
			terms := superheat.Terms{Pressure: in[1] * 1e5, Temperature: in[2], Mounting: in[3]}
			got = float64(terms.Budget(in[0]/1e5, 0).Expanded)
		default:
			beside++
			continue
		}
		done++
		t.Logf("%s(%s) = %.4g, published %v. Source: %s", quantity, row[1], got, want, source)
		if math.Abs(got-want) > tolerance+1e-12*math.Abs(want) {
			t.Errorf("%s(%s) = %v, want %v ± %v. Source: %s", quantity, row[1], got, want, tolerance, source)
		}
	}
	if done != 21 || beside != 12 {
		t.Errorf("%d rows checked, %d beside; want 21 and 12 of 33", done, beside)
	}
}

// TestWorkedInstallations takes the three installations of the same file
// through the whole path, with the refrigerant's own table and slope (R448A,
// dew −30 and −10 °C): its uncertainty of the dew line
// comes on top. Transmitters are absolute, so that no weather enters.
func TestWorkedInstallations(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name                            string
		dew                             units.Celsius
		pressure, temperature, mounting float64 // bar, K, K
		want                            float64 // K, expanded, without the table's own
		first                           string  // what to buy first
	}{
		{"good LT", -30, 0.035, 0.21, 0.5, 0.85, "mounting"},
		{"good MT", -10, 0.035, 0.17, 0.5, 0.68, "mounting"},
		{"typical LT", -30, 0.130, 0.5, 1.5, 2.80, "pressure"},
		{"typical MT", -10, 0.130, 0.5, 1.5, 2.14, "mounting"},
		{"poor LT", -30, 0.260, 1.0, 6.0, 8.20, "mounting"},
		{"poor MT", -10, 0.260, 1.0, 6.0, 7.38, "mounting"},
	} {
		p, err := fluid.DewPressure(c.dew)
		if err != nil {
			t.Fatal(err)
		}
		v, b, err := superheat.Once(fluid, p, c.dew+11, superheat.Sensor{Limit: c.pressure * 1e5},
			superheat.Sensor{Limit: c.temperature, Mounting: units.Kelvin(c.mounting)})
		if err != nil {
			t.Fatal(err)
		}
		want := math.Hypot(c.want, float64(fluid.Uncertainty()))
		if got := float64(b.Expanded); math.Abs(got-want) > 0.02 || v.Uncertainty != b.Expanded || math.Abs(float64(v.Superheat)-11) > 1e-6 {
			t.Errorf("%s: ±%.3f K, want ±%.3f K; superheat %v", c.name, got, want, v.Superheat)
		}
		if b.Parts[0].Name != c.first {
			t.Errorf("%s: %s first, want %s", c.name, b.Parts[0].Name, c.first)
		}
	}
}
