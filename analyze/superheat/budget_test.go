package superheat

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// numbers returns the numbers in a cell, whatever words stand between them.
func numbers(t *testing.T, cell string) []float64 {
	t.Helper()
	var out []float64
	for _, f := range strings.FieldsFunc(cell, func(r rune) bool { return !strings.ContainsRune("0123456789.e-", r) }) {
		if x, err := strconv.ParseFloat(f, 64); err == nil {
			out = append(out, x)
		}
	}
	return out
}

// TestUncertaintyIsJCGM100 computes the rows of testdata/gum.csv, each with its
// source beside it, for the functions that dewgap uses. Rows about degrees of
// freedom, means and arcsine distributions concern nothing here.
func TestUncertaintyIsJCGM100(t *testing.T) {
	f, err := os.Open("testdata/gum.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	done, superheats := 0, 0
	for _, r := range rows[1:] {
		quantity, source := r[0], r[6]
		x := numbers(t, r[1])
		want, _ := strconv.ParseFloat(r[3], 64)
		tolerance, _ := strconv.ParseFloat(r[5], 64)
		var got float64
		switch {
		case quantity == "rectangular":
			got = Rectangular(x[0])
		case quantity == "combined_standard_uncertainty":
			got = Combine(x...)
		case quantity == "combined_variance":
			got = Combine(x...) * Combine(x...)
		case quantity == "expanded_uncertainty":
			got = Expand(x[0], x[1])
		case quantity == "standard_uncertainty_from_k":
			got = FromExpanded(x[0], x[1])
		case strings.HasPrefix(quantity, "superheat_expanded_uncertainty_"):
			terms := Terms{Pressure: x[1] * 1e5, Temperature: x[2], Mounting: x[3]}
			got = float64(terms.Budget(x[0]/1e5, 0).Expanded)
			superheats++
		default:
			continue
		}
		done++
		if math.Abs(got-want) > tolerance+1e-12 {
			t.Errorf("%s of %s: %g, published %g ± %g (%s)", quantity, r[1], got, want, tolerance, source)
		}
		t.Logf("%s of %s: %.4g, published %s (%s)", quantity, r[1], got, r[3], source)
	}
	if done < 17 || superheats != 6 {
		t.Errorf("%d rows checked, %d of them superheats; the file has more", done, superheats)
	}
}

func TestNothingStatedIsTheTypicalInstallation(t *testing.T) {
	// The shared trade notes' table, "typical", LT: U = 2.8 K, parts 1.06, 0.29, 0.87.
	terms := NewTerms(chart{}, Sensor{}, Sensor{})
	b := terms.Budget(14.1/1e5, 0)
	if math.Abs(float64(b.Expanded)-2.80) > 0.02 {
		t.Errorf("U = %.3f K, want 2.80", b.Expanded)
	}
	if b.Parts[0].Name != "pressure" || !b.Parts[0].Assumed || math.Abs(float64(b.Parts[0].Standard)-1.06) > 0.01 {
		t.Errorf("largest part %+v, want the assumed pressure with 1.06 K", b.Parts[0])
	}
	share := 0.0
	for _, p := range b.Parts {
		share += p.Share
	}
	if math.Abs(share-1) > 1e-9 {
		t.Errorf("shares add to %g", share)
	}
	// Weather ±30 hPa is 0.4 K of dew at LT (trade notes, §3).
	open := NewTerms(chart{}, Sensor{Gauge: true}, Sensor{}).Budget(14.1/1e5, 0)
	if sealed := NewTerms(chart{}, Sensor{Gauge: true, Sealed: true}, Sensor{}).Budget(14.1/1e5, 0); open.Expanded <= sealed.Expanded || sealed.Expanded != b.Expanded {
		t.Errorf("open gauge %v, sealed gauge %v, absolute %v", open.Expanded, sealed.Expanded, b.Expanded)
	}
}

func TestFloorWithinNoiseIsSaid(t *testing.T) {
	if w := FloorBelow(8, 8.2, "mounting"); !strings.Contains(w, "mounting") || !strings.Contains(w, "8.0 K") {
		t.Errorf("poor LT installation with a floor of 8 K: %q", w)
	}
	if w := FloorBelow(11, 2.8, "pressure"); w != "" {
		t.Errorf("typical LT installation with a floor of 11 K: %q", w)
	}
}

func TestMeterAgreesWithBudget(t *testing.T) {
	s := NewSuction(chart{}, 0)
	temp := NewSignal(reading.SuctionTemperature, 0)
	m := NewMeter(chart{}, Sensor{Gauge: true}, Sensor{Limit: 0.3})
	for i := range int64(60) {
		s.Take(i*second, good(chartPressure(-30+float64(i)/10)))
		temp.Take(i*second, good(-20))
		v := m.Observe(i*second, &s, &temp)
		if b := m.Budget(&s); math.Abs(float64(v.Uncertainty-b.Expanded)) > 1e-9 {
			t.Fatalf("at %d s the value has U = %v, the budget %v", i, v.Uncertainty, b.Expanded)
		}
	}
	_, b, err := Once(chart{}, units.Pascal(chartRef), -19, Sensor{Limit: 3500}, Sensor{Limit: 0.2, Mounting: 0.5})
	if err != nil || b.Expanded <= 0.8 || b.Expanded >= 1.0 {
		t.Errorf("good installation by hand: U = %v, %v", b.Expanded, err)
	}
}
