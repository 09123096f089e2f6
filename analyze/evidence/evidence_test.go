package evidence

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"dewgap/analyze/units"
)

var (
	si = Renderer{System: units.SI, Atmosphere: units.StandardAtmosphere}
	us = Renderer{System: units.US, Atmosphere: units.StandardAtmosphere}
)

// example returns evidence of a code with a value for each gap of its sentence.
func example(code Code) Item {
	i := Item{Code: code}
	for n, name := range holes(catalogue[code]) {
		v := Value{Name: name, Number: 7.5 + float64(n)}
		switch QuantityOf(name) {
		case Word:
			v = Name(name, "word-"+fmt.Sprint(n))
			if strings.HasSuffix(name, partEnding) {
				v = Part(strings.TrimSuffix(name, partEnding), ClosedSubjectGone)
			}
		case PressureQuantity, PressureDifferenceValue:
			v.Number = 280000
		case ShareQuantity:
			v.Number = 0.25
		case CountQuantity:
			v.Number = 3
		}
		if i.Word(name) == "" && math.IsNaN(i.Number(name)) {
			i.Values = append(i.Values, v)
		}
	}
	return i
}

// TestEveryCodeInBothSystems holds each sentence of the catalogue to what a
// reader of each system must and must not find in it.
func TestEveryCodeInBothSystems(t *testing.T) {
	for _, code := range Codes() {
		i := example(code)
		if err := Check(i); err != nil {
			t.Error(err)
		}
		for system, r := range map[string]Renderer{"si": si, "us": us} {
			text := r.Text(i)
			if text == "" || strings.ContainsAny(text, "{}") || strings.Contains(text, "unknown") {
				t.Errorf("%s in %s: %q", code, system, text)
			}
			foreign := []string{"°F", "psi", "inHg"}
			if system == "us" {
				foreign = []string{"°C", "bar", " K "}
			}
			for _, unit := range foreign {
				if strings.Contains(strings.ReplaceAll(text, "°C (", "("), unit) && !unitsAreItsSubject(catalogue[code]) {
					t.Errorf("%s in %s speaks of %s: %q", code, system, unit, text)
				}
			}
			for _, v := range i.Values {
				want := r.Value(v, "")
				if part, ok := partText(v); ok {
					want = part
				}
				if !strings.Contains(text, want) && !strings.Contains(catalogue[code], "{"+v.Name+":") {
					t.Errorf("%s in %s lacks %s = %q: %q", code, system, v.Name, want, text)
				}
			}
		}
	}
}

// unitsAreItsSubject reports whether a sentence names a unit by itself, as one
// that warns of bar taken for psi has to.
func unitsAreItsSubject(template string) bool {
	for _, unit := range []string{"psi", "bar", "Fahrenheit", "°F", "°C"} {
		if strings.Contains(template, unit) {
			return true
		}
	}
	return false
}

// TestQuantitiesConvertAsWhatTheyAre: a temperature gets its 32, a difference
// none, a gauge pressure loses the air, a difference of pressures does not.
// Conversions from NIST SP 811: 1 °F difference = 1/1.8 K, 1 psi = 6894.757 Pa.
func TestQuantitiesConvertAsWhatTheyAre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := math.Round(rapid.Float64Range(-50, 150).Draw(t, "x")*10) / 10
		p := math.Round(rapid.Float64Range(1100, 30000).Draw(t, "p")) * 100
		for _, c := range []struct {
			v        Value
			inSI, us string
		}{
			{Temperature("dew", units.Celsius(x)), fmt.Sprintf("%.1f °C", x), fmt.Sprintf("%.1f °F", x*1.8+32)},
			{Difference("floor", units.Kelvin(x)), fmt.Sprintf("%.1f K", x), fmt.Sprintf("%.1f °F", x*1.8)},
			{Rate("fall", x), fmt.Sprintf("%.1f K/min", x), fmt.Sprintf("%.1f °F/min", x*1.8)},
			{Pressure("suction", units.Pascal(p)), fmt.Sprintf("%.2f barg", (p-101325)/1e5), fmt.Sprintf("%.1f psig", (p-101325)/6894.757)},
			{PressureDifference("rise", units.Pascal(p)), fmt.Sprintf("%.2f bar", p/1e5), fmt.Sprintf("%.1f psi", p/6894.757)},
		} {
			for _, r := range []struct {
				in   Renderer
				want string
			}{{si, c.inSI}, {us, c.us}} {
				want := strings.Replace(r.want, "-0.0 ", "0.0 ", 1)
				if got := r.in.Value(c.v, ""); got != want && !tie(got, want) {
					t.Fatalf("%s %g: %q, want %q", c.v.Name, c.v.Number, got, want)
				}
			}
		}
	})
}

