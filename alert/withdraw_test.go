package alert

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// doubted is why a test's event is withdrawn.
var doubted = evidence.Item{Code: evidence.Sentence, Text: "the line sensor has come off its pipe"}

// stepWithdraw takes one row like step, whose finding also withdraws; apart puts
// the withdrawal into a second finding of the same row, as another detector does.
func (f *harness) stepWithdraw(d time.Duration, v floodback.Verdict, margin float64, apart bool) []Change {
	f.at = f.at.Add(d)
	r := analyze.Result{Time: f.at, States: []analyze.State{{
		Time: f.at, Compressor: 0, Group: "mt", Name: "c1", Phase: frame.Pulldown, Quality: reading.Good,
		Superheat: units.Kelvin(8 + margin), Floor: 8, Margin: units.Kelvin(margin),
	}, {Time: f.at, Compressor: 1, Group: "mt", Name: "c2", Phase: frame.Off, Quality: reading.Good}}}
	finding := floodback.Finding{Kind: floodback.Floodback, Input: -1, Verdict: v, Severity: f.severity, Hold: f.hold, ClearHold: 120 * time.Second}
	if apart {
		r.Findings = append(r.Findings, finding)
		finding.Verdict = floodback.Unknown
	}
	finding.Withdraw = &doubted
	r.Findings = append(r.Findings, finding)
	got := f.tracker.Step(r)
	f.changes = append(f.changes, got...)
	return got
}

// A row is 10 s, hold 30 s, clear time 120 s. The withdrawal is the row that
// follows the series.
func TestWithdrawal(t *testing.T) {
	const s10 = 10 * time.Second
	warm := rows(3, s10, clearRow)
	for _, tc := range []struct {
		name    string
		before  []row
		verdict floodback.Verdict
		want    string
	}{
		{"nothing there", warm, clearRow, ""},
		{"nothing there, and present", warm, present, ""},
		{"pending", series(warm, rows(2, s10, present)), present, ""},
		{"pending, at the row that would open it", series(warm, rows(3, s10, present)), present, ""},
		{"open", series(warm, rows(5, s10, present)), present, "opened withdrawn"},
		{"open, without a verdict", series(warm, rows(5, s10, present)), cannotTell, "opened withdrawn"},
		{"clearing", series(warm, rows(5, s10, present), rows(4, s10, clearRow)), clearRow, "opened withdrawn"},
		{"clearing, at the row that would close it", series(warm, rows(5, s10, present), rows(12, s10, clearRow)), clearRow, "opened withdrawn"},
		{"closed before", series(warm, rows(5, s10, present), rows(13, s10, clearRow)), clearRow, "opened closed"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newHarness()
			f.playRows(tc.before)
			f.stepWithdraw(s10, tc.verdict, -1, false)
			if got := kinds(f.changes); got != tc.want {
				t.Fatalf("changes %q, want %q", got, tc.want)
			}
			if open := f.tracker.Open(); len(open) != 0 {
				t.Errorf("still open: %+v", open)
			}
			if !strings.HasSuffix(tc.want, "withdrawn") {
				return
			}
			ev := f.changes[len(f.changes)-1].Event
			if ev.Closed == nil || !ev.Closed.Equal(f.at) || ev.Withdrawn == nil || ev.Withdrawn.Text != doubted.Text {
				t.Errorf("closed %v, withdrawn %v", ev.Closed, ev.Withdrawn)
			}
			text, err := json.Marshal(ev)
			if err != nil || !strings.Contains(string(text), `"withdrawn":{"code":"`) {
				t.Errorf("%s, %v", text, err)
			}
			f.run(5, s10, floodback.Present, -1) // what still holds begins anew
			if got := kinds(f.changes); got != tc.want+" opened" {
				t.Errorf("after it: %q", got)
			}
		})
	}
}

// Another detector withdraws in a row whose own floodback finding goes on, also
// where that finding opens the event in the same row.
func TestWithdrawalBesideTheFinding(t *testing.T) {
	f := newHarness()
	f.run(3, 10*time.Second, floodback.Clear, 5)
	f.run(3, 10*time.Second, floodback.Present, -2)
	f.stepWithdraw(10*time.Second, floodback.Present, -2, true)
	if got := kinds(f.changes); got != "opened withdrawn" {
		t.Fatalf("changes %q", got)
	}
	got := f.tracker.Totals()[0]
	if got.FloodbackSeconds != 30 || got.FloodbackWithdrawnSeconds != 30 || got.FloodbackKelvinSeconds != 60 || got.FloodbackWithdrawnKelvinSeconds != 60 {
		t.Errorf("totals %+v", got)
	}
	if got.Exposure(units.SI) != (&Totals{}).Exposure(units.SI) {
		t.Errorf("exposure for people %q", got.Exposure(units.SI))
	}
}

