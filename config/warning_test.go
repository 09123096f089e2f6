package config

import (
	"strings"
	"testing"
)

// parse reads a site of one group with the lines given.
func parse(t *testing.T, before, group string) *Config {
	t.Helper()
	c, err := Parse("site.toml", []byte("[site]\nname = \"demo\"\naltitude = \"0 m\"\n"+before+`
[[suction_group]]
name = "mt"
refrigerant = "R448A"
`+group+`
  [[suction_group.compressor]]
  name = "c1"

  [[suction_group.circuit]]
  name = "case-1"
`))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestFloorBelowUncertaintyIsWarnedOf(t *testing.T) {
	// The expanded uncertainty of ±1 K and ±1 K rectangular limits alone is
	// 2·√(2/3) K = 1.6 K (JCGM 100:2008, 4.3.7 and 5.1.2).
	const sensors = "temperature_sensor = { accuracy = \"1 K\", mounting = \"1 K\", lag = \"20 s\" }\n"
	for _, c := range []struct {
		name, floor string
		want        []string // keys warned of
	}{
		{"both", `floor = { steady = "1.5 K", pulldown = "1.4 K" }`, []string{"floor.steady", "floor.pulldown"}},
		{"pulldown only", `floor = { steady = "11 K", pulldown = "1.5 K" }`, []string{"floor.pulldown"}},
		{"fahrenheit", `floor = { steady = "20 F", pulldown = "2.5 F" }`, []string{"floor.pulldown"}},
		{"none", `floor = { steady = "11 K", pulldown = "8 K" }`, nil},
		{"defaults", "", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			config := parse(t, "", c.floor+"\npressure_sensor = { accuracy = \"0.01 bar\" }\n"+sensors)
			var got []string
			for _, w := range config.Warnings {
				if !strings.Contains(w.Problem, "uncertainty of the superheat") {
					t.Error("unexpected:", w)
					continue
				}
				got = append(got, strings.TrimPrefix(w.Key, "suction_group[mt]."))
				if w.Line != 8 {
					t.Error("stands at line", w.Line)
				}
				if w.Remedy == "" {
					t.Error("no remedy:", w)
				}
			}
			if strings.Join(got, " ") != strings.Join(c.want, " ") {
				t.Errorf("warned of %v, want %v", got, c.want)
			}
		})
	}
}
