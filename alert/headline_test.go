package alert

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// stateRow is one row of a compressor by itself.
type stateRow struct {
	phase     frame.Phase
	superheat float64
	floor     float64
	verdict   floodback.Verdict
}

// eventOf plays rows, 10 s each, opens an event at the first and returns it as
// it stands after each row.
func eventOf(tr *Tracker, at time.Time, rows []stateRow) (events []Event) {
	for i, x := range rows {
		r := analyze.Result{Time: at.Add(time.Duration(i) * 10 * time.Second), States: []analyze.State{{
			Quality: reading.Good, Phase: x.phase, Superheat: units.Kelvin(x.superheat), Floor: units.Kelvin(x.floor), Margin: units.Kelvin(x.superheat - x.floor),
		}}}
		if x.verdict != floodback.Clear {
			r.Findings = []floodback.Finding{{Kind: floodback.Floodback, Input: -1, Verdict: x.verdict, Severity: floodback.Risk, Immediate: true,
				Evidence: []evidence.Item{evidence.New(evidence.InputConcerned, evidence.Name("input", "x"))}}}
		}
		tr.Step(r)
		if open := tr.Open(); len(open) > 0 {
			events = append(events, open[0])
		}
	}
	return events
}

func last(events []Event) Event { return events[len(events)-1] }

