package firstlook

import (
	"strings"
	"testing"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/sensorcheck"
	"dewgap/config"
)

const site = `[site]
name = "demo"
altitude = "0 m"
[[modbus]]
name = "io"
address = "192.0.2.10:502"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { modbus = "io", unit_id = 1, input = 0, type = "int16", scale = 0.01, unit = "barg" }
discharge_pressure = { modbus = "io", unit_id = 1, input = 1, type = "int16", scale = 0.01, unit = "barg" } # high side
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "io", unit_id = 1, input = 2, type = "uint16", unit = "degC" }
  [[suction_group.circuit]]
  name = "case-1"
`

// TestRemedies: what a finding states becomes a line of the file, and the file with
// that line is accepted.
func TestRemedies(t *testing.T) {
	const pressure, line = 0, 2
	other := map[int]int{pressure: 1}
	named := func(point int, kind evidence.Code, r sensorcheck.Remedy) *sensorcheck.Misconfiguration {
		return &sensorcheck.Misconfiguration{Point: point, Other: other[point], Kind: kind, Remedy: r}
	}
	likely := func(part string, code evidence.Code) *evidence.Item {
		i := evidence.New("below_saturation", evidence.Part(part, code))
		return &i
	}
	for _, c := range []struct {
		name  string
		point int
		why   *evidence.Item
		named *sensorcheck.Misconfiguration
		want  []string // the changed keys, by remedy
		lines []int
	}{
		{"nothing", line, nil, nil, nil, nil},
		{"no key explains it", line, likely("line", evidence.LineReadsLow), nil, nil, nil},
		{"unit", pressure, nil, named(pressure, "psi_taken_for_bar", sensorcheck.Remedy{Key: "unit", Value: "psig"}), []string{`unit = "psig" }`}, []int{10}},
		{"unit of nothing known", pressure, nil, named(pressure, "gauge_taken_for_absolute", sensorcheck.Remedy{Key: "unit", Value: "gauge"}), nil, nil},
		{"scale", pressure, nil, named(pressure, "pressure_ten_times_too_large", sensorcheck.Remedy{Key: "scale", Factor: 0.1}), []string{"scale = 0.001,"}, []int{10}},
		{"scale that is not there", line, nil, named(line, "temperature_ten_times_too_large", sensorcheck.Remedy{Key: "scale", Factor: 0.1}), []string{`unit = "degC", scale = 0.1 }`}, []int{14}},
		{"type", line, nil, named(line, "signed_taken_for_unsigned", sensorcheck.Remedy{Key: "type", Value: "int16"}), []string{`type = "int16", unit`}, []int{14}},
		{"exchange", pressure, nil, named(pressure, "pressures_exchanged", sensorcheck.Remedy{Key: "exchange"}), []string{`suction_pressure = { modbus = "io", unit_id = 1, input = 1,`, `discharge_pressure = { modbus = "io", unit_id = 1, input = 0,`}, []int{10, 11}},
		{"gauge", pressure, likely("pressure", evidence.AbsoluteTakenForGauge), nil, []string{`unit = "bara" }`}, []int{10}},
		{"psi", pressure, likely("pressure", evidence.PsiTakenForBar), nil, []string{`unit = "psig" }`}, []int{10}},
		{"a pressure that a line shows", line, likely("pressure", evidence.PsiTakenForBar), nil, []string{`unit = "psig" }`}, []int{10}},
		{"fahrenheit", line, likely("line", evidence.FahrenheitTakenForCelsius), nil, []string{`unit = "degF" }`}, []int{14}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg, err := config.Parse("site.toml", []byte(site))
			if err != nil {
				t.Fatal(err)
			}
			l, err := New(cfg)
			if err != nil {
				t.Fatal(err)
			}
			l.result.Inputs = make([]analyze.Input, len(cfg.Site.Points))
			l.result.Inputs[c.point].Reason = c.why
			if c.named != nil {
				l.mistakes = []sensorcheck.Misconfiguration{*c.named}
			}
			got := l.remedies(c.point)
			if len(got) != len(c.want) {
				t.Fatalf("%+v", got)
			}
			fixed := strings.Split(site, "\n")
			for i, r := range got {
				if !strings.Contains(r.Paste, c.want[i]) || r.Line != c.lines[i] {
					t.Errorf("line %d becomes %q, want line %d with %q", r.Line, r.Paste, c.lines[i], c.want[i])
				}
				fixed[r.Line-1] = r.Paste
			}
			if _, err := config.Parse("site.toml", []byte(strings.Join(fixed, "\n"))); err != nil {
				t.Error(err)
			}
		})
	}
}