// tie reports whether two texts differ in the last digit of a number alone,
// which rounding of halves may.
func tie(a, b string) bool {
	var x, y float64
	var u, v string
	fmt.Sscanf(a, "%g %s", &x, &u)
	fmt.Sscanf(b, "%g %s", &y, &v)
	return u == v && math.Abs(x-y) < 0.11 && (u != "barg" && u != "bar" || math.Abs(x-y) < 0.011)
}

func TestGaugeBelowTheAtmosphere(t *testing.T) {
	v := Pressure("suction", 67461.4) // 10 inHg vacuum: 1 inHg = 3386.389 Pa, NIST SP 811
	if got := us.Value(v, ""); got != "10.0 inHg vacuum" {
		t.Errorf("got %q", got)
	}
	if got := (Renderer{}).Value(v, ""); got != "0.68 bara" && got != "0.67 bara" {
		t.Errorf("without an atmosphere: %q", got)
	}
}

func TestJSON(t *testing.T) {
	i := New("test_only", Difference("floor", 8), Name("phase", "pulldown <1>"), Temperature("dew", units.Celsius(math.NaN())))
	data, err := json.Marshal(i)
	if err != nil {
		t.Fatal(err)
	}
	want := `{"code":"test_only","values":{"floor_k":8,"phase":"pulldown \u003c1\u003e","dew_c":null}}`
	if string(data) != want {
		t.Errorf("got  %s\nwant %s", data, want)
	}
	var back Item
	if err := json.Unmarshal(data, &back); err != nil || !back.Equal(i) {
		t.Errorf("read back %+v, %v", back, err)
	}
}

// TestJournalsWrittenBefore reads evidence that is a sentence.
func TestJournalsWrittenBefore(t *testing.T) {
	var i Item
	if err := json.Unmarshal([]byte(`"superheat 4.0 K is low"`), &i); err != nil {
		t.Fatal(err)
	}
	if i.Code != Sentence || us.Text(i) != "superheat 4.0 K is low" {
		t.Errorf("got %+v, shown as %q", i, us.Text(i))
	}
}

// TestCodeOfANewerVersion shows the text that came with it.
func TestCodeOfANewerVersion(t *testing.T) {
	i := New("from_the_future", Duration("held", 90*time.Minute))
	if got := si.Text(i); got != "from_the_future, held_seconds 90 min" {
		t.Errorf("without text: %q", got)
	}
	i.Text = "as it was written"
	if got := us.Text(i); got != "as it was written" {
		t.Errorf("with text: %q", got)
	}
}

func TestCheckFindsWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		item Item
		want string
	}{
		{New("nowhere"), "not in the catalogue"},
		{New(InputConcerned), `needs "input"`},
		{New(InputConcerned, Name("input", "mt.c1"), Count("n", 1)), "in no sentence"},
		{New(PressureStepped, Part("likely", "nowhere")), "is no part"},
		{New(PressureStepped, Part("likely", PressureStepped)), "is no part"}, // a part within a part has no end
	} {
		if err := Check(c.item); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: error %v, want one with %q", c.item, err, c.want)
		}
	}
}

// TestPartIsRenderedInItsPlace: the part's text takes the item's values in the
// reader's units, and Check asks for them.
func TestPartIsRenderedInItsPlace(t *testing.T) {
	i := New(CoilsTooDry, Temperature("dew", -20), Part("pressure", GaugeTakenForAbsolute), Temperature("corrected_dew", -10))
	if err := Check(i); err != nil {
		t.Error(err)
	}
	for r, want := range map[Renderer]string{si: "with it put right dew is -10.0 °C", us: "with it put right dew is 14.0 °F"} {
		if got := r.Text(i); !strings.Contains(got, want) {
			t.Errorf("got %q, want %q in it", got, want)
		}
	}
	if err := Check(New(CoilsTooDry, Temperature("dew", -20), Part("pressure", GaugeTakenForAbsolute))); err == nil {
		t.Error("a part without its value passes")
	}
	i.Values[1].Word = "of_a_newer_version"
	if got := si.Text(i); !strings.Contains(got, "of_a_newer_version") {
		t.Errorf("unknown part: %q", got)
	}
}

func FuzzUnmarshal(f *testing.F) {
	f.Add([]byte(`{"code":"x","values":{"a_k":1,"b":"w","c_pa":null},"text":"t"}`))
	f.Add([]byte(`"words"`))
	f.Add([]byte(`{"code":"x","values":[1]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var i Item
		if json.Unmarshal(data, &i) != nil {
			return
		}
		_ = us.Text(i)
		again, err := json.Marshal(i)
		if err != nil {
			t.Fatalf("%+v: %v", i, err)
		}
		var back Item
		if err := json.Unmarshal(again, &back); err != nil {
			t.Fatalf("%s: %v", again, err)
		}
	})
}
