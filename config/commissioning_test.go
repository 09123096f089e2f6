package config

import "testing"

const minimal = `
[site]
name = "demo"
altitude = "0 m"
[[suction_group]]
name = "mt"
refrigerant = "R513A"
  [[suction_group.compressor]]
  name = "c1"
  [[suction_group.circuit]]
  name = "case-1"
`

func TestCommissioningIsRead(t *testing.T) {
	c, err := Parse("site.toml", []byte("[commissioning]\nbelow_floor = \"10 s\"\nsump_over_dew = \"27 F\"\nsteady_above = \"95.5 %\"\npasses = 1\nremark_only = []\n"+minimal))
	if err != nil {
		t.Fatal(err)
	}
	got := c.Commissioning
	if got.BelowFloor.Seconds() != 10 || got.SumpOverDew != 15 || got.SteadyAbove != 0.955 || got.Passes != 1 || len(got.RemarkOnly) != 0 || got.Known != 0.98 {
		t.Errorf("%+v", got)
	}
}
