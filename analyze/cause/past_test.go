package cause

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
)

func near(a, b, by float64) bool { return math.Abs(a-b) <= by || math.IsNaN(a) && math.IsNaN(b) }

const hour = 60 * minute

// record returns a past with one value in each ten minutes, the newest last; NaN
// is a time that was not watched. It ends at end.
func record(q quantity, values ...float64) (p past, end int64) {
	at := 100 * hour
	for _, v := range values {
		all := [quantities]float64{nan, nan, nan}
		all[q] = v
		for k := range int64(60) {
			p.update(at+k*interval, all[:]...)
		}
		at += summaryLength
	}
	p.close()
	return p, at
}

func repeat(n int, v float64) []float64 {
	all := make([]float64, n)
	for i := range all {
		all[i] = v
	}
	return all
}

func join(lists ...[]float64) (all []float64) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

func TestQuantile(t *testing.T) {
	p, end := record(overDew, 9, 1, 5, nan, 3, 7)
	for _, c := range []struct {
		share float64
		to    int64
		want  float64
		n     int
	}{
		{0, end, 1, 5}, {0.25, end, 3, 5}, {0.5, end, 5, 5}, {1, end, 9, 5},
		{1, end - 5*summaryLength, 9, 1}, {0.5, end - 6*summaryLength, nan, 0},
		{0.5, end - 1, 5, 4},                                     // the newest was not over
		{0.5, end + 25*hour, 5, 4}, {0.5, end + 26*hour, nan, 0}, // older than a day
	} {
		if got, n := p.quantile(c.to, c.share, overDew); !near(got, c.want, 1e-6) || n != c.n {
			t.Errorf("quantile %g before %d: %g of %d, want %g of %d", c.share, c.to-end, got, n, c.want, c.n)
		}
	}
}

// TestSummariesAreMeans: a summary is the mean of ten minutes, and one of less
// than a minute is none.
func TestSummariesAreMeans(t *testing.T) {
	for _, c := range []struct {
		ticks int
		want  float64
	}{{5, nan}, {6, 2.5}, {60, 29.5}} {
		var p past
		for k := range c.ticks {
			p.update(hour+int64(k)*interval, float64(k))
		}
		p.close()
		if got, _ := p.quantile(9*hour, 0.5, overDew); !near(got, c.want, 1e-4) {
			t.Errorf("%d observations: %g, want %g", c.ticks, got, c.want)
		}
	}
}

// TestLowShare: an outlet at two thirds of normal is not far below it, one at
// two fifths is.
func TestLowShare(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   float64
	}{
		{[]float64{6, 6, 6, 2}, 0.25}, {[]float64{2, 2, 2, 2}, 1}, {repeat(5, 3.9), 0}, {repeat(5, 3.8), 0.0667}, {repeat(5, 2.5), 0.9333},
		{repeat(5, 2.4), 1}, {[]float64{2, 2}, nan}, {[]float64{2, 2, 6}, 0.6667},
	} {
		p, end := record(overDew, c.values...)
		if got := p.lowShare(end, 6); !near(got, c.want, 1e-3) {
			t.Errorf("%v: %g, want %g", c.values, got, c.want)
		}
	}
}

// TestSteepestRise: a fan that stops takes the air away from dew at once, ice
// does so over hours.
func TestSteepestRise(t *testing.T) {
	ramp := func(n int, by float64) (all []float64) {
		for i := range n {
			all = append(all, 6+by*float64(i))
		}
		return all
	}
	for _, c := range []struct {
		name        string
		values      []float64
		rise, share float64
		onset       int // summary that it began in; −1 none
	}{
		{"a fan stops", join(repeat(12, 6), repeat(12, 11)), 5, 1, 10},
		{"ice", ramp(24, 0.4), 0.8, 0.8 / 4.4, 21},
		{"nothing", repeat(24, 6), nan, nan, -1},
		{"half a kelvin is nothing", join(repeat(12, 6), repeat(12, 6.5)), nan, nan, -1},
		{"more than that is something", join(repeat(12, 6), repeat(12, 6.6)), 0.6, 1, 10},
		{"a kelvin before, a kelvin after", join(repeat(12, 6), []float64{7, 7}, []float64{10, 10}, repeat(3, 11), repeat(9, 20)), 9, 0.9, 17},
		{"up from a dip", join(repeat(12, 6), []float64{4, 9}, repeat(11, 9)), 5, 1, 12},
		{"a fall", join(repeat(12, 11), repeat(12, 6)), nan, nan, -1},
		{"across a break of a defrost", join(repeat(6, 6), repeat(3, nan), repeat(6, 9)), nan, nan, -1},
	} {
		p, end := record(airOverDew, c.values...)
		at, rise, share := p.steepestRise(end, airOverDew, 1)
		if !near(rise, c.rise, 1e-3) {
			t.Errorf("%s: rises by %g, want %g", c.name, rise, c.rise)
		}
		if c.name != "ice" && !near(share, c.share, 1e-3) {
			t.Errorf("%s: share %g, want %g", c.name, share, c.share)
		}
		if c.name == "ice" && share > 0.42 {
			t.Errorf("ice rises by a share of %g at once", share)
		}
		if c.onset >= 0 && c.name != "ice" && at != 100*hour+int64(c.onset)*summaryLength && at != 100*hour+int64(c.onset+1)*summaryLength {
			t.Errorf("%s: began in summary %d, want %d", c.name, (at-100*hour)/summaryLength, c.onset)
		}
		if _, fall, _ := p.steepestRise(end, airOverDew, -1); c.name == "a fall" && fall != 5 {
			t.Errorf("falls by %g, want 5", fall)
		}
	}
}

