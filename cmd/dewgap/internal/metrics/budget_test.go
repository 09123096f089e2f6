package metrics

import (
	"strings"
	"testing"
	"time"

	uncertain "dewgap/analyze/superheat"
)

// TestUncertaintyByPart: each part as expanded, and nothing for a compressor
// without superheat.
func TestUncertaintyByPart(t *testing.T) {
	s := exampleSnapshot()
	s.Budgets = []uncertain.Budget{{
		Parts: []uncertain.Part{{Name: "pressure", Standard: 0.9}, {Name: "mounting", Standard: 0.5}},
		Lag:   uncertain.LagSource{Lag: 20 * time.Second, Assumed: true},
	}, {Parts: []uncertain.Part{{Name: "pressure", Standard: 7}}}}
	text := gathered(t, fixedBoard{s, 0}, "dewgap_superheat_uncertainty_part_kelvin", "dewgap_suction_sensor_lag_seconds")
	for _, want := range []string{
		`dewgap_superheat_uncertainty_part_kelvin{compressor="c1",group="mt",part="pressure",site="demo"} 1.8`,
		`dewgap_superheat_uncertainty_part_kelvin{compressor="c1",group="mt",part="mounting",site="demo"} 1`,
		`dewgap_suction_sensor_lag_seconds{compressor="c1",group="mt",site="demo",source="assumed"} 20`,
	} {
		if !strings.Contains(text, want+"\n") {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	if strings.Contains(text, `part_kelvin{compressor="c2"`) || strings.Contains(text, `lag_seconds{compressor="c2"`) {
		t.Error("a compressor without superheat has parts")
	}
}
