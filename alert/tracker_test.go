package alert

import (
	"bytes"
	"math"
	"strings"
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

var start = time.Date(2026, 3, 1, 6, 40, 50, 0, time.UTC)

// testSite is invented: one group with two compressors.
func testSite() analyze.Site {
	return analyze.Site{
		Name: "demo",
		Groups: []analyze.Group{{
			Name:        "mt",
			Detect:      floodback.Settings{ClearHold: 90 * time.Second}, // findings bring 120 s
			Compressors: []analyze.Compressor{{Name: "c1"}, {Name: "c2"}},
			Circuits:    []analyze.Circuit{{Name: "case-1"}},
		}},
		Points: []reading.Point{
			{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
			{Path: "mt.c1.suction_temperature", Group: "mt", Member: "c1", Role: reading.SuctionTemperature},
		},
	}
}

// harness plays a series of rows for compressor c1 to a tracker.
type harness struct {
	tracker  *Tracker
	at       time.Time
	hold     time.Duration
	severity floodback.Severity
	changes  []Change
	lasted   time.Duration // of the next row's condition, before that row
}

func newHarness() *harness {
	return &harness{tracker: NewTracker(testSite()), at: start, hold: 30 * time.Second, severity: floodback.Minor}
}

// step takes one row, d after the row before.
func (f *harness) step(d time.Duration, v floodback.Verdict, margin float64) []Change {
	f.at = f.at.Add(d)
	r := analyze.Result{Time: f.at, States: []analyze.State{{
		Time: f.at, Compressor: 0, Group: "mt", Name: "c1", Phase: frame.Pulldown, Quality: reading.Good,
		Superheat: units.Kelvin(8 + margin), Floor: 8, Margin: units.Kelvin(margin),
	}, {Time: f.at, Compressor: 1, Group: "mt", Name: "c2", Phase: frame.Off, Quality: reading.Good}}}
	if v != floodback.Clear {
		r.Findings = []floodback.Finding{{
			Kind: floodback.Floodback, Compressor: 0, Input: -1, Verdict: v, Severity: f.severity,
			Hold: f.hold, ClearHold: 120 * time.Second, Lasted: f.lasted,
			Evidence: evidence.Sentences([]string{"The line is at dew temperature."}),
			Circuits: []floodback.Ranked{{Name: "case-1", Score: 0.8333}},
			Causes:   []floodback.Ranked{{Name: "valve_oversized", Score: 0.6149}},
		}}
	}
	got := f.tracker.Step(r)
	f.changes = append(f.changes, got...)
	return got
}

// run takes n rows, each d after the one before.
func (f *harness) run(n int, d time.Duration, v floodback.Verdict, margin float64) {
	for range n {
		f.step(d, v, margin)
	}
}

func kinds(changes []Change) string {
	var words []string
	for _, c := range changes {
		words = append(words, c.Kind.String())
	}
	return strings.Join(words, " ")
}

// The figures of an event against a sum done by hand: 30 s at −2 K, then 20 s
// at −4 K, then clear.
func TestEventFigures(t *testing.T) {
	f := newHarness()
	f.run(3, 10*time.Second, floodback.Clear, 5)
	f.run(3, 10*time.Second, floodback.Present, -2)
	f.run(2, 10*time.Second, floodback.Present, -4)
	f.run(14, 10*time.Second, floodback.Clear, 5)
	if got := kinds(f.changes); got != "opened closed" {
		t.Fatalf("changes %q", got)
	}
	var out bytes.Buffer
	h := NewHistory(0)
	h.Apply(f.changes...)
	if err := WriteEvents(&out, h.Events(), evidence.Renderer{}); err != nil {
		t.Fatal(err)
	}
	want := `{"id":"mt.c1-floodback-20260301T064200Z","kind":"floodback","severity":"minor","site":"demo","group":"mt","compressor":"c1",` +
		`"opened":"2026-03-01T06:42:00Z","closed":"2026-03-01T06:44:20Z","began":"2026-03-01T06:41:30Z","phase":"pulldown",` +
		`"floor_k":8,"min_superheat_k":4,"min_margin_k":-4,"seconds_below":50,"kelvin_seconds_below":140,` +
		`"circuits":[{"name":"case-1","score":0.83}],"causes":[{"cause":"valve_oversized","score":0.61}],` +
		`"evidence":[{"code":"superheat_below_floor","values":{"min_superheat_k":4,"below_k":4,"floor_k":8,"phase":"pulldown"},` +
		`"text":"superheat came down to 4.0 K, 4.0 K below the floor of 8.0 K (pulldown)"},` +
		`{"code":"sentence","values":{},"text":"The line is at dew temperature."}],"found":null,"acknowledged":null}` + "\n"
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
	got := f.tracker.Totals()[0]
	if got.FloodbackSeconds != 50 || got.FloodbackKelvinSeconds != 140 {
		t.Errorf("ledger has %v s and %v K·s, the event 50 s and 140 K·s", got.FloodbackSeconds, got.FloodbackKelvinSeconds)
	}
}

func TestPendingEndsWithoutTrace(t *testing.T) {
	for _, v := range []floodback.Verdict{floodback.Clear, floodback.InDeadband} {
		f := newHarness()
		f.run(3, 10*time.Second, floodback.Present, -1)
		f.step(10*time.Second, v, 1)
		f.run(3, 10*time.Second, floodback.Present, -1)
		if len(f.changes) != 0 {
			t.Errorf("verdict %d in between: %s", v, kinds(f.changes))
		}
	}
}

func TestBetweenStartsTheClearTimeAnew(t *testing.T) {
	f := newHarness()
	f.run(5, 10*time.Second, floodback.Present, -1)
	f.run(11, 10*time.Second, floodback.Clear, 3)
	f.step(10*time.Second, floodback.InDeadband, 1)
	f.run(12, 10*time.Second, floodback.Clear, 3)
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q before the clear time has passed again", got)
	}
	f.step(10*time.Second, floodback.Clear, 3)
	if got := kinds(f.changes); got != "opened closed" {
		t.Errorf("changes %q", got)
	}
}

func TestSeverityOnlyEscalates(t *testing.T) {
	f := newHarness()
	f.run(5, 10*time.Second, floodback.Present, -1)
	f.severity = floodback.Risk
	f.run(2, 10*time.Second, floodback.Present, -1)
	f.severity = floodback.Major
	f.run(2, 10*time.Second, floodback.Present, -1)
	f.severity = floodback.Minor
	f.run(2, 10*time.Second, floodback.Present, -1)
	if got := kinds(f.changes); got != "opened escalated" {
		t.Fatalf("changes %q", got)
	}
	if got := f.tracker.Open()[0].Severity; got != "major" {
		t.Errorf("severity %q, want the worst", got)
	}
	want := []Tally{{"floodback", "risk", 0, 0, 1}, {"floodback", "minor", 1, 0, 1}, {"floodback", "major", 0, 1, 1}}
	if diff := cmp.Diff(want, f.tracker.Totals()[0].Events); diff != "" {
		t.Error(diff)
	}
}

func TestSlugOpensAtOnce(t *testing.T) {
	f := newHarness()
	f.step(time.Second, floodback.Clear, 5)
	r := analyze.Result{Time: f.at.Add(time.Second), States: make([]analyze.State, 2), Findings: []floodback.Finding{{
		Kind: floodback.Floodback, Input: -1, Verdict: floodback.Present, Severity: floodback.Major, Immediate: true, Hold: time.Hour,
	}}}
	if got := kinds(f.tracker.Step(r)); got != "opened" {
		t.Errorf("changes %q", got)
	}
}

// While it is not sure that the compressor runs, the time counts and nothing
// opens; when it is, the event opens without waiting anew.
func TestUnsureCountsButOpensNothing(t *testing.T) {
	site := testSite()
	b := NewTracker(site)
	f := floodback.Finding{
		Kind: floodback.Floodback, Input: -1, Verdict: floodback.Present, Severity: floodback.Major, Immediate: true, Unsure: true, Hold: time.Minute,
	}
	at := start
	for range 20 {
		if got := kinds(b.Step(analyze.Result{Time: at, Findings: []floodback.Finding{f}})); got != "" {
			t.Fatalf("%q while it is not sure", got)
		}
		at = at.Add(5 * time.Second)
	}
	f.Immediate, f.Unsure = false, false
	if got := kinds(b.Step(analyze.Result{Time: at, Findings: []floodback.Finding{f}})); got != "opened" {
		t.Errorf("got %q, want opened", got)
	}
}

func TestUnknownCountsNeitherWay(t *testing.T) {
	f := newHarness()
	f.run(3, 10*time.Second, floodback.Present, -1) // 20 s of 30
	f.run(2, 10*time.Second, floodback.Unknown, math.NaN())
	f.step(10*time.Second, floodback.Present, -1) // 30 s unknown
	if len(f.changes) != 0 {
		t.Fatal("time without a verdict opened an event")
	}
	f.step(10*time.Second, floodback.Present, -1)
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q, want the known 30 s to open it", got)
	}
	if got := f.changes[0].Event.Began; !got.Equal(start.Add(10 * time.Second)) {
		t.Errorf("began %v", got)
	}
	f.run(1000, 10*time.Second, floodback.Unknown, math.NaN())
	f.run(12, 10*time.Second, floodback.Clear, 5) // 110 s known clear
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q: time without a verdict closed an event", got)
	}
	f.step(10*time.Second, floodback.Clear, 5)
	if got := kinds(f.changes); got != "opened closed" {
		t.Errorf("changes %q", got)
	}
	if got := f.changes[1].Event.SecondsBelow; got != 30 {
		t.Errorf("seconds below %v, want the 30 s that were seen", got)
	}
}

