package alert

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze/floodback"
)

const (
	present    = floodback.Present
	between    = floodback.InDeadband
	clearRow   = floodback.Clear
	cannotTell = floodback.Unknown
)

// row is one row of a series: its time after the row before, and its verdict.
type row struct {
	after   time.Duration
	verdict floodback.Verdict
}

// rows repeats a row.
func rows(n int, after time.Duration, v floodback.Verdict) []row {
	var out []row
	for range n {
		out = append(out, row{after, v})
	}
	return out
}

func series(parts ...[]row) (out []row) {
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

func (f *harness) playRows(s []row) {
	margin := map[floodback.Verdict]float64{present: -1, between: 1, clearRow: 5, cannotTell: math.NaN()}
	for _, r := range s {
		f.step(r.after, r.verdict, margin[r.verdict])
	}
}

// TestEdges plays series that end one nanosecond before, at and after each
// edge of the state machine. Hold is 30 s and clear time 120 s, the contract's
// for a pulldown; rows come each 10 s.
func TestEdges(t *testing.T) {
	const s10 = 10 * time.Second
	warm := rows(3, s10, clearRow)                    // the gap detector knows the usual interval
	opened := series(warm, rows(4, s10, present))     // open at the last row
	almost := series(opened, rows(12, s10, clearRow)) // clear for 110 s
	for _, tc := range []struct {
		name string
		rows []row
		want string // with the last row
		upTo string // with the row before it
	}{
		{"hold, 1 ns short", series(warm, rows(3, s10, present), []row{{s10 - 1, present}}), "", ""},
		{"hold met", series(warm, rows(3, s10, present), []row{{s10, present}}), "opened", ""},
		{"hold, 1 ns over", series(warm, rows(3, s10, present), []row{{s10 + 1, present}}), "opened", ""},
		{"clear time, 1 ns short", series(almost, []row{{s10 - 1, clearRow}}), "opened", "opened"},
		{"clear time met", series(almost, []row{{s10, clearRow}}), "opened closed", "opened"},
		{"clear time, 1 ns over", series(almost, []row{{s10 + 1, clearRow}}), "opened closed", "opened"},
		{"the row that ends the clear time is between", series(almost, []row{{s10, between}, {s10, clearRow}}), "opened", "opened"},
		{"the row that ends the clear time is present", series(almost, []row{{s10, present}, {s10, clearRow}}), "opened", "opened"},
		{"the row that ends the hold time cannot tell", series(warm, rows(3, s10, present), []row{{s10, cannotTell}}), "", ""},

		// Without a verdict for as long as the hold time, from the last row
		// that showed the condition to the next: the 20 s before it count.
		{"unknown as long as hold", series(warm, rows(3, s10, present), []row{{s10, cannotTell}, {2 * s10, present}, {s10, present}}), "opened", ""},
		{"unknown 1 ns longer than hold", series(warm, rows(3, s10, present), []row{{s10, cannotTell}, {2*s10 + 1, present}, {s10, present}}), "", ""},
		{"unknown 1 ns longer than hold, and the hold time again", series(warm, rows(3, s10, present), []row{{s10, cannotTell}, {2*s10 + 1, present}, {s10, present}, {s10, present}, {s10, present}}), "opened", ""},
		{"unknown as long as clear time", series(almost, rows(11, s10, cannotTell), []row{{s10, clearRow}, {s10, clearRow}}), "opened closed", "opened"},
		{"unknown 1 ns longer than clear time", series(almost, rows(11, s10, cannotTell), []row{{s10 + 1, clearRow}, {s10, clearRow}}), "opened", "opened"},

		// A gap in the data: three times the usual interval and more.
		{"as long as no gap", series(warm, rows(3, s10, present), []row{{3 * s10, present}}), "opened", ""},
		{"a gap, 1 ns longer", series(warm, rows(3, s10, present), []row{{3*s10 + 1, present}, {s10, present}}), "", ""},
		{"a gap while clear", series(almost, []row{{3*s10 + 1, clearRow}}), "opened", "opened"},
		{"the row after a gap while clear", series(almost, []row{{3*s10 + 1, clearRow}, {s10, clearRow}}), "opened closed", "opened"},
		{"a gap as long as the clear time", series(almost, []row{{12 * s10, clearRow}, {s10, clearRow}}), "opened closed", "opened"},
		{"a gap 1 ns longer than the clear time", series(almost, []row{{12*s10 + 1, clearRow}, {s10, clearRow}}), "opened", "opened"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newHarness()
			f.playRows(tc.rows[:len(tc.rows)-1])
			if got := kinds(f.changes); got != tc.upTo {
				t.Errorf("up to the row before the last %q, want %q", got, tc.upTo)
			}
			f.playRows(tc.rows[len(tc.rows)-1:])
			if got := kinds(f.changes); got != tc.want {
				t.Errorf("with the last row %q, want %q", got, tc.want)
			}
		})
	}
}

