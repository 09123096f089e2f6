package units

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestParsePressure(t *testing.T) {
	const psi = 6894.757293168361               // NIST SP 811: 0.45359237 × 9.80665 / 0.0254²
	for text, want := range map[string]float64{ // Pa absolute at sea level
		"1.8 barg":       281325,
		"1.8barg":        281325,
		"1.8 bar g":      281325,
		"1.8 bar(g)":     281325,
		"1.8 bar gauge":  281325,
		"281.325 kPa a":  281325,
		"281.325 kPaa":   281325,
		"281325 Paa":     281325,
		"180000 Pag":     281325,
		"0.18 MPag":      281325,
		"1800 mbarg":     281325,
		"1800 hPa g":     281325,
		"2.81325e5 Paa":  281325,
		"26 psig":        101325 + 26*psi,
		"26 PSIG":        101325 + 26*psi,
		"+26 psi g":      101325 + 26*psi,
		"14.7 psia":      14.7 * psi,
		"-0.3 barg":      71325,
		"−0.3 barg":      71325,
		"10 inHg vacuum": 101325 - 10*3386.38864034,
		"10 inHg vac":    101325 - 10*3386.38864034,
		"-10 inHgg":      101325 - 10*3386.38864034,
		"29.92 inHg abs": 29.92 * 3386.38864034,
		"1 kgf/cm2 g":    101325 + 98066.5,
		"1 kg/cm² g":     101325 + 98066.5,
	} {
		p, err := ParsePressure(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := float64(p.Absolute(StandardAtmosphere)); math.Abs(got-want) > 1e-4 {
			t.Errorf("%s: %v Pa, want %v", text, got, want)
		}
	}
}

// TestWrongQuantitiesSayWhatIsRight: nothing wrong is guessed at, and each
// error shows the text, the fault and an example of what would be right.
func TestWrongQuantitiesSayWhatIsRight(t *testing.T) {
	pressure := func(s string) error { _, err := ParsePressure(s); return err }
	temperature := func(s string) error { _, err := ParseTemperature(s); return err }
	difference := func(s string) error { _, err := ParseDifference(s); return err }
	step := func(s string) error { _, err := ParsePressureDifference(s); return err }
	length := func(s string) error { _, err := ParseLength(s); return err }
	percent := func(s string) error { _, err := ParsePercent(s); return err }
	duration := func(s string) error { _, err := ParseDuration(s); return err }
	air := func(s string) error { _, err := ParseAtmosphere(s); return err }
	value := func(s string) error { _, _, err := Parse(s); return err }
	for _, c := range []struct {
		parse func(string) error
		text  string
		says  []string
	}{
		{pressure, "1.8", []string{"without a unit", "barg"}},
		{pressure, "1.8 bar", []string{"absolute or gauge", `"1.8 bara"`, `"1.8 barg"`}},
		{pressure, "26 psi", []string{"absolute or gauge", `"26 psia"`, `"26 psig"`}},
		{pressure, "1,8 barg", []string{"decimal comma"}},
		{pressure, "barg", []string{"does not start with a number"}},
		{pressure, "", []string{"empty"}},
		{pressure, "1.8 barq", []string{`"barq"`, "not known", "barg"}},
		{pressure, "1 mPag", []string{"not known"}}, // a thousandth of a pascal: surely MPa was meant, or not
		{pressure, "-1 bara", []string{"below a perfect vacuum"}},
		{pressure, "-1.2 barg", []string{"below a perfect vacuum"}},
		{pressure, "33 inHg vacuum", []string{"below a perfect vacuum"}},
		{pressure, "-6 C", []string{"unit of temperature", "barg"}},
		{pressure, "NaN barg", []string{"number"}},
		{pressure, "Inf barg", []string{"number"}},
		{pressure, "1e999 barg", []string{"too large"}},
		{pressure, "0x10 barg", []string{"not known"}},
		{pressure, "1_0 barg", []string{"not known"}},
		{temperature, "-6", []string{"without a unit", "-6 C"}},
		{temperature, "-300 C", []string{"below absolute zero"}},
		{temperature, "-1 K", []string{"below absolute zero"}},
		{temperature, "3 barg", []string{"gauge pressure", "-6 C"}},
		{difference, "11", []string{"without a unit", "11 K", "20 F"}},
		{difference, "11 C", []string{"for temperatures", "11 K"}},
		{difference, "11 m", []string{"unit of length"}},
		{step, "0.13 barg", []string{"gauge pressure", "0.13 bar"}},
		{step, "0.13", []string{"without a unit"}},
		{length, "120", []string{"without a unit", "120 m"}},
		{length, "120 K", []string{"unit of temperature"}},
		{percent, "1", []string{"without a unit", "1 %"}},
		{percent, "1 K", []string{"not %"}},
		{duration, "60", []string{"without a unit", "60 s"}},
		{duration, "-60s", []string{"negative"}},
		{duration, "1 fortnight", []string{"no duration"}},
		{duration, "s", []string{"not a number"}},
		{duration, "", []string{"empty"}},
		{duration, "1.2.3 s", []string{"no duration"}},
		{duration, "200000 d", []string{"too long"}},
		{air, "1013", []string{"without a unit", "hPa"}},
		{air, "0 barg", []string{"gauge pressure"}},
		{air, "1013.25 kPa", []string{"no air pressure"}},
		{value, "5 bar", []string{"absolute or gauge"}},
		{value, "5", []string{"without a unit", "barg", "-6 C"}},
	} {
		err := c.parse(c.text)
		var parseError *ParseError
		if !errors.As(err, &parseError) {
			t.Errorf("%q: error %v is no ParseError", c.text, err)
			continue
		}
		if parseError.Text != c.text {
			t.Errorf("%q: error names %q", c.text, parseError.Text)
		}
		for _, s := range c.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%q: error %q does not say %q", c.text, err, s)
			}
		}
	}
}