// An episode that was lost from sight for longer than the hold time begins anew.
func TestLongUnknownRestartsPending(t *testing.T) {
	f := newHarness()
	f.run(3, 10*time.Second, floodback.Present, -1)
	f.run(10, 10*time.Second, floodback.Unknown, math.NaN())
	f.run(3, 10*time.Second, floodback.Present, -1)
	if len(f.changes) != 0 {
		t.Fatalf("changes %q", kinds(f.changes))
	}
	f.step(10*time.Second, floodback.Present, -1)
	if got, want := f.changes[0].Event.Began, f.at.Add(-30*time.Second); !got.Equal(want) {
		t.Errorf("began %v, want %v", got, want)
	}
}

// Trap 29: the clock jumps forward by hours, or back. Trap 31: suspended.
func TestTrap29ClockJumps(t *testing.T) {
	for _, jump := range []time.Duration{3 * time.Hour, -3 * time.Hour, 90 * time.Second} {
		f := newHarness()
		f.run(60, time.Second, floodback.Clear, 5)
		f.run(3, time.Second, floodback.Present, -1)
		before := f.at
		f.step(jump, floodback.Present, -1)
		if len(f.changes) != 0 {
			t.Fatalf("jump of %v opened an event", jump)
		}
		if g := f.tracker.Gap(); !g.From.Equal(before) || !g.To.Equal(f.at) {
			t.Errorf("jump of %v not reported: %v", jump, g)
		}
		f.run(31, time.Second, floodback.Present, -1)
		if got := kinds(f.changes); got != "opened" {
			t.Fatalf("jump of %v: changes %q after the hold time", jump, got)
		}
		if s := f.changes[0].Event.SecondsBelow; s < 30 || s > 34 {
			t.Errorf("jump of %v: %v s below the floor", jump, s)
		}
	}
}