// The headline is of the event's own figures, whatever phases and floors it
// went through.
func TestHeadline(t *testing.T) {
	k := func(name string, v float64) evidence.Value { return evidence.Value{Name: name, Number: v} }
	in := func(p string) evidence.Value { return evidence.Name("phase", p) }
	other := evidence.New(evidence.InputConcerned, evidence.Name("input", "x"))
	for _, tc := range []struct {
		name string
		rows []stateRow
		want []evidence.Item
	}{
		{"one floor", []stateRow{{frame.Pulldown, 3, 8, present}, {frame.Pulldown, 0.64, 8, present}, {frame.Pulldown, 5, 8, present}}, []evidence.Item{
			evidence.New(evidence.SuperheatBelowFloor, k("min_superheat_k", 0.6), k("below_k", 7.4), k("floor_k", 8), in("pulldown")), other}},
		{"lowest after the floor has risen", []stateRow{{frame.Pulldown, 3, 8, present}, {frame.Steady, 0.6, 11, present}}, []evidence.Item{
			evidence.New(evidence.SuperheatBelowChangedFloor, k("min_superheat_k", 0.6), k("below_k", 10.4), k("floor_at_minimum_k", 11), in("steady"), k("floor_k", 8)), other}},
		{"lowest before, margin lowest after the floor has risen", []stateRow{{frame.Pulldown, 0.3, 8, present}, {frame.Steady, 0.6, 11, present}}, []evidence.Item{
			evidence.New(evidence.SuperheatBelowFloor, k("min_superheat_k", 0.3), k("below_k", 7.7), k("floor_k", 8), in("pulldown")),
			evidence.New(evidence.LowestMargin, k("min_margin_k", -10.4), k("superheat_at_min_margin_k", 0.6), k("floor_at_min_margin_k", 11), in("steady")), other}},
		{"the measured one stays above", []stateRow{{frame.Steady, 11.3, 11, present}}, []evidence.Item{
			evidence.New(evidence.SuperheatAboveFloor, k("min_superheat_k", 11.3), k("min_margin_k", 0.3), in("steady")), other}},
		{"exactly at the floor", []stateRow{{frame.Steady, 11, 11, present}}, []evidence.Item{
			evidence.New(evidence.SuperheatAboveFloor, k("min_superheat_k", 11), k("min_margin_k", 0), in("steady")), other}},
		{"nothing known", []stateRow{{frame.Steady, math.NaN(), 11, present}}, []evidence.Item{other}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got := last(eventOf(NewTracker(testSite()), start, tc.rows))
			if diff := cmp.Diff(tc.want, got.Evidence); diff != "" {
				t.Error(diff)
			}
			for _, i := range got.Evidence {
				if err := evidence.Check(i); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// Whatever the rows: the figures of the headline are those of the event, and
// they add up to the last digit but one rounding; a restart changes none.
func TestHeadlineAgreesWithTheEvent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(label string) (rows []stateRow) {
			n := rapid.IntRange(1, 12).Draw(t, label)
			for range n {
				x := stateRow{frame.Steady, float64(rapid.IntRange(-300, 2000).Draw(t, "superheat")) / 100, 11, present}
				if rapid.Bool().Draw(t, "pulldown") {
					x.phase, x.floor = frame.Pulldown, 8
				}
				rows = append(rows, x)
			}
			return rows
		}
		before, after := draw("before"), draw("after")
		tr := NewTracker(testSite())
		ev := last(eventOf(tr, start, before))
		again := NewTracker(testSite())
		again.Restore(tr.Open(), tr.Totals())
		if diff := cmp.Diff([]Event{ev}, again.Open()); diff != "" {
			t.Fatal(diff)
		}
		at := start.Add(time.Duration(len(before)) * 10 * time.Second)
		went, went2 := last(eventOf(tr, at, after)), last(eventOf(again, at, after))
		// The hold of the last row before the restart is not watched.
		went2.SecondsBelow, went2.KelvinSecondsBelow = went.SecondsBelow, went.KelvinSecondsBelow
		if diff := cmp.Diff(went.MinMarginK, went2.MinMarginK); diff != "" {
			t.Fatal(diff)
		}
		for _, e := range []Event{ev, went, went2} {
			if err := addsUp(&e); err != "" {
				t.Fatalf("%s: %+v", err, e.Evidence)
			}
		}
	})
}

// addsUp checks the headline of a floodback against the event's figures.
func addsUp(e *Event) string {
	near := func(a, b float64) bool { return math.Abs(a-b) < 0.11 }
	h := e.Evidence[0]
	floor := *e.FloorK
	switch h.Code {
	case evidence.SuperheatAboveFloor:
		if h.Number("min_margin_k") != *e.MinMarginK {
			return "margin"
		}
	case evidence.SuperheatBelowChangedFloor:
		floor = h.Number("floor_at_minimum_k")
		fallthrough
	case evidence.SuperheatBelowFloor:
		if h.Number("floor_k") != *e.FloorK {
			return "floor at opening"
		}
		if !near(h.Number("min_superheat_k"), floor-h.Number("below_k")) {
			return "superheat, floor and below"
		}
		margin := -h.Number("below_k")
		if len(e.Evidence) > 1 && e.Evidence[1].Code == evidence.LowestMargin {
			m := e.Evidence[1]
			if margin = m.Number("min_margin_k"); !near(margin, m.Number("superheat_at_min_margin_k")-m.Number("floor_at_min_margin_k")) {
				return "lowest margin"
			}
		}
		if margin != *e.MinMarginK {
			return "margin"
		}
	default:
		return "no headline"
	}
	if h.Number("min_superheat_k") != *e.MinSuperheatK {
		return "superheat"
	}
	return ""
}

// What counts as superheat at all: a machine that runs, and not in its first
// two minutes unless the finding is about that; of good or suspect quality.
func TestWhichRowsCount(t *testing.T) {
	for _, tc := range []struct {
		name    string
		phase   frame.Phase
		quality reading.Quality
		verdict floodback.Verdict
		want    bool
	}{
		{"steady, clear", frame.Steady, reading.Good, clearRow, true},
		{"pulldown, between", frame.Pulldown, reading.Good, between, true},
		{"defrost, clear", frame.Defrost, reading.Good, clearRow, true},
		{"suspect", frame.Steady, reading.Suspect, clearRow, true},
		{"start, clear", frame.Start, reading.Good, clearRow, false},
		{"unknown, clear", frame.Unknown, reading.Good, clearRow, false},
		{"start, present", frame.Start, reading.Good, present, true},
		{"off, present", frame.Off, reading.Good, present, false},
		{"stale", frame.Steady, reading.Stale, present, false},
		{"bad", frame.Steady, reading.Bad, present, false},
		{"missing", frame.Steady, reading.Missing, present, false},
	} {
		x := newFigures()
		x.measure(&analyze.State{Phase: tc.phase, Quality: tc.quality, Superheat: 3, Floor: 8, Margin: -5}, tc.verdict, time.Second)
		if got := !math.IsNaN(x.lowest.superheat) && x.below == 5; got != tc.want {
			t.Errorf("%s: %+v, want counted %v", tc.name, x, tc.want)
		}
	}
}