func TestParseOtherQuantities(t *testing.T) {
	near := func(text string, got, want float64, err error) {
		t.Helper()
		if err != nil || math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
			t.Errorf("%s: %v, %v; want %v", text, got, err, want)
		}
	}
	// The rules are those of NIST SP 811, appendix B.8.
	for text, want := range map[string]Celsius{
		"-6 C": -6, "-6C": -6, "-6 °C": -6, "−6 ºC": -6, "-6 degC": -6, "-6 deg C": -6, "-6 ℃": -6,
		"14 F": -10, "14 degF": -10, "14 °F": -10, "263.15 K": -10, "212 F": 100,
	} {
		got, err := ParseTemperature(text)
		near(text, float64(got), float64(want), err)
	}
	for text, want := range map[string]Kelvin{"11 K": 11, "20 F": 20 / 1.8, "20 degF": 20 / 1.8, "-5 K": -5, "0 F": 0} {
		got, err := ParseDifference(text)
		near(text, float64(got), float64(want), err)
	}
	for text, want := range map[string]Metre{"120 m": 120, "400 ft": 121.92, "1.5 km": 1500, "-5 m": -5} {
		got, err := ParseLength(text)
		near(text, float64(got), float64(want), err)
	}
	for text, want := range map[string]float64{"1 %": 0.01, "1%": 0.01, "0.5 percent": 0.005} {
		got, err := ParsePercent(text)
		near(text, got, want, err)
	}
	for text, want := range map[string]float64{"0.13 bar": 13000, "2 psi": 13789.514586336722, "50 kPa": 50000} {
		got, err := ParsePressureDifference(text)
		near(text, got, want, err)
	}
	for text, want := range map[string]Pascal{"1013.25 hPa": 101325, "845.56 mbar": 84556, "1 atm": 101325, "101.325 kPaa": 101325} {
		got, err := ParseAtmosphere(text)
		near(text, float64(got), float64(want), err)
	}
	for text, want := range map[string]time.Duration{
		"60s": time.Minute, "60 s": time.Minute, "1h30m": 90 * time.Minute, "1 h 30 min": 90 * time.Minute,
		"30 d": 720 * time.Hour, "1d12h": 36 * time.Hour, "250ms": 250 * time.Millisecond, "0.5 s": 500 * time.Millisecond, "0": 0,
	} {
		got, err := ParseDuration(text)
		near(text, float64(got), float64(want), err)
	}
}

// TestRecordingUnits: every unit that the contract's recordings may use is
// known under exactly that name, and keeps it.
func TestRecordingUnits(t *testing.T) {
	names := []string{"degC", "degF", "K"}
	for _, base := range []string{"Pa", "kPa", "bar", "psi"} {
		names = append(names, base+"a", base+"g")
	}
	for _, name := range names {
		u, err := ParseUnit(name)
		if err != nil || u.Name != name {
			t.Errorf("%s: %v, %v", name, u.Name, err)
		}
		if isPressure := strings.HasSuffix(name, "a") || strings.HasSuffix(name, "g"); u.IsPressure() != isPressure {
			t.Errorf("%s: is pressure: %v", name, u.IsPressure())
		}
	}
	if _, err := ParseUnit("furlong"); err == nil || !strings.Contains(err.Error(), "barg") && !strings.Contains(err.Error(), "bara") {
		t.Errorf("error %v does not name the known units", err)
	}
	if x := (Unit{}).ToSI(1, StandardAtmosphere); !math.IsNaN(x) {
		t.Errorf("no unit converts to %v, want NaN", x)
	}
}

// anyUnit draws one of all units.
func anyUnit() *rapid.Generator[Unit] {
	return rapid.Custom(func(t *rapid.T) Unit {
		name := rapid.SampledFrom([]string{"degC", "degF", "K", "m", "km", "ft"}).Draw(t, "plain")
		if rapid.Bool().Draw(t, "isPressure") {
			base := rapid.SampledFrom(pressureBases).Draw(t, "base").name
			name = base + rapid.SampledFrom([]string{"", "a", "g", " vacuum"}).Draw(t, "reference")
		}
		u, err := ParseUnit(name)
		if err != nil {
			t.Fatal(err)
		}
		return u
	})
}

