package refrigerant

import (
	"errors"
	"math"
	"slices"
	"testing"

	"dewgap/analyze/units"

	"pgregory.net/rapid"
)

func pascals(t *testing.T, number float64, unit string) units.Pascal {
	t.Helper()
	u, err := units.ParseUnit(unit)
	if err != nil {
		t.Fatal(err)
	}
	return units.Pascal(u.ToSI(number, units.StandardAtmosphere))
}

// TestPublishedSuperheats checks all worked examples; each has its source.
func TestPublishedSuperheats(t *testing.T) {
	done := 0
	for _, row := range rowsOf(t, opened(t, "testdata/superheat_examples.csv")) {
		name := row["quantity"] + " " + row["refrigerant"] + " " + row["pressure"] + row["pressure_unit"] + "\nsource: " + row["source"]
		fahrenheit := row["temperature_unit"] == "degF"
		celsius := func(column string) units.Celsius {
			unit, _ := units.ParseUnit(row["temperature_unit"])
			return units.Celsius(unit.SI(number(t, row[column])))
		}
		shown := func(k units.Kelvin) float64 {
			if fahrenheit {
				return units.US.DifferenceUnit().Number(float64(k))
			}
			return float64(k)
		}
		expected, tolerance := number(t, row["expected"]), number(t, row["tolerance"])
		if row["pressure"] == "" {
			// No pressure is printed: the rule itself, line less saturation. The
			// one that names its refrigerant is taken there and back.
			dew := celsius("sat_temperature_printed")
			if row["refrigerant"] != "unspecified" {
				f := lookup(t, row["refrigerant"])
				p, err := f.DewPressure(dew)
				if err != nil {
					t.Fatal(err)
				}
				if dew, err = f.Dew(p); err != nil {
					t.Fatal(err)
				}
			}
			within(t, name, shown(celsius("line_temperature").Above(dew)), expected, tolerance+1e-9, nil)
			done++
			continue
		}
		f := lookup(t, row["refrigerant"])
		p := pascals(t, number(t, row["pressure"]), row["pressure_unit"])
		dew, err := f.Dew(p)
		if err != nil {
			t.Fatal(err)
		}
		temperature := func(c units.Celsius) float64 {
			unit, _ := units.ParseUnit(row["temperature_unit"])
			return unit.Number(float64(c))
		}
		var got float64
		switch row["quantity"] {
		case "dew_temperature", "saturation_temperature":
			got = temperature(dew)
		case "bubble_temperature":
			bubble, err := f.Bubble(p)
			if err != nil {
				t.Fatal(err)
			}
			got = temperature(bubble)
		case "superheat_error_if_bubble_is_used":
			glide, err := f.Glide(p)
			if err != nil {
				t.Fatal(err)
			}
			got = shown(glide)
		default:
			got = shown(celsius("line_temperature").Above(dew))
		}
		within(t, name, got, expected, tolerance+1e-9, nil)
		if row["dew_from_refdata"] != "" && row["quantity"] != "bubble_temperature" {
			// Printed to 0.01; from straight lines between the rows, which cost up
			// to 0.003 K (testdata/about.md).
			within(t, name+" (dew)", temperature(dew), number(t, row["dew_from_refdata"]), 0.005+0.003*1.8, nil)
		}
		done++
	}
	if done != 38 {
		t.Errorf("%d examples checked, want 38", done)
	}
}

// TestTrap39BubbleForDew: R448A at 1.8 bar and 26 psig gauge. Common practice,
// no source: SST about −17 °C, a line at −6 °C has about 11 K of superheat. With
// the bubble line it would be 6 K more, which hides floodback.
func TestTrap39BubbleForDew(t *testing.T) {
	f := lookup(t, "R448A")
	p := pascals(t, 1.8, "barg")
	dew, err := f.Dew(p)
	within(t, "SST", float64(dew), -17, 0.7, err)
	line, err := units.ParseTemperature("-6 C")
	within(t, "superheat", float64(line.Above(dew)), 11, 1, err)
	line, err = units.ParseTemperature("22 F")
	dewUS, derr := f.Dew(pascals(t, 26, "psig"))
	within(t, "superheat from psi and °F", float64(line.Above(dewUS)), 20/1.8, 1, errors.Join(err, derr))
	bubble, err := f.Bubble(p)
	within(t, "dew less bubble", float64(dew.Above(bubble)), 6.3, 0.2, err) // shared trade notes, glide of R448A
}

// TestTrap38Altitude: a gauge transmitter at 1500 m, read with sea-level air,
// is 1.2 K off for R448A at a dew of −10 °C and 2.3 K at −30 °C (trade notes,
// computed from the reference data).
func TestTrap38Altitude(t *testing.T) {
	air, err := units.Atmosphere(1500)
	if err != nil {
		t.Fatal(err)
	}
	f := lookup(t, "R448A")
	for dew, off := range map[units.Celsius]float64{-10: 1.2, -30: 2.3} {
		p, err := f.DewPressure(dew)
		if err != nil {
			t.Fatal(err)
		}
		wrong, err := f.Dew(p.Gauge(air).Absolute(units.StandardAtmosphere))
		within(t, "dew too high by", float64(wrong.Above(dew)), off, 0.1, err)
	}
}

