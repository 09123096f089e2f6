package bench

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
)

// Figure is one line of the table: a share or a number, and which way is better.
type Figure struct {
	Name   string
	Value  float64
	Of     int  // how many the figure stands on; 0 when it stands on nothing
	Higher bool // is better
	Want   float64
}

// Figures returns the table. What is wanted of each comes with it: the bar for
// sites with signals, but for the phases of blind ones.
func (t *Tally) Figures() []Figure {
	ofStores := func(name string, want float64, of func(s *storeShares) float64) Figure {
		mean, n := t.meanOfStores(of)
		return Figure{name + ", mean of stores", mean, n, true, want}
	}
	per100 := func(n int, days float64) float64 { return float64(n) / max(days, 1e-9) * 100 }
	return []Figure{
		{"phase macro-F1", t.phases.MacroF1(), int(t.days * 24), true, 0.97},
		{"floodback recall", t.episodes.share(), t.episodes.of, true, 0.98},
		{"floodback precision", t.events.share(), t.events.of, true, 0.95},
		{"episodes found in more than one event", t.split.share(), t.split.of, false, 0.05},
		{"delay after hold, median, s", t.quantile(50), len(t.delays), false, 15},
		{"delay after hold, 95 %, s", t.quantile(95), len(t.delays), false, 60},
		{"false floodback per 100 healthy compressor-days", per100(t.healthyFalse, t.healthyDays), int(t.healthyDays), false, 1},
		{"severity right", t.severe.share(), t.severe.of, true, 0.65},
		{"severity right with discharge temperature", t.severeDis.share(), t.severeDis.of, true, 0.85},
		{"cause first", t.first.share(), t.first.of, true, 0.70},
		{"cause in first three", t.top.share(), t.top.of, true, 0.92},
		{"family of causes", t.family.share(), t.family.of, true, 0.78},
		{"circuit first", t.placed.share(), t.placed.of, true, 0.85},
		{"flooded start recall", t.starts.share(), t.starts.of, true, 0.95},
		{"false flooded starts per 100 compressor-days", per100(t.startFalse, t.days), int(t.days), false, 1},
		{"sensor fault recall", t.faults.share(), t.faults.of, true, 0.90},
		{"false sensor faults per 100 compressor-days", per100(t.faultFalse, t.days), int(t.days), false, 1},
		ofStores("floodback recall", 0.97, func(s *storeShares) float64 { return s.recall }),
		ofStores("cause first", 0.55, func(s *storeShares) float64 { return s.first }),
		ofStores("cause in first three", 0.85, func(s *storeShares) float64 { return s.top }),
		ofStores("family of causes", 0.78, func(s *storeShares) float64 { return s.family }),
		ofStores("circuit first", 0.85, func(s *storeShares) float64 { return s.placed }),
	}
}

// Print writes the table, beside that of a plain detector where there is one,
// and where phases and severities went.
func (t *Tally) Print(w io.Writer, plain *Tally) {
	fmt.Fprintf(w, "  %-48s %8s %8s %8s\n", "", "dewgap", "wanted", "plain")
	var beside []Figure
	if plain != nil {
		beside = plain.Figures()
	}
	for i, f := range t.Figures() {
		base := ""
		if plain != nil && beside[i].Of > 0 {
			base = fmt.Sprintf("%8.3f", beside[i].Value)
		}
		if f.Of > 0 {
			fmt.Fprintf(w, "  %-48s %8.3f %8.3g %8s  (of %d)\n", f.Name, f.Value, f.Want, base, f.Of)
		}
	}
	fmt.Fprintf(w, "\n  true phase, hours found as   unknown      off    start pulldown  defrost   steady       F1\n")
	for p := frame.Off; p <= frame.Steady; p++ {
		f1, _ := t.phases.F1(p)
		fmt.Fprintf(w, "  %-24s", p)
		for _, h := range t.phases[p] {
			fmt.Fprintf(w, " %8.2f", h)
		}
		fmt.Fprintf(w, " %8.3f\n", f1)
	}
	fmt.Fprintf(w, "\n  true severity, found as        none     risk    minor    major\n")
	for s := floodback.Risk; s <= floodback.Major; s++ {
		fmt.Fprintf(w, "  %-24s", s)
		for _, n := range t.severity[s] {
			fmt.Fprintf(w, " %8d", n)
		}
		fmt.Fprintln(w)
	}
	fmt.Fprintf(w, "\n  other events: %v\n", t.other)
}

// clock is the form of a time in notes.
const clock = "02T15:04:05"

func span(from, to time.Time) string {
	return fmt.Sprintf("%s+%s", from.Format(clock), to.Sub(from).Round(time.Second))
}

func known(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

func first(words []string) string {
	if len(words) == 0 {
		return ""
	}
	return words[0]
}

func causes(ev *alert.Event) string {
	var b strings.Builder
	for _, x := range ev.Causes {
		fmt.Fprintf(&b, "%s %.2f, ", x.Cause, x.Score)
	}
	return strings.TrimSuffix(b.String(), ", ")
}

func circuits(ev *alert.Event) string {
	var b strings.Builder
	for _, x := range ev.Circuits {
		fmt.Fprintf(&b, "%s %.2f, ", x.Name, x.Score)
	}
	return strings.TrimSuffix(b.String(), ", ")
}
