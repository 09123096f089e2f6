package reading

import (
	"testing"
	"time"
)

// Recordings come at any interval, and in bursts, one row for each device.
func TestGapsFollowTheRecording(t *testing.T) {
	for _, tc := range []struct {
		name  string
		burst []time.Duration
		gap   time.Duration
	}{
		{"1 s", []time.Duration{time.Second}, 11 * time.Second},
		{"30 s", []time.Duration{30 * time.Second}, 91 * time.Second},
		{"5 min", []time.Duration{5 * time.Minute}, 16 * time.Minute},
		{"bursts", []time.Duration{100 * time.Millisecond, 100 * time.Millisecond, 59800 * time.Millisecond}, 200 * time.Second},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var p GapDetector
			at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
			p.Next(at)
			for i := range 40 {
				d := tc.burst[i%len(tc.burst)]
				at = at.Add(d)
				if g := p.Next(at); i > 12 && (g.Gap || g.Watched != d) {
					t.Fatalf("row %d: %+v", i, g)
				}
			}
			if g := p.Next(at.Add(tc.gap)); !g.Gap || g.Watched != 0 {
				t.Errorf("gap of %v: %+v", tc.gap, g)
			}
		})
	}
}

// A clock that is set back is a gap in which no time passed; two rows of one
// instant are none.
func TestGapOfAClockSetBack(t *testing.T) {
	var d GapDetector
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	d.Next(at)
	if got := d.Next(at); got != (Interval{}) {
		t.Errorf("two rows of one instant: %+v", got)
	}
	if got := d.Next(at.Add(-time.Hour)); !got.Gap || got.Between != 0 || got.Watched != 0 {
		t.Errorf("set back: %+v", got)
	}
	if !d.Last().Equal(at.Add(-time.Hour)) {
		t.Errorf("last row at %s", d.Last())
	}
}
