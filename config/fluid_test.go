package config

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// A maker's table made from the R448A tables at 5 K steps must give R448A's
// dew temperatures again, within the error that it states.
func TestMakersTable(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	rows := "temperature:degC,dew:bara,bubble:bara\n"
	for at := units.Celsius(-50); at <= 30; at += 5 {
		dew, err1 := fluid.DewPressure(at)
		bubble, err2 := fluid.BubblePressure(at)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		rows += fmt.Sprintf("%g,%.5f,%.5f\n", float64(at), float64(dew)/1e5, float64(bubble)/1e5)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "blend.csv"), []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := Parse(filepath.Join(folder, "site.toml"), []byte("[[refrigerant]]\nname = \"blend-1\"\ntable = \"blend.csv\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"blend-1\"\n[[suction_group.compressor]]\nname = \"c1\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	own := c.Site.Groups[0].Refrigerant
	got, err1 := own.Dew(2.8e5)
	want, err2 := fluid.Dew(2.8e5)
	if err1 != nil || err2 != nil || math.Abs(float64(got-want)) > float64(own.Uncertainty())+0.01 {
		t.Errorf("dew %v, want %v ± %v (%v, %v)", got, want, own.Uncertainty(), err1, err2)
	}
	var plan strings.Builder
	if err := c.WritePlan(&plan); err != nil || !strings.Contains(plan.String(), "from a maker's table") {
		t.Error(err, plan.String())
	}
}
