package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

// satCall runs one command line.
func satCall(args ...string) (code int, out, messages string) {
	var stdout, stderr bytes.Buffer
	code = run(context.Background(), args, console{Out: &stdout, Err: &stderr})
	return code, stdout.String(), stderr.String()
}

// TestSatJSON: exactly the fields of the contract, section 8.
func TestSatJSON(t *testing.T) {
	for _, c := range []struct {
		args   []string
		fields []string
		number string
		want   float64
		within float64
	}{
		// ISO 2533: 89874.6 Pa at 1000 m.
		{[]string{"sat", "R513A", "1.2 barg", "--json"}, []string{"bubble_c", "dew_c", "pressure_pa", "refrigerant", "source"}, "pressure_pa", 221325, 0.01},
		{[]string{"sat", "R513A", "1.2 barg", "--json", "--altitude", "1000 m"}, []string{"bubble_c", "dew_c", "pressure_pa", "refrigerant", "source"}, "pressure_pa", 209874.6, 1},
		{[]string{"sat", "R513A", "-9 C", "--json"}, []string{"bubble_pressure_pa", "dew_pressure_pa", "refrigerant", "source", "temperature_c"}, "temperature_c", -9, 0},
		// R134a at 0 °C, 292.80 kPa (Tillner-Roth, Baehr 1994, from memory).
		{[]string{"sat", "134a", "0 C", "--json"}, []string{"bubble_pressure_pa", "dew_pressure_pa", "refrigerant", "source", "temperature_c"}, "dew_pressure_pa", 292800, 100},
		// Common practice, no source: about 11 K.
		{[]string{"sat", "R448A", "--superheat", "1.8 barg", "-6 C", "--json"}, []string{"dew_c", "expanded_uncertainty_k", "pressure_pa", "refrigerant", "source", "superheat_k", "temperature_c"}, "superheat_k", 11, 1},
	} {
		code, out, messages := satCall(c.args...)
		var got map[string]any
		if err := json.Unmarshal([]byte(out), &got); err != nil || code != 0 || strings.Count(out, "\n") != 1 {
			t.Errorf("%v: status %d, %q, %q, %v", c.args, code, out, messages, err)
			continue
		}
		var fields []string
		for name := range got {
			fields = append(fields, name)
		}
		slices.Sort(fields)
		if !slices.Equal(fields, c.fields) {
			t.Errorf("%v: fields %v, want %v", c.args, fields, c.fields)
		}
		if x, _ := got[c.number].(float64); !(math.Abs(x-c.want) <= c.within) {
			t.Errorf("%v: %s is %v, want %v ± %v", c.args, c.number, got[c.number], c.want, c.within)
		}
	}
}

func TestSatForPeople(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"sat", "R448A", "26 psig"}, 0, []string{"dew", "bubble", "barg", "bara", "psig", "psia", "Use dew for superheat, bubble for subcooling", "source"}},
		{[]string{"sat", "R448A", "-9 C"}, 0, []string{"15.8 °F", "barg", "psia"}},
		{[]string{"sat", "R448A", "--superheat", "1.8 barg", "-6 C"}, 0, []string{"superheat", "K", "°F", "Uncertainty not known"}},
		{[]string{"sat", "R448A", "--superheat", "1.8 barg", "-6 C", "--temperature-accuracy", "0.5 K"}, 0, []string{"±", "k=2"}},
		{[]string{"refrigerants"}, 0, []string{"R448A", "A1", "±0.25 K", "glide", "R290 (propane)", "A3"}},
		{[]string{"sat", "R448", "-9 C"}, 2, []string{"did you mean R448A"}},
		{[]string{"sat", "R448A", "5"}, 2, []string{"without a unit", "barg"}},
		{[]string{"sat", "R448A", "5 bar"}, 2, []string{"absolute or gauge"}},
		{[]string{"sat", "R448A", "5 m"}, 2, []string{"want a pressure"}},
		{[]string{"sat", "R448A", "1.8", "barg"}, 2, []string{"2 values"}},
		{[]string{"sat", "R448A", "1.8 barg", "--mounting", "1 K"}, 2, []string{"--superheat"}},
		{[]string{"sat", "R448A", "--superheat", "1.8 barg"}, 2, []string{"a pressure and a temperature"}},
		{[]string{"sat", "R448A", "1.8 barg", "--altitude", "1000"}, 2, []string{"--altitude", "without a unit"}},
		{[]string{"sat", "R448A", "90 barg"}, 1, []string{"outside the table"}},
	} {
		code, out, messages := satCall(c.args...)
		if code != c.code {
			t.Errorf("%v: status %d, want %d: %s", c.args, code, c.code, messages)
		}
		text := out
		if c.code != 0 {
			text = messages
			if out != "" {
				t.Errorf("%v: fails and prints %q", c.args, out)
			}
		}
		for _, s := range c.says {
			if !strings.Contains(text, s) {
				t.Errorf("%v: %q does not say %q", c.args, text, s)
			}
		}
	}
}

// TestSatUncertainty: root sum of squares of rectangular limits (JCGM 100,
// 4.3.7), k = 2, worked by hand: limits of 0.5 K and 1.5 K and the dew line's
// 0.25 K (k = 2) give 2 √(0.5²/3 + 1.5²/3 + 0.125²) = 1.843 K.
func TestSatUncertainty(t *testing.T) {
	_, out, _ := satCall("sat", "R448A", "--superheat", "1.8 barg", "-6 C", "--json", "--temperature-accuracy", "0.5 K", "--mounting", "1.5 K")
	var got struct {
		U float64 `json:"expanded_uncertainty_k"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || math.Abs(got.U-1.843) > 0.001 {
		t.Errorf("%s: %v, %v; want 1.843", out, got.U, err)
	}
}

// TestSatSuperheatBudget: limits in US units, taken as rectangular (JCGM
// 100:2008, 4.3.7), add in squares to the uncertainty shown. ±2 °F of mounting
// alone is 2·2/√3 = 2.3 °F.
func TestSatSuperheatBudget(t *testing.T) {
	code, out, messages := satCall("sat", "R448A", "--superheat", "26 psig", "22 F", "--pressure-accuracy", "1 psi", "--temperature-accuracy", "1 F", "--mounting", "2 F")
	for _, want := range []string{"superheat  10.8 K = 19.5 °F", "±          1.6 K = 2.9 °F  (k=2)", "mounting     ±1.3 K = 2.3 °F  ±2 F", "thermometer  ±0.6 K = 1.2 °F", "pressure     ±0.7 K"} {
		if code != 0 || !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s%s", want, out, messages)
		}
	}
}
