package analyze

import (
	"fmt"
	"strings"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
)

// The evidence lists thirty inputs and counts the rest; a source that delivers one
// input only is that input's matter; without a source the group is named.
func TestSilencesAreDescribed(t *testing.T) {
	var points []reading.Point
	for i := range 32 {
		points = append(points, reading.Point{Path: fmt.Sprintf("mt.case-%d.defrost", i), Group: "mt"})
	}
	points = append(points, reading.Point{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure, Source: "lone"})
	all := silences(points)
	if len(all) != 1 || all[0].what.Code != evidence.GroupSilent || len(all[0].inputs) != 32 {
		t.Fatalf("%+v", all)
	}
	list := all[0].what.Word("inputs")
	if !strings.HasSuffix(list, "mt.case-29.defrost, 2 more") || strings.Count(list, ", ") != 30 {
		t.Error(list)
	}
}
