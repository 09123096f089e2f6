package analyze_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
)

// What cannot be judged follows from the interval between readings and from the
// inputs there are (trap 63: a site that is polled each 60 s).
func TestTrap63WhatCannotBeJudged(t *testing.T) {
	all := []string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.discharge_temperature", "mt.case-1.defrost"}
	for _, c := range []struct {
		interval time.Duration
		inputs   []string
		want     string
	}{
		{time.Second, all, ""},
		{10 * time.Second, all, ""},
		{15 * time.Second, all, "short_dips"}, // three readings are more than the 30 s of a pulldown
		{20 * time.Second, all, "short_dips"}, // six readings a period: two minutes
		{30 * time.Second, all, "hunting short_dips"},
		{time.Minute, all, "hunting short_dips"},
		{time.Second, slices.Delete(slices.Clone(all), 2, 3), "wetness"},
		{time.Second, all[:3], "defrosts"},
		{time.Second, append(slices.Clone(all[:3]), "mt.case-1.coil_outlet_temperature"), ""},
		{time.Minute, all[:2], "hunting short_dips wetness defrosts"},
	} {
		b := benchOf(t, c.inputs...)
		var limits []analyze.Limit
		for range 12 {
			b.now = b.now.Add(c.interval)
			row := reading.Row{Time: b.now}
			for i, value := range []float64{2.2e5, 2} {
				row.Readings = append(row.Readings, reading.Reading{Point: i, Time: b.now, Value: value, Quality: reading.Good})
			}
			limits = b.engine.Observe(&row).Limits
		}
		var got []string
		for _, l := range limits {
			got = append(got, l.What)
			if l.Group != "mt" || l.Compressor != "c1" {
				t.Errorf("%+v", l)
			}
			if err := evidence.Check(l.Reason); err != nil {
				t.Error(err)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("read each %v with %v: %q, want %q", c.interval, c.inputs, got, c.want)
		}
	}
}
