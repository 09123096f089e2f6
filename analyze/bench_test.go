package analyze_test

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// BenchmarkObserve is one row of a single unit with running and defrost
// signals in steady running, a reading a row for each input, one row each 5 s.
func BenchmarkObserve(b *testing.B) {
	fluid, err := refrigerant.Lookup("R513A")
	if err != nil {
		b.Fatal(err)
	}
	site := analyze.Site{Name: "bench", Atmosphere: units.StandardAtmosphere, Groups: []analyze.Group{{
		Name: "mt", Refrigerant: fluid, Ambient: units.Celsius(math.NaN()),
		Compressors: []analyze.Compressor{{Name: "c1"}}, Circuits: []analyze.Circuit{{Name: "case-1"}},
	}}}
	for _, path := range []string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running", "mt.case-1.defrost"} {
		p, err := reading.ParsePath(path)
		if err != nil {
			b.Fatal(err)
		}
		site.Points = append(site.Points, p)
	}
	engine, err := analyze.New(site)
	if err != nil {
		b.Fatal(err)
	}
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	row := reading.Row{Readings: make([]reading.Reading, len(site.Points))}
	for p := range row.Readings {
		row.Readings[p] = reading.Reading{Point: p, Quality: reading.Good}
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		at = at.Add(5 * time.Second)
		row.Time = at
		wobble := float64(i % 7)
		for p, v := range []float64{221325 + 100*wobble, 3 + 0.1*wobble, 1, 0} {
			row.Readings[p].Time, row.Readings[p].Value = at, v
		}
		engine.Observe(&row)
	}
	b.ReportMetric(float64(b.N)*5/86400/b.Elapsed().Seconds(), "compressor-days/s")
}
