package config

import (
	"math"
	"strings"
	"testing"
)

// TestVerified: a comparison within the sensor's accuracy is kept, one beyond it
// is kept with a warning, in the site's units.
func TestVerified(t *testing.T) {
	const input = `suction_pressure = { modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.01, unit = "barg", accuracy = "0.07 bar", verified = { on = %ON%, by = "anna", gauge = "%GAUGE%", read = "1.79 barg" } }`
	for _, c := range []struct {
		name, on, gauge string
		error           float64 // Pa
		warning         string
	}{
		{"agree", `"2026-11-30"`, "1.82 barg", -3000, ""},
		{"a date", "2026-11-30", "1.82 barg", -3000, ""},
		{"just within", `"2026-11-30"`, "1.8599 barg", -6990, ""},
		{"just beyond", `"2026-11-30"`, "1.8601 barg", -7010, "0.07 bar away from the gauge, more than the sensor's accuracy of 0.07 bar"},
		{"in another unit", `"2026-11-30"`, "26.4 psig", 179000 - 26.4*6894.757293168, ""},
		{"absolute", `"2026-11-30"`, "2.80325 bara", 0, ""},
		{"far off", `"2026-11-30"`, "1.20 barg", 59000, "0.59 bar away"},
	} {
		t.Run(c.name, func(t *testing.T) {
			config := parse(t, "[[modbus]]\nname = \"rack-io\"\naddress = \"192.0.2.10:502\"\n", strings.NewReplacer("%ON%", c.on, "%GAUGE%", c.gauge).Replace(input))
			v := config.Verified[0]
			if v.IsZero() || math.Abs(v.Error-c.error) > 0.5 || v.String() != "2026-11-30: gauge "+c.gauge+", read 1.79 barg, by anna" {
				t.Errorf("%+v, %q", v, v.String())
			}
			var warned []string
			for _, w := range config.Warnings {
				if strings.Contains(w.Key, "verified") {
					warned = append(warned, w.Error())
				}
			}
			if (c.warning == "") != (len(warned) == 0) || !strings.Contains(strings.Join(warned, "\n"), c.warning) {
				t.Errorf("warned of %q, want %q", warned, c.warning)
			}
			if in := config.Inputs[0]; in.Line != 11 || !strings.HasPrefix(in.Text, "suction_pressure = {") {
				t.Errorf("%+v", in)
			}
		})
	}
}
