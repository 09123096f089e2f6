package alert

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// instant is one row of a compressor and a circuit, ten seconds after the row before.
type instant struct {
	phase     frame.Phase
	quality   reading.Quality
	superheat units.Kelvin
	stage     frame.Stage
}

func totalsOf(rows []instant) []Totals {
	t := NewTracker(testSite())
	for i, r := range rows {
		at := start.Add(time.Duration(i) * 10 * time.Second)
		t.Step(analyze.Result{Time: at, Stages: []frame.Stage{r.stage}, States: []analyze.State{
			{Time: at, Group: "mt", Name: "c1", Phase: r.phase, Quality: r.quality, Superheat: r.superheat},
		}})
	}
	return t.Totals()
}

// Each watched second belongs to the phase that held when it began, and all of
// them together are the time watched.
func TestPhaseSecondsAddUp(t *testing.T) {
	got := totalsOf([]instant{{phase: frame.Off}, {phase: frame.Start}, {phase: frame.Steady}, {phase: frame.Steady}, {phase: frame.Unknown}, {phase: frame.Steady}})[0]
	want := map[string]float64{"off": 10, "start": 10, "steady": 20, "unknown": 10}
	if diff := cmp.Diff(want, got.PhaseSeconds); diff != "" {
		t.Error(diff)
	}
	if got.RunningSeconds != 30 {
		t.Errorf("%v s running, want those of start and steady, 30 s", got.RunningSeconds)
	}
}

func TestLowestInPulldown(t *testing.T) {
	pulldown := func(q reading.Quality, superheat float64) instant {
		return instant{phase: frame.Pulldown, quality: q, superheat: units.Kelvin(superheat)}
	}
	steady := instant{phase: frame.Steady, quality: reading.Good, superheat: 1}
	unknown := math.NaN()
	for name, test := range map[string]struct {
		rows []instant
		want *float64
	}{
		"none yet":              {[]instant{steady, steady}, nil},
		"goes on":               {[]instant{steady, pulldown(reading.Good, 5)}, nil},
		"over":                  {[]instant{steady, pulldown(reading.Good, 5), pulldown(reading.Good, 4.2), pulldown(reading.Good, 6), steady}, known(4.2)},
		"the last one":          {[]instant{pulldown(reading.Good, 4), steady, pulldown(reading.Good, 7), steady}, known(7)},
		"a doubtful superheat":  {[]instant{pulldown(reading.Good, 8), pulldown(reading.Suspect, 2), steady}, known(8)},
		"the last one unknown":  {[]instant{pulldown(reading.Good, 4), steady, pulldown(reading.Missing, unknown), steady}, nil},
		"ended by a stop":       {[]instant{pulldown(reading.Good, 3), {phase: frame.Off}}, known(3)},
		"next defrost cuts off": {[]instant{pulldown(reading.Good, 3), {phase: frame.Defrost, quality: reading.Good, superheat: 2}}, known(3)},
	} {
		if diff := cmp.Diff(test.want, totalsOf(test.rows)[0].LowestInPulldownK); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// A defrost counts when it begins, and not again where a restart meets it.
func TestDefrostsCountOnce(t *testing.T) {
	var rows []instant
	for _, s := range []frame.Stage{frame.StageUnknown, frame.Defrosting, frame.Dripping, frame.PullingDown, frame.Refrigerating,
		frame.Defrosting, frame.Defrosting, frame.Dripping, frame.Refrigerating, frame.StageUnknown, frame.Defrosting, frame.PullingDown, frame.Defrosting} {
		rows = append(rows, instant{phase: frame.Steady, stage: s})
	}
	totals := totalsOf(rows)
	got := totals[len(totals)-1]
	if got.Circuit != "case-1" || got.Defrosts != 2 {
		t.Errorf("%+v, want 2 defrosts of case-1", got)
	}
}

// A closed floodback counts by its first circuit and cause, the open one does not.
func TestCausesOfClosedFloodbacks(t *testing.T) {
	f := newHarness()
	f.run(5, 10*time.Second, floodback.Present, -1)
	last := func() Totals { all := f.tracker.Totals(); return all[len(all)-1] }
	if got := last().Causes; got != nil {
		t.Errorf("%v while the event is open", got)
	}
	f.run(14, 10*time.Second, floodback.Clear, 5)
	if diff := cmp.Diff(map[string]uint64{"valve_oversized": 1}, last().Causes); diff != "" {
		t.Error(diff)
	}
}
