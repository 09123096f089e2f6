package commissioning

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"dewgap/analyze/reading"
	"dewgap/config"
)

// TestSetComparisons: recorded inputs count, in their order; a switch is compared
// with nothing.
func TestSetComparisons(t *testing.T) {
	pressure := reading.Point{Path: "mt.suction_pressure", Role: reading.SuctionPressure}
	line := reading.Point{Path: "mt.c1.suction_temperature", Role: reading.SuctionTemperature}
	runs := reading.Point{Path: "mt.c1.running", Role: reading.Running}
	sump := reading.Point{Path: "mt.c1.sump_temperature", Role: reading.SumpTemperature}
	var r Record
	r.SetComparisons([]reading.Point{line, runs, pressure, sump}, []reading.Point{pressure, line, runs},
		[]config.Verification{{On: time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC), By: "anna", Gauge: "1.82 barg", Read: "1.79 barg"}, {}, {}})
	if d := cmp.Diff([]Comparison{{"mt.suction_pressure", "2026-11-30", "anna", "1.82 barg", "1.79 barg"}}, r.Compared); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"mt.c1.suction_temperature", "mt.c1.sump_temperature"}, r.NeverCompared); d != "" {
		t.Error(d)
	}
}
