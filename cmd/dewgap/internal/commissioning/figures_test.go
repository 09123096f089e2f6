package commissioning

import (
	"strings"
	"testing"
	"time"

	"dewgap/alert"
)

// The lowest superheat is compared with the floor that held then: a pulldown's
// with the floor of a pulldown, one of steady running with that of steady running.
func TestLowestAgainstItsOwnFloor(t *testing.T) {
	for _, c := range []struct {
		name          string
		from          int // s after the restart; the pulldown takes 900
		superheat     float64
		floor, margin float64
	}{
		{"in the pulldown, over its floor", 400, 9, 8, 1},
		{"in the pulldown, under its floor", 400, 7, 8, -1},
		{"after it, under the floor of steady running", 1000, 9, 11, -2},
	} {
		m := scenario{change: func(_, after int, x *stretch) {
			if after >= c.from && after < c.from+20 {
				x.superheat = c.superheat
			}
		}}.judged(t).Cycles[0].Compressors[0]
		if *m.Lowest != c.superheat || *m.LowestFloor != c.floor || *m.Margin != c.margin {
			t.Errorf("%s: lowest %g K, floor %g K, margin %g K; want %g, %g, %g", c.name, *m.Lowest, *m.LowestFloor, *m.Margin, c.superheat, c.floor, c.margin)
		}
	}
}

// What the discharge implies is compared with the floor that held then, too.
func TestDischargeAgainstItsOwnFloor(t *testing.T) {
	for from, want := range map[int]Outcome{400: Met, 1000: Remark} {
		m := scenario{change: func(_, after int, x *stretch) {
			if after == from {
				x.shortfall = -9
			}
		}}.judged(t).Cycles[0].Compressors[0]
		for _, check := range m.Checks {
			if check.Criterion == "discharge" && check.Outcome != want {
				t.Errorf("9 K implied %d s after the restart: %s, want %s: %s", from, check.Outcome, want, check.Text)
			}
		}
	}
}

// An event in the record has its own figures, named as the event's: it may have
// begun before the cycle.
func TestEventFiguresInRecord(t *testing.T) {
	lowest, margin := 1.1, -9.9
	flood := alert.Event{Kind: "floodback", Severity: "minor", Group: "mt", Compressor: "c1", Began: midnight.Add(2*time.Hour + 26*time.Minute), MinSuperheatK: &lowest, MinMarginK: &margin}
	m := scenario{change: dip(1.1, 60), events: []alert.Event{flood}}.judged(t).Cycles[0].Compressors[0]
	for _, check := range m.Checks {
		if check.Criterion == "floodback" && !strings.HasPrefix(check.Text, "floodback minor from 02:26:00, the event's lowest superheat 1.1 K, lowest margin −9.9 K") {
			t.Errorf("got %q", check.Text)
		}
	}
	if *m.Lowest != lowest {
		t.Errorf("lowest superheat %g K, the event's %g K", *m.Lowest, lowest)
	}
}
