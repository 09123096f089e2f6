package inspection

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

var t0 = time.Date(2026, 5, 30, 6, 0, 0, 0, time.UTC)

func site(t *testing.T, kind frame.CompressorKind) analyze.Site {
	t.Helper()
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	return analyze.Site{Name: "heron market", Groups: []analyze.Group{{
		Name: "lt", Refrigerant: fluid, Compressors: []analyze.Compressor{{Name: "c1", Kind: kind}, {Name: "c2", Kind: kind}}, Circuits: []analyze.Circuit{{Name: "island"}},
	}}}
}

// event returns a closed event that began at hours after t0 and lasted so long.
func event(kind, severity, compressor string, hours, lasted float64) alert.Event {
	began := t0.Add(time.Duration(hours * float64(time.Hour)))
	closed := began.Add(time.Duration(lasted * float64(time.Hour)))
	return alert.Event{
		ID: kind + began.Format("-20060102T150405"), Kind: kind, Severity: severity, Group: "lt", Compressor: compressor, Phase: "steady",
		Began: began, Opened: began, Closed: &closed, SecondsBelow: lasted * 3600, KelvinSecondsBelow: lasted * 7200,
	}
}

func TestEventsAreSorted(t *testing.T) {
	withdrawn := event("floodback", "minor", "c2", 3, 1)
	withdrawn.Withdrawn = &evidence.Item{Code: evidence.Sentence, Text: "the sensor was loose"}
	open := event("floodback", "risk", "c2", 50, 1)
	open.Closed = nil
	shared := event("sensor_fault", "warning", "", 1, 4)
	shared.Input = "lt.suction_pressure"
	overlapping := event("no_data", "warning", "c2", 2, 5) // of them, 2 h are new
	overlapping.Input = "lt.c2.suction_temperature"
	coil := event("sensor_fault", "warning", "", 1, 4)
	coil.Input = "lt.island.coil_outlet_temperature"
	r, err := New(Input{Site: site(t, frame.Scroll), Group: "lt", Compressor: "c2", Since: t0, Events: []alert.Event{
		event("floodback", "major", "c2", -30, 1), // ended before
		event("floodback", "minor", "c2", -0.5, 1),
		event("floodback", "major", "c1", 0, 1), // of another machine
		shared, coil, overlapping, withdrawn,
		event("flooded_start", "warning", "c2", 20, 1), event("high_superheat", "notice", "c2", 21, 1), event("hunting", "notice", "c2", 22, 1),
		event("floodback", "major", "c2", 30, 2), open,
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []struct {
		what      string
		got, want int
	}{
		{"floodbacks", len(r.Floodbacks), 3}, {"flooded starts", len(r.FloodedStarts), 1}, {"high superheat", len(r.HighSuperheat), 1}, {"hunting", len(r.Hunting), 1},
		{"doubts", len(r.Doubts), 2}, {"withdrawn", len(r.Withdrawn), 1}, {"months", len(r.Months), 2},
	} {
		if n.got != n.want {
			t.Errorf("%s: %d, want %d", n.what, n.got, n.want)
		}
	}
	if want := (Part{Events: 3, Seconds: 4 * 3600, KelvinSeconds: 8 * 3600}); r.Exposure != want {
		t.Errorf("exposure %+v, want %+v: the withdrawn event is no part of it", r.Exposure, want)
	}
	if got := r.doubtSeconds(); got != 6*3600 {
		t.Errorf("inputs in doubt for %g s, want 6 h: overlapping times count once", got)
	}
	if r.Longest[0] != r.Floodbacks[1].ID || r.Worst[0] != r.Floodbacks[1].ID {
		t.Errorf("longest %v, worst %v", r.Longest, r.Worst)
	}
	limits := strings.Join(r.CannotShow, "\n")
	for _, want := range []string{"ended before", "proved false", "still open", "There is no recording", "no exposure ledger", "6 h"} {
		if !strings.Contains(limits, want) {
			t.Errorf("what the record cannot show lacks %q:\n%s", want, limits)
		}
	}
	if _, err := New(Input{Site: site(t, 0), Group: "lt", Compressor: "c3"}); err == nil || !strings.Contains(err.Error(), "lt/c2") {
		t.Errorf("a compressor that is not there: %v", err)
	}
}

// Parts by severity, phase and month add up to the exposure, whatever the events.
func TestPartsAddUp(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 7))
	severities, phases := []string{"risk", "minor", "major"}, []string{"steady", "pulldown", "defrost", "unknown", "start"}
	for range 50 {
		var events []alert.Event
		for range random.IntN(40) {
			ev := event("floodback", severities[random.IntN(3)], "c2", float64(random.IntN(4000)), float64(1+random.IntN(5)))
			ev.Phase = phases[random.IntN(len(phases))]
			events = append(events, ev)
		}
		r, err := New(Input{Site: site(t, 0), Group: "lt", Compressor: "c2", Events: events})
		if err != nil {
			t.Fatal(err)
		}
		var months []Part
		for _, m := range r.Months {
			months = append(months, m.Part)
		}
		for what, parts := range map[string][]Part{"severity": r.BySeverity, "phase": r.ByPhase, "month": months} {
			sum := Part{}
			for _, p := range parts {
				sum.Events, sum.Seconds, sum.KelvinSeconds = sum.Events+p.Events, sum.Seconds+p.Seconds, sum.KelvinSeconds+p.KelvinSeconds
			}
			if sum != r.Exposure || sum.Events != len(events) {
				t.Fatalf("by %s: %+v, the %d events %+v", what, sum, len(events), r.Exposure)
			}
		}
	}
}

// Each kind of machine has signs of its own; a kind that is not stated has all.
// Sources of the first damage: common practice, no source.
func TestSignsFollowTheKind(t *testing.T) {
	own := map[frame.CompressorKind]string{
		frame.Scroll: "Upper bearing", frame.AirCooledSemiHermetic: "Pistons and cylinder walls washed", frame.RefrigerantCooledSemiHermetic: "Vertical play of the crankshaft",
	}
	for kind := range frame.RefrigerantCooledSemiHermetic + 1 {
		r, err := New(Input{Site: site(t, kind), Group: "lt", Compressor: "c1"})
		if err != nil {
			t.Fatal(err)
		}
		inside := strings.Join(r.Signs[0].Inside, "\n")
		for of, sign := range own {
			if has := strings.Contains(inside, sign); has != (of == kind || kind == 0) {
				t.Errorf("kind %q: %q is there: %t", r.Kind, sign, has)
			}
		}
	}
}

type machines []analyze.Machine

func (m machines) Machines(dst []analyze.Machine) []analyze.Machine { return append(dst, m...) }

// TestObserved plays rows of 10 s: an hour off, two hours running with the sump 15 K
// and then 9 K above dew, the second with a hot discharge, and a gap of an hour.
func TestObserved(t *testing.T) {
	o := NewObserved(0)
	at := t0
	run := func(d time.Duration, phase frame.Phase, sump, discharge, superheat float64) {
		for end := at.Add(d); at.Before(end); at = at.Add(10 * time.Second) {
			st := analyze.State{Time: at, Phase: phase, Quality: reading.Good, Superheat: units.Kelvin(superheat), Floor: 8, Dew: -30, SuctionTemperature: units.Celsius(superheat - 30), Uncertainty: 2}
			o.Add(analyze.Result{Time: at, States: []analyze.State{st}}, machines{{Sump: units.Celsius(sump - 30), Discharge: units.Celsius(discharge)}})
		}
	}
	run(time.Hour, frame.Off, 0, 30, math.NaN())
	run(time.Hour, frame.Steady, 15, 80, 12)
	run(time.Hour, frame.Steady, 9, 110, 2)
	at = at.Add(time.Hour)
	run(10*time.Second, frame.Steady, 9, 110, 2)
	w := o.recorded()
	for _, x := range []struct {
		what      string
		got, want float64
	}{
		{"watched", w.WatchedSeconds, 3*3600 - 10}, {"running", w.RunningSeconds, 2*3600 - 10}, {"starts", float64(w.Starts), 1},
		{"sump known", w.SumpSeconds, 2*3600 - 10}, {"sump near dew", w.SumpNearSeconds, 3600 - 10}, {"lowest sump", *w.LowestSumpOverDewK, 9},
		{"hot", w.DischargeHotSeconds, 3600 - 10}, {"hottest", *w.HighestDischargeC, 110}, {"gap", w.GapSeconds, 3610},
	} {
		if math.Abs(x.got-x.want) > 1e-6 {
			t.Errorf("%s: %g, want %g", x.what, x.got, x.want)
		}
	}
	ev := event("floodback", "minor", "c1", 2, 1)
	trace, ok := o.trace(&ev)
	if !ok || len(trace.Times) > traceBins+1 {
		t.Fatalf("trace of %d stretches, %t", len(trace.Times), ok)
	}
	low, unknown := false, false
	for _, v := range trace.Lowest {
		low, unknown = low || v == 2, unknown || v != v
	}
	if !low || !unknown {
		t.Errorf("the trace shows the lowest superheat: %t, and what is not known: %t", low, unknown)
	}
	if trace.Times[0].After(ev.Began.Add(-traceMargin)) {
		t.Errorf("the trace begins at %s", trace.Times[0])
	}
	ev = event("floodback", "minor", "c1", 200, 1)
	if _, ok := o.trace(&ev); ok {
		t.Error("a trace of an event that no recording covers")
	}
}