// TestLostBefore: ice takes superheat for an hour before it comes to dew, a
// valve that sticks does not.
func TestLostBefore(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		want   float64
	}{
		{"at once", join(repeat(18, 6), repeat(6, 0.5)), 0},
		{"sinking for an hour", join(repeat(18, 6), repeat(6, 4.8), repeat(6, 0.5)), 1 - 4.8/6*1},
		{"never normal", repeat(24, 1), nan},
		{"never low", repeat(24, 6), nan},
		{"too short before", join(repeat(6, 6), repeat(6, 0.5)), nan},
		{"one dip is not coming down", join(repeat(18, 6), []float64{0.5}, repeat(6, 6)), nan},
		{"half of normal is not near dew", join(repeat(18, 6), repeat(6, 3)), nan},
		{"two fifths of normal is", join(repeat(18, 6), repeat(6, 2.3)), 0},
		{"it was not about normal before", join(repeat(18, 3.5), repeat(6, 0.5)), nan},
		{"it was just about normal before", join(repeat(18, 3.7), repeat(6, 0.5)), 0},
	} {
		p, end := record(overDew, c.values...)
		if got := p.lostBefore(end, 6); !near(got, c.want, 0.04) {
			t.Errorf("%s: lost %g, want %g", c.name, got, c.want)
		}
	}
}

// TestRelief: a defrost that melts ice raises the outlet and brings the air
// back to dew.
func TestRelief(t *testing.T) {
	for _, c := range []struct {
		name      string
		q         quantity
		before    float64
		after     float64
		over, gap float64
	}{
		{"the outlet comes back", overDew, 1, 5, 4, nan},
		{"it does not", overDew, 1, 1, 0, nan},
		{"the air comes back", airOverDew, 12, 8, nan, 4},
	} {
		// Two hours before, a defrost of 30 min, two hours after. What is earlier
		// than 40 min before or later than 90 min after does not count.
		values := join(repeat(8, 50), repeat(4, c.before), repeat(3, nan), repeat(9, c.after), repeat(3, 50))
		p, end := record(c.q, values...)
		began := 100*hour + 12*summaryLength
		run := frame.DefrostRun{Began: began, Ended: began + 20*minute, Resumed: began + 30*minute}
		var h defrostHistory
		h.update(&run)
		over, gap := p.relief(&h, end)
		if !near(over, c.over, 1e-4) || !near(gap, c.gap, 1e-4) {
			t.Errorf("%s: %g, %g, want %g, %g", c.name, over, gap, c.over, c.gap)
		}
		if over, gap = p.relief(&h, run.Resumed-1); !near(over, nan, 0) || !near(gap, nan, 0) {
			t.Errorf("%s: relief %g, %g before the defrost was over", c.name, over, gap)
		}
	}
}

func TestDefrostHistory(t *testing.T) {
	var h defrostHistory
	if l, p := h.usual(); !near(l, nan, 0) || !near(p, nan, 0) {
		t.Errorf("usual of nothing: %g, %g", l, p)
	}
	for i := range int64(12) {
		began := (i + 1) * 6 * hour
		run := frame.DefrostRun{Began: began, Ended: began + 10*minute, Plateau: 100 * float64(i)}
		h.update(&run) // still going on
		run.Ended = began + (20+i)*minute
		h.update(&run)
	}
	h.update(&frame.DefrostRun{Began: 99 * hour}) // without an end
	h.update(&frame.DefrostRun{Ended: 99 * hour}) // without a beginning
	if h.kept() != 8 || h.nth(0).Plateau != 1100 || h.nth(7).Plateau != 400 {
		t.Errorf("kept %d, newest %+v", h.kept(), h.nth(0))
	}
	// Those before the newest of the eight: 24 … 30 min, plateaus 400 … 1000 s.
	if l, p := h.usual(); l != 27*60 || p != 700 {
		t.Errorf("usual %g s, %g s, want 1620, 700", l, p)
	}
}

// TestHistoryFades: what earlier floodbacks showed counts for less than the
// present one, for less after a day, and for nothing where there was none.
func TestHistoryFades(t *testing.T) {
	now := degrees{outletSwings: 1}
	before := degrees{outletLowAndStill: 1}
	var h history
	if got := h.blend(now); got != now || h.part() != 0 {
		t.Errorf("no history changes the degrees: %v", got)
	}
	h.add(10*hour, 1, &before)
	if !near(h.part(), 0.25, 1e-9) { // one sure floodback is a quarter of the evidence
		t.Errorf("one floodback counts %g, want 0.25", h.part())
	}
	got := h.blend(now)
	if !near(got[outletLowAndStill], 0.25, 1e-9) || !near(got[outletSwings], 0.75, 1e-9) {
		t.Errorf("blended: still %g, swings %g, want 0.25, 0.75", got[outletLowAndStill], got[outletSwings])
	}
	soon, late := h, h
	soon.add(11*hour, 0.5, &now)
	late.add((10+24)*hour, 0.5, &now)
	if want := 0.8*math.Exp(-1.0/24) + 0.5; !near(soon.n, want, 1e-9) || !near(soon.degrees[outletLowAndStill], want-0.5, 1e-9) || !near(soon.degrees[outletSwings], 0.5, 1e-9) {
		t.Errorf("an hour later: %g floodbacks, %v, want %g", soon.n, soon.degrees, want)
	}
	if want := 0.8/math.E + 0.5; !near(late.n, want, 1e-9) {
		t.Errorf("a day later: %g floodbacks, want %g", late.n, want)
	}
}