func TestTrap31HourInATick(t *testing.T) {
	f := newHarness()
	f.run(60, time.Second, floodback.Present, -1)
	f.run(30, time.Second, floodback.Clear, 5)
	f.step(time.Hour, floodback.Clear, 5)
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q: a suspended hour closed the event", got)
	}
	// 60 rows: the first came with no time before it, the last stood for 1 s.
	if got := f.tracker.Totals()[0].FloodbackSeconds; got != 60 {
		t.Errorf("floodback %v s, want 60", got)
	}
	if got := f.tracker.Totals()[0].RunningSeconds; got != 89 {
		t.Errorf("running %v s, want the 89 s between the rows that were watched", got)
	}
}

func TestInputEventsHaveTheirOwnIDs(t *testing.T) {
	b := NewTracker(testSite())
	var ids []string
	for i := range 2 {
		at := start.Add(time.Duration(i) * time.Second)
		r := analyze.Result{Time: at, States: make([]analyze.State, 2)}
		for c := -1; c < 2; c++ {
			for input := range 2 {
				r.Findings = append(r.Findings, floodback.Finding{
					Kind: floodback.NoData, Compressor: c, Input: input, Verdict: floodback.Present, Severity: floodback.Warning, Hold: time.Second,
				})
			}
		}
		for _, c := range b.Step(r) {
			ids = append(ids, c.Event.ID)
			if c.Event.MinSuperheatK != nil || c.Event.FloorK != nil {
				t.Errorf("%s carries a superheat", c.Event.ID)
			}
		}
	}
	want := []string{
		"mt.suction_pressure-no_data-20260301T064051Z",
		"mt.c1.suction_temperature-no_data-20260301T064051Z",
		"mt.c1.suction_pressure-no_data-20260301T064051Z",
		"mt.c1.suction_temperature-no_data-20260301T064051Z-2",
		"mt.c2.suction_pressure-no_data-20260301T064051Z",
		"mt.c2.c1.suction_temperature-no_data-20260301T064051Z",
	}
	if diff := cmp.Diff(want, ids); diff != "" {
		t.Error(diff)
	}
}