// TestSuperheatDoesNotDependOnUnits: the same state in any units of pressure
// and temperature, at any altitude, has the same superheat.
func TestSuperheatDoesNotDependOnUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFluid().Draw(t, "fluid")
		low, high := f.PressureRange()
		p := low + (high-low)*units.Pascal(rapid.Float64Range(0.001, 0.999).Draw(t, "share"))
		line := units.Celsius(rapid.Float64Range(-60, 60).Draw(t, "line"))
		air := units.Pascal(rapid.Float64Range(60e3, 108e3).Draw(t, "air"))
		want, err := f.Dew(p)
		if err != nil {
			t.Fatal(err)
		}
		pressure, err := units.ParseUnit(rapid.SampledFrom([]string{"Paa", "Pag", "kPaa", "kPag", "bara", "barg", "psia", "psig", "inHg vacuum"}).Draw(t, "pressure"))
		if err != nil {
			t.Fatal(err)
		}
		temperature, err := units.ParseUnit(rapid.SampledFrom([]string{"degC", "degF", "K"}).Draw(t, "temperature"))
		if err != nil {
			t.Fatal(err)
		}
		read := units.Pascal(pressure.ToSI(pressure.FromSI(float64(p), air), air))
		dew, err := f.Dew(read)
		if err != nil {
			t.Fatal(err)
		}
		lineRead := units.Celsius(temperature.ToSI(temperature.FromSI(float64(line), air), air))
		if got := lineRead.Above(dew); math.Abs(float64(got-line.Above(want))) > 1e-8 {
			t.Errorf("%s: superheat %v K in %s and %s, %v K in SI", f, got, pressure, temperature, line.Above(want))
		}
	})
}

func TestUsualSpellings(t *testing.T) {
	for spelling, want := range map[string]string{
		"R448A": "R448A", "R-448A": "R448A", "r448a": "R448A", "448a": "R448A", "R 448 A": "R448A",
		"HFC-134a": "R134a", "HFO-1234yf": "R1234yf", "HCFC-22": "R22", "Refrigerant 22": "R22",
		"propane": "R290", "Propane": "R290", "CO2": "R744", "CO₂": "R744", "carbon dioxide": "R744", "ammonia": "R717", "NH3": "R717",
		"isobutane": "R600a", "propylene": "R1270", "R507": "R507A",
		"R1234ze(E)": "R1234ze(E)", "R1234ze": "R1234ze(E)", "r-1234zeE": "R1234ze(E)",
	} {
		if f, err := Lookup(spelling); err != nil || f.Name != want {
			t.Errorf("%s: %v, %v; want %s", spelling, f, err, want)
		}
	}
	for mistake, nearest := range map[string]string{
		"R448": "R448A", "R134": "R134a", "R407": "R407C", "R44A8": "R448A", "propan": "R290", "amonia": "R717", "R454D": "R454C",
	} {
		_, err := Lookup(mistake)
		var unknown *UnknownError
		if !errors.As(err, &unknown) || !slices.Contains(unknown.Nearest, nearest) {
			t.Errorf("%s: %v; want %s among the nearest", mistake, err, nearest)
		}
	}
	for _, mistake := range []string{"", "R", "water", "R1234ze(Z)"} {
		if f, err := Lookup(mistake); err == nil {
			t.Errorf("%q is taken for %s", mistake, f)
		}
	}
}

func TestEveryFluidIsDescribed(t *testing.T) {
	all := All()
	if len(all) != 52 {
		t.Errorf("%d refrigerants, want 52", len(all))
	}
	for _, f := range all {
		again, err := Lookup(f.Name)
		if again != f || err != nil {
			t.Errorf("%s: Lookup gives another, %v", f, err)
		}
		if f.Safety == "" || f.Source == "" || f.Uncertainty() <= 0 || f.Kind != Pure && f.Composition == "" {
			t.Errorf("%s lacks safety class, source, uncertainty or composition", f)
		}
	}
}

// TestOutsideTheTable: an error that says the range, and NaN; nothing is
// extrapolated.
func TestOutsideTheTable(t *testing.T) {
	f := lookup(t, "R448A")
	low, high := f.PressureRange()
	coldest, hottest := f.Range()
	nan := math.NaN()
	check := func(what string, got float64, err error) {
		t.Helper()
		var out *RangeError
		if !errors.As(err, &out) || !math.IsNaN(got) {
			t.Errorf("%s: %v, %v; want NaN and a RangeError", what, got, err)
		}
	}
	for _, p := range []units.Pascal{0, -1, low * 0.999, high * 1.001, units.Pascal(nan), units.Pascal(math.Inf(1))} {
		dew, err := f.Dew(p)
		check("dew", float64(dew), err)
		slope, err := f.DewSlope(p)
		check("slope", slope, err)
		_, err = f.Vapour(p, 20)
		check("vapour", nan, err)
	}
	for _, c := range []units.Celsius{coldest - 0.01, hottest + 0.01, units.Celsius(nan)} {
		p, err := f.DewPressure(c)
		check("dew pressure", float64(p), err)
		_, err = f.SaturatedVapour(c)
		check("saturated vapour", nan, err)
	}
	for _, c := range []units.Celsius{-17, 90, units.Celsius(nan)} { // wet; more than 100 K; unknown
		_, err := f.Vapour(281325, c)
		check("vapour", nan, err)
	}
	wet, err := f.TemperatureAtEntropy(1.8e6, 1500)
	check("entropy of wet gas", float64(wet), err)
}