// TestTransitions holds the table to the rules: what ends a condition that has
// no event, what keeps an event open, and that nothing follows an end.
func TestTransitions(t *testing.T) {
	for from, byVerdict := range transitions {
		for v, next := range byVerdict {
			verdict, from := floodback.Verdict(v), state(from)
			hasEvent := from != pending
			for _, to := range []state{next.to, next.elapsed} {
				if hasEvent && (to == pending || to == dropped) {
					t.Errorf("%s with verdict %d loses its event: %s", from, v, to)
				}
				if (to == closed) && (verdict != clearRow || !hasEvent) {
					t.Errorf("%s with verdict %d closes an event", from, v)
				}
			}
			if verdict == cannotTell && (next.to != from || next.elapsed != from) {
				t.Errorf("%s leaves its state where nothing can be told", from)
			}
			if !hasEvent && (verdict == clearRow || verdict == between) && next.elapsed != dropped {
				t.Errorf("pending outlives verdict %d", v)
			}
			if next.elapsed == open && from == pending && verdict != present {
				t.Errorf("verdict %d opens an event", v)
			}
		}
	}
}

// A condition begins at its first row, whatever cannot be told after it, as
// long as that is no longer than the hold time.
func TestBeginsAtItsFirstRow(t *testing.T) {
	f := newHarness()
	f.playRows(series(rows(3, 10*time.Second, clearRow), rows(1, 10*time.Second, present)))
	first := f.at
	f.playRows(series(rows(1, 10*time.Second, cannotTell), rows(5, 10*time.Second, present)))
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q", got)
	}
	if got := f.changes[0].Event.Began; !got.Equal(first) {
		t.Errorf("began %v, want %v", got, first)
	}
}

// A pending condition that begins anew forgets figures and severity of before.
func TestBeginningAnewForgets(t *testing.T) {
	f := newHarness()
	f.severity = floodback.Major
	f.run(3, 10*time.Second, present, -9)
	f.run(4, 10*time.Second, cannotTell, math.NaN())
	f.severity = floodback.Risk
	f.run(4, 10*time.Second, present, -1)
	if got := kinds(f.changes); got != "opened" {
		t.Fatalf("changes %q", got)
	}
	ev := f.changes[0].Event
	if ev.Severity != "risk" || *ev.MinMarginK != -1 || ev.SecondsBelow != 30 || ev.KelvinSecondsBelow != 30 {
		t.Errorf("opened as %+v", ev)
	}
}

// The clear time of an event that was restored, and that no finding is about, is the
// configured one of its compressor, or the contract's 120 s for an input.
func TestClearTimeOfRestoredEvents(t *testing.T) {
	site := testSite()
	site.Groups[0].Detect.ClearHold = 40 * time.Second
	at := start
	tr := NewTracker(site)
	tr.Restore([]Event{
		{ID: "a", Kind: "floodback", Severity: "risk", Group: "mt", Compressor: "c1", Opened: at, Began: at},
		{ID: "b", Kind: "no_data", Severity: "warning", Group: "mt", Input: "mt.suction_pressure", Opened: at, Began: at},
	}, nil)
	closed := map[string]time.Duration{}
	for i := range 20 {
		for _, c := range tr.Step(resultAt(at.Add(time.Duration(i) * 10 * time.Second))) {
			closed[c.Event.ID] = c.At.Sub(at)
		}
	}
	if closed["a"] != 40*time.Second || closed["b"] != 120*time.Second {
		t.Errorf("closed after %v", closed)
	}
}
