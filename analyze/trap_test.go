package analyze_test

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// bench is an invented single unit of R513A behind the whole engine.
type bench struct {
	t      *testing.T
	fluid  *refrigerant.Fluid
	engine *analyze.Engine
	row    reading.Row
	now    time.Time
}

var benchPoints = []string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c1.running", "mt.c1.discharge_temperature"}

func newBench(t *testing.T) *bench {
	fluid, err := refrigerant.Lookup("R513A")
	if err != nil {
		t.Fatal(err)
	}
	site := analyze.Site{Name: "bench", Atmosphere: units.StandardAtmosphere, Groups: []analyze.Group{{
		Name: "mt", Refrigerant: fluid, Ambient: units.Celsius(math.NaN()), Compressors: []analyze.Compressor{{Name: "c1"}},
	}}}
	for _, path := range benchPoints {
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

// feed gives samples, 5 s apart, of a dew temperature, a superheat as the pipe
// shows it, running and discharge, and returns what the last row told.
func (b *bench) feed(minutes, dew, superheat, running, hot float64) analyze.Result {
	b.t.Helper()
	p, err := b.fluid.DewPressure(units.Celsius(dew))
	if err != nil {
		b.t.Fatal(err)
	}
	var result analyze.Result
	for i := range int(minutes * 12) {
		b.now = b.now.Add(5 * time.Second)
		wobble := 0.1 * float64(i%3)
		b.row.Time, b.row.Readings = b.now, b.row.Readings[:0]
		for point, v := range []float64{float64(p) * (1 + 0.001*wobble), dew + superheat + wobble, running, hot + wobble} {
			b.row.Readings = append(b.row.Readings, reading.Reading{Point: point, Time: b.now, Value: v, Quality: reading.Good})
		}
		result = b.engine.Observe(&b.row)
	}
	return result
}

func present(r analyze.Result, kind floodback.Kind) (analyze.Finding, bool) {
	for _, f := range r.Findings {
		if f.Kind == kind && f.Verdict == floodback.Present {
			return f, true
		}
	}
	return analyze.Finding{}, false
}

// TestTrap35OffAndStart: a stopped compressor has no superheat, and what its
// pipe reads in the first two minutes of a run is no floodback (contract, §5).
func TestTrap35OffAndStart(t *testing.T) {
	b := newBench(t)
	r := b.feed(10, 5, -1, 0, 30)
	if st := r.States[0]; st.Phase != frame.Off || !math.IsNaN(float64(st.Superheat)) || !math.IsNaN(float64(st.Margin)) {
		t.Errorf("off: %v, superheat %v, margin %v", st.Phase, st.Superheat, st.Margin)
	}
	r = b.feed(1.5, -10, 0, 1, 35)
	if _, ok := present(r, floodback.Floodback); ok || r.States[0].Phase != frame.Start {
		t.Errorf("90 s after the start: phase %v, floodback %v", r.States[0].Phase, ok)
	}
	r = b.feed(3, -10, 0, 1, 35)
	if _, ok := present(r, floodback.Floodback); !ok {
		t.Errorf("four minutes after the start wet gas is floodback; phase %v, %+v", r.States[0].Phase, r.Findings)
	}
}

// TestTrap36DoubtDoesNotHideFloodback: a clamp that came loose is a sensor
// fault, and its superheat is suspect; wet gas that shows all the same is
// floodback, since a loose clamp only reads high. Dry readings of it clear
// nothing.
func TestTrap36DoubtDoesNotHideFloodback(t *testing.T) {
	b := newBench(t)
	b.feed(60, -10, 12, 1, 70)
	r := b.feed(10, -10, 20, 1, 70)
	f, ok := present(r, floodback.SensorFault)
	if !ok || f.Evidence[1].Code != evidence.Moved || f.Input != 1 {
		t.Fatalf("no sensor fault: %+v", r.Findings)
	}
	if st := r.States[0]; st.Quality != reading.Suspect || st.Reason.Code != evidence.Moved {
		t.Errorf("quality %v, reason %v", st.Quality, st.Reason)
	}
	r = b.feed(3, -10, 6, 1, 45)
	if _, ok := present(r, floodback.Floodback); !ok {
		t.Errorf("hidden: %+v", r.Findings)
	}
	r = b.feed(20, -10, 20, 1, 70)
	told := false
	for _, f := range r.Findings {
		told = told || f.Kind == floodback.Floodback && f.Verdict == floodback.Unknown
	}
	if !told {
		t.Errorf("a doubted superheat decided: %+v", r.Findings)
	}
}

// TestTrap42SensorThatReadsLowIsNoFloodback: the pipe falls to 17 K below dew
// while the discharge stays: the sensor is wrong, and the superheat decides
// nothing.
func TestTrap42SensorThatReadsLowIsNoFloodback(t *testing.T) {
	b := newBench(t)
	b.feed(60, -10, 12, 1, 70)
	r := b.feed(10, -10, -17, 1, 70)
	if f, ok := present(r, floodback.SensorFault); !ok || f.Input != 1 {
		t.Errorf("no sensor fault: %+v", r.Findings)
	}
	if _, ok := present(r, floodback.Floodback); ok {
		t.Errorf("floodback from a sensor that cannot be right: %+v", r.Findings)
	}
}

// TestTrap37PressureDoubtedDecidesNothing: a suction pressure that steps up by
// one atmosphere makes every superheat of the group suspect, and none decides.
func TestTrap37PressureDoubtedDecidesNothing(t *testing.T) {
	b := newBench(t)
	b.feed(60, -10, 12, 1, 70)
	p, err := b.fluid.DewPressure(-10)
	if err != nil {
		t.Fatal(err)
	}
	dew, err := b.fluid.Dew(p + units.StandardAtmosphere)
	if err != nil {
		t.Fatal(err)
	}
	r := b.feed(15, float64(dew), 2-float64(dew), 1, 70)
	f, ok := present(r, floodback.SensorFault)
	if !ok || f.Input != 0 || f.Evidence[1].Word("likely_code") != string(evidence.GaugeAndAbsoluteSwap) {
		t.Errorf("no sensor fault of the pressure: %+v", r.Findings)
	}
	if r.States[0].Quality != reading.Suspect {
		t.Errorf("quality %v", r.States[0].Quality)
	}
	if _, ok := present(r, floodback.Floodback); ok {
		t.Errorf("floodback from a pressure that cannot be right: %+v", r.Findings)
	}
}
