package config

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const least = `
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

// The README shows every criterion with its default.
func TestReadmeShowsTheCriteria(t *testing.T) {
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, found := strings.Cut(string(readme), "```toml\n[commissioning]\n")
	table, _, _ = strings.Cut(table, "```")
	if !found {
		t.Fatal("no [commissioning] in the README")
	}
	shown, err := Parse("README.md", []byte("[commissioning]\n"+table+least))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(defaultCommissioning(), shown.Commissioning); diff != "" {
		t.Error(diff)
	}
	for key := range strings.Lines(table) {
		name, _, _ := strings.Cut(key, " ")
		without := strings.Replace(table, key, "", 1)
		if c, err := Parse("README.md", []byte("[commissioning]\n"+without+least)); err != nil || !cmp.Equal(c.Commissioning, shown.Commissioning) {
			t.Errorf("without %s: %v", name, err)
		}
	}
	if n := strings.Count(table, "\n"); n != 13 {
		t.Errorf("the README shows %d criteria", n)
	}
}

func TestCommissioningIsRead(t *testing.T) {
	c, err := Parse("site.toml", []byte("[commissioning]\nbelow_floor = \"10 s\"\nsump_over_dew = \"27 F\"\nsteady_above = \"95.5 %\"\npasses = 1\nremark_only = []\n"+least))
	if err != nil {
		t.Fatal(err)
	}
	got := c.Commissioning
	if got.BelowFloor.Seconds() != 10 || got.SumpOverDew != 15 || got.SteadyAbove != 0.955 || got.Passes != 1 || len(got.RemarkOnly) != 0 || got.Known != 0.98 {
		t.Errorf("%+v", got)
	}
}
