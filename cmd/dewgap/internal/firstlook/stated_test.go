package firstlook

import (
	"strings"
	"testing"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
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
	item := func(likely, remedy, becomes string) *evidence.Item {
		i := evidence.New("misconfigured", evidence.Name("likely_code", likely), evidence.Name("remedy_code", remedy))
		if becomes != "" {
			i.Values = append(i.Values, evidence.Name("becomes", becomes))
		}
		return &i
	}
	likely := func(part string, code evidence.Code) *evidence.Item {
		i := evidence.New("below_saturation", evidence.Part(part, code))
		return &i
	}
	for _, c := range []struct {
		name  string
		point int
		why   *evidence.Item
		want  []string // the changed keys, by remedy
		lines []int
	}{
		{"nothing", line, nil, nil, nil},
		{"no key explains it", line, likely("line", evidence.LineReadsLow), nil, nil},
		{"unit", pressure, item("psi_taken_for_bar", "remedy_unit", "psig"), []string{`unit = "psig" }`}, []int{10}},
		{"unit of nothing known", pressure, item("gauge_taken_for_absolute", "remedy_unit", "gauge"), nil, nil},
		{"scale", pressure, item("pressure_too_large", "remedy_scale", "0.1"), []string{"scale = 0.001,"}, []int{10}},
		{"scale that is not there", line, item("temperature_too_large", "remedy_scale", "0.1"), []string{`unit = "degC", scale = 0.1 }`}, []int{14}},
		{"type", line, item("signed_taken_for_unsigned", "remedy_type", "int16"), []string{`type = "int16", unit`}, []int{14}},
		{"exchange", pressure, item("pressures_exchanged", "remedy_exchange", ""), []string{`suction_pressure = { modbus = "io", unit_id = 1, input = 1,`, `discharge_pressure = { modbus = "io", unit_id = 1, input = 0,`}, []int{10, 11}},
		{"exchange with what the site has not", line, item("line_and_discharge_exchanged", "remedy_exchange", ""), nil, nil},
		{"gauge", pressure, likely("pressure", evidence.AbsoluteTakenForGauge), []string{`unit = "bara" }`}, []int{10}},
		{"psi", pressure, likely("pressure", evidence.PsiTakenForBar), []string{`unit = "psig" }`}, []int{10}},
		{"a pressure that a line shows", line, likely("pressure", evidence.PsiTakenForBar), []string{`unit = "psig" }`}, []int{10}},
		{"fahrenheit", line, likely("line", evidence.FahrenheitTakenForCelsius), []string{`unit = "degF" }`}, []int{14}},
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
