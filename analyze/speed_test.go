package analyze_test

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// benchOf is a bench with other inputs: suction pressure, suction temperature,
// a witness of running and one more, in this order.
func benchOf(t *testing.T, paths ...string) *bench {
	t.Helper()
	fluid, err := refrigerant.Lookup("R513A")
	if err != nil {
		t.Fatal(err)
	}
	site := analyze.Site{Name: "bench", Atmosphere: units.StandardAtmosphere, Groups: []analyze.Group{{
		Name: "mt", Refrigerant: fluid, Ambient: units.Celsius(math.NaN()),
		Compressors: []analyze.Compressor{{Name: "c1"}}, Circuits: []analyze.Circuit{{Name: "case-1"}},
	}}}
	for _, path := range paths {
		p, err := reading.ParsePath(path)
		if err != nil {
			t.Fatal(err)
		}
		site.Points = append(site.Points, p)
	}
	engine, err := analyze.New(site)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{t: t, fluid: fluid, engine: engine, now: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}
}

// Where nothing else shows it, a compressor runs above 5 % of its full speed
// (common practice, no source).
func TestSpeedShowsRunning(t *testing.T) {
	b := benchOf(t, "mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.speed", "mt.case-1.coil_inlet_temperature")
	for _, c := range []struct {
		minutes, speed float64
		want           frame.Phase
	}{
		{3, 0, frame.Off},
		{1, 5, frame.Off},
		{1, 5.1, frame.Start},
		{3, 60, frame.Steady},
		{1, 4.9, frame.Off},
	} {
		r := b.feed(c.minutes, -10, 12, c.speed, -10)
		if got := r.States[0].Phase; got != c.want {
			t.Errorf("speed %g %%: phase %v, want %v", c.speed, got, c.want)
		}
	}
}

// A running signal stands before the speed.
func TestRunningStandsBeforeSpeed(t *testing.T) {
	b := benchOf(t, "mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running", "mt.c1.speed")
	if r := b.feed(3, -10, 12, 0, 70); r.States[0].Phase != frame.Off {
		t.Errorf("stopped at a speed of 70 %%: phase %v", r.States[0].Phase)
	}
	if r := b.feed(4, -10, 12, 1, 0); r.States[0].Phase != frame.Steady {
		t.Errorf("running at a speed of 0 %%: phase %v", r.States[0].Phase)
	}
}