func TestRestoredEventsStayOpenAndClose(t *testing.T) {
	f := newHarness()
	f.run(5, 10*time.Second, floodback.Present, -2)
	open, totals := f.tracker.Open(), f.tracker.Totals()
	gone := Event{ID: "x", Kind: "floodback", Severity: "risk", Group: "mt", Compressor: "removed", Opened: start, Began: start}

	g := newHarness()
	g.at = f.at
	g.tracker.Restore(append(open, gone), totals)
	if diff := cmp.Diff(append([]Event{gone}, open...), g.tracker.Open()); diff != "" {
		t.Fatal(diff)
	}
	g.step(time.Hour, floodback.Present, -5)
	if got := kinds(g.changes); got != "closed" || g.changes[0].Event.ID != "x" {
		t.Fatalf("first row after a restart: %q", got)
	}
	g.run(14, 10*time.Second, floodback.Clear, 5)
	if got := kinds(g.changes); got != "closed closed" {
		t.Fatalf("changes %q", got)
	}
	ev := g.changes[1].Event
	if ev.ID != open[0].ID || *ev.MinMarginK != -5 || ev.SecondsBelow != 50 || ev.KelvinSecondsBelow != 40*2+10*5 {
		t.Errorf("closed as %+v", ev)
	}
	if got := g.tracker.Totals()[0]; got.FloodbackSeconds != 50 || got.Events[1].Opened != 1 {
		t.Errorf("totals %+v", got)
	}
}

// Whatever the verdicts: opened and closed alternate, the ledger is the sum of
// the events, and the same rows give the same changes.
func TestTrackerLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		verdicts := rapid.SliceOfN(rapid.SampledFrom([]floodback.Verdict{
			floodback.Unknown, floodback.Clear, floodback.Clear, floodback.InDeadband, floodback.Present, floodback.Present}), 1, 40).Draw(t, "verdicts")
		lengths := rapid.SliceOfN(rapid.IntRange(1, 20), len(verdicts), len(verdicts)).Draw(t, "lengths")
		play := func() *harness {
			f := newHarness()
			for i, v := range verdicts {
				margin := map[floodback.Verdict]float64{floodback.Present: -1, floodback.InDeadband: 1, floodback.Clear: 4, floodback.Unknown: math.NaN()}[v]
				f.run(lengths[i], 10*time.Second, v, margin)
			}
			return f
		}
		f := play()
		seconds := 0.0
		for i, c := range f.changes {
			if want := []ChangeKind{Opened, Closed}[i%2]; c.Kind != want {
				t.Fatalf("change %d is %v", i, c.Kind)
			}
			if c.Kind == Closed {
				seconds += c.Event.SecondsBelow
			}
			if c.Event.Opened.Sub(c.Event.Began) < f.hold {
				t.Fatalf("%s opened before its hold time", c.Event.ID)
			}
		}
		for _, ev := range f.tracker.Open() {
			seconds += ev.SecondsBelow
		}
		if got := f.tracker.Totals()[0].FloodbackSeconds; got != seconds {
			t.Fatalf("ledger %v s, events %v s", got, seconds)
		}
		if diff := cmp.Diff(f.changes, play().changes); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestHistoryIsBoundedAndKeepsOpenEvents(t *testing.T) {
	h := NewHistory(8)
	h.Apply(Change{Opened, start, Event{ID: "open", Opened: start}})
	for i := range 100 {
		at := start.Add(time.Duration(i+1) * time.Second)
		h.Apply(Change{Closed, at, Event{ID: at.String(), Opened: at, Closed: &at}})
	}
	if n := len(h.Events()); n > 9 {
		t.Errorf("%d events kept, limit 8", n)
	}
	if open := h.Open(); len(open) != 1 || open[0].ID != "open" {
		t.Errorf("open events: %v", open)
	}
	if got := h.Since(start.Add(100 * time.Second)); len(got) != 1 {
		t.Errorf("since the last: %d events, want 1", len(got))
	}
}

func BenchmarkStep(b *testing.B) {
	book := NewTracker(testSite())
	r := analyze.Result{Time: start, States: []analyze.State{{Phase: frame.Steady}, {Compressor: 1, Phase: frame.Steady}}}
	b.ReportAllocs()
	for b.Loop() {
		r.Time = r.Time.Add(time.Second)
		book.Step(r)
	}
}

// resultAt is a row in which both compressors stand still.
func resultAt(at time.Time) analyze.Result {
	return analyze.Result{Time: at, States: []analyze.State{{Phase: frame.Off}, {Compressor: 1, Phase: frame.Off}}}
}
