package alert

import (
	"testing"
	"time"

	"dewgap/analyze/trend"
)

// The days are written each ten minutes, when time goes back, and when asked,
// and come back after a restart.
func TestTrendStore(t *testing.T) {
	dir := t.TempDir()
	s, none, err := OpenTrendStore(dir)
	if err != nil || none != nil {
		t.Fatal(none, err)
	}
	asked := 0
	days := func() []trend.Days { asked++; return []trend.Days{{}} }
	for _, step := range []struct {
		at   time.Duration
		now  bool
		want int
	}{{0, false, 1}, {10*time.Minute - 1, false, 1}, {10 * time.Minute, false, 2}, {9 * time.Minute, false, 3}, {9 * time.Minute, true, 4}} {
		if err := s.Save(start.Add(step.at), days, step.now); err != nil {
			t.Fatal(err)
		}
		if asked != step.want {
			t.Errorf("after %v: written %d times, want %d", step.at, asked, step.want)
		}
	}
	if _, got, err := OpenTrendStore(dir); err != nil || len(got) != 1 || s.Fault() != "" {
		t.Errorf("%v, %v, %q", got, err, s.Fault())
	}
}

// Figures are rounded once: temperatures to 0.1 K, shares to 0.01, times to 1 s,
// totals to 1 ms.
func TestRounding(t *testing.T) {
	x := newFigures()
	x.seconds, x.dose, x.lowest.superheat, x.deepest.margin = 50.4, 140.4, 4.14, -4.16
	var ev Event
	x.into(&ev)
	if ev.SecondsBelow != 50 || ev.KelvinSecondsBelow != 140 || *ev.MinSuperheatK != 4.1 || *ev.MinMarginK != -4.2 {
		t.Errorf("%+v", ev)
	}
	c := counter{Totals: Totals{RunningSeconds: 1.0014, FloodbackSeconds: 2.0014, FloodbackKelvinSeconds: 3.0014}}
	if got := c.export(); got.RunningSeconds != 1.001 || got.FloodbackSeconds != 2.001 || got.FloodbackKelvinSeconds != 3.001 {
		t.Errorf("%+v", got)
	}
}