// Neither counter goes back, the withdrawn part is never more than the whole,
// and what is left is the time of the events that stand, restarts included.
func TestWithdrawnTimeIsPartOfTheExposure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := newHarness()
		var last Totals
		standing, false_ := 0.0, 0.0
		count := func(changes []Change) {
			for _, c := range changes {
				switch {
				case c.Event.Closed == nil:
				case c.Event.Withdrawn != nil:
					false_ += c.Event.SecondsBelow
				default:
					standing += c.Event.SecondsBelow
				}
			}
		}
		for range rapid.IntRange(1, 200).Draw(t, "rows") {
			v := rapid.SampledFrom([]floodback.Verdict{present, present, present, clearRow, cannotTell}).Draw(t, "verdict")
			margin := map[floodback.Verdict]float64{present: -1, clearRow: 5, cannotTell: math.NaN()}[v]
			switch rapid.IntRange(0, 19).Draw(t, "what") {
			case 0:
				count(f.stepWithdraw(10*time.Second, v, margin, rapid.Bool().Draw(t, "apart")))
			case 1:
				next := NewTracker(testSite())
				next.Restore(f.tracker.Open(), f.tracker.Totals())
				f.tracker = next
			default:
				count(f.step(10*time.Second, v, margin))
			}
			now := f.tracker.Totals()[0]
			if now.FloodbackSeconds < last.FloodbackSeconds || now.FloodbackWithdrawnSeconds < last.FloodbackWithdrawnSeconds {
				t.Fatalf("a counter goes back: %+v after %+v", now, last)
			}
			if now.FloodbackWithdrawnSeconds > now.FloodbackSeconds || now.FloodbackWithdrawnKelvinSeconds > now.FloodbackKelvinSeconds {
				t.Fatalf("the part is more than the whole: %+v", now)
			}
			last = now
		}
		for _, ev := range f.tracker.Open() {
			standing += ev.SecondsBelow
		}
		if last.FloodbackWithdrawnSeconds != false_ || last.FloodbackSeconds-last.FloodbackWithdrawnSeconds != standing {
			t.Fatalf("withdrawn %v s of %v s; the events have %v s and %v s", last.FloodbackWithdrawnSeconds, last.FloodbackSeconds, false_, standing)
		}
	})
}

// A withdrawn event is a closed one to the journal and to whoever reads it.
func TestWithdrawnInTheJournal(t *testing.T) {
	dir := t.TempDir()
	j, err := OpenJournal(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	f := newHarness()
	f.run(3, 10*time.Second, floodback.Clear, 5)
	f.run(5, 10*time.Second, floodback.Present, -2)
	f.stepWithdraw(10*time.Second, floodback.Present, -2, false)
	j.Add(f.changes...)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if j, err = OpenJournal(dir, 0); err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	events := j.Events(time.Time{}, false)
	if len(events) != 1 || len(j.Open()) != 0 || events[0].Withdrawn == nil || events[0].Withdrawn.Text != doubted.Text {
		t.Errorf("read back: %+v", events)
	}
}

// A restart continues an event with figures rounded up; what is withdrawn of it is
// no more than what was counted.
func TestWithdrawnAfterARestart(t *testing.T) {
	f := newHarness()
	f.run(3, s10, floodback.Clear, 5)
	f.run(5, s10, floodback.Present, -2)
	f.step(1600*time.Millisecond, floodback.Present, -2) // 41.6 s at −2 K
	open, totals := f.tracker.Open(), f.tracker.Totals()
	f.tracker = NewTracker(testSite())
	f.tracker.Restore(open, totals)
	f.stepWithdraw(s10, floodback.Present, -2, false)
	got := f.tracker.Totals()[0]
	if open[0].SecondsBelow <= totals[0].FloodbackSeconds {
		t.Fatalf("the event has %v s of %v s: nothing is rounded up", open[0].SecondsBelow, totals[0].FloodbackSeconds)
	}
	if got.FloodbackWithdrawnSeconds != got.FloodbackSeconds || got.FloodbackWithdrawnKelvinSeconds > got.FloodbackKelvinSeconds {
		t.Errorf("withdrawn %v s of %v s", got.FloodbackWithdrawnSeconds, got.FloodbackSeconds)
	}
}