func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := anyUnit().Draw(t, "unit")
		number := rapid.Float64Range(-1000, 1000).Draw(t, "number")
		air := Pascal(rapid.Float64Range(50e3, 110e3).Draw(t, "air"))
		// What the air's pressure and the offsets of scales do to rounding.
		scale := math.Abs(number) + 500 + math.Abs(u.Number(200e3))
		if back := u.FromSI(u.ToSI(number, air), air); math.Abs(back-number) > 1e-14*scale {
			t.Errorf("%v %s comes back as %v", number, u, back)
		}
		again, err := ParseUnit(u.Name)
		if err != nil || again != u {
			t.Errorf("unit %+v reads its own name as %+v, %v", u, again, err)
		}
	})
}

func TestAltitudeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := Metre(rapid.Float64Range(float64(lowestAltitude), float64(highestAltitude)).Draw(t, "altitude"))
		p, err := Atmosphere(h)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Altitude(p)
		if err != nil || math.Abs(float64(back-h)) > 1e-6 {
			t.Errorf("%v m comes back as %v m, %v", h, back, err)
		}
	})
	for _, h := range []Metre{-3000, 9000, Metre(math.NaN())} {
		if p, err := Atmosphere(h); err == nil || !math.IsNaN(float64(p)) {
			t.Errorf("%v m: %v, %v; want an error and NaN", h, p, err)
		}
	}
	for _, p := range []Pascal{0, -1, 1e6, Pascal(math.NaN()), 1013.25} {
		if h, err := Altitude(p); err == nil || !math.IsNaN(float64(h)) {
			t.Errorf("%v Pa: %v m, %v; want an error and NaN", p, h, err)
		}
	}
}

func TestSystemsOfUnits(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{SI.Temperature(-6), "-6.0 °C"},
		{US.Temperature(-6), "21.2 °F"},
		{SI.Temperature(-0.01), "0.0 °C"},
		{SI.Difference(11), "11.0 K"},
		{US.Difference(11), "19.8 °F"},
		{SI.GaugePressure(281325, StandardAtmosphere), "1.80 barg"},
		{US.GaugePressure(281325, StandardAtmosphere), "26.1 psig"},
		{US.GaugePressure(67461, StandardAtmosphere), "10.0 inHg vacuum"},
		{SI.GaugePressure(67461, StandardAtmosphere), "-0.34 barg"},
		{SI.AbsolutePressure(281325), "2.81 bara"},
		{US.AbsolutePressure(281325), "40.8 psia"},
		{SI.Length(121.92), "122 m"},
		{US.Length(121.92), "400 ft"},
		{SI.Temperature(Celsius(math.NaN())), "unknown"},
		{US.GaugePressure(Pascal(math.NaN()), StandardAtmosphere), "unknown"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	for _, s := range []System{SI, US} {
		if got, err := ParseSystem(s.String()); err != nil || got != s {
			t.Errorf("%v reads its own name as %v, %v", s, got, err)
		}
	}
	if _, err := ParseSystem("metric"); err == nil {
		t.Error("metric is taken for a system of units")
	}
}

// FuzzParse: whatever is typed, there is a number with a unit or a ParseError,
// never a value that is not finite.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"1.8 barg", "-6 C", "20 F", "10 inHg vacuum", "1e309 K", "−3 °C", "1h30m", "30 d", "1 %", "9e", ".", "1.8 bar", "1e308 atm", "\xff", "1d.h"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		check := func(what string, value float64, err error) {
			var parseError *ParseError
			switch {
			case err != nil && !errors.As(err, &parseError):
				t.Errorf("%s of %q: %T is no ParseError", what, s, err)
			case err == nil && (math.IsNaN(value) || math.IsInf(value, 0)):
				t.Errorf("%s of %q is %v", what, s, value)
			}
		}
		number, _, err := Parse(s)
		check("number", number, err)
		p, err := ParsePressure(s)
		if err == nil {
			check("pressure", float64(p.Absolute(StandardAtmosphere)), err)
		}
		temperature, err := ParseTemperature(s)
		check("temperature", float64(temperature), err)
		difference, err := ParseDifference(s)
		check("difference", float64(difference), err)
		step, err := ParsePressureDifference(s)
		check("pressure difference", step, err)
		air, err := ParseAtmosphere(s)
		check("atmosphere", float64(air), err)
		length, err := ParseLength(s)
		check("length", float64(length), err)
		share, err := ParsePercent(s)
		check("percentage", share, err)
		d, err := ParseDuration(s)
		check("duration", float64(d), err)
		if err == nil && d < 0 {
			t.Errorf("%q is a duration of %v", s, d)
		}
	})
}
