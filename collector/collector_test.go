package collector

import (
	"context"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func testPoints() []reading.Point {
	return []reading.Point{
		{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
		{Path: "mt.c1.suction_temperature", Group: "mt", Member: "c1", Role: reading.SuctionTemperature},
		{Path: "mt.c1.running", Group: "mt", Member: "c1", Role: reading.Running},
	}
}

func good(point int, v float64) reading.Reading {
	return reading.Reading{Point: point, Value: v, Quality: reading.Good}
}

func TestHubGivesTheNewestOfEachPoint(t *testing.T) {
	h := NewHub(testPoints())
	h.Put(good(1, 5.43219))
	h.Put(good(0, 253000.04))
	h.Put(good(0, 253001.06))
	h.Put(good(2, 3))
	h.Put(good(7, 1))
	row := h.Take(noon.Add(1234567 * time.Nanosecond))
	if want := noon.Add(time.Millisecond); !row.Time.Equal(want) {
		t.Errorf("row time %v, want %v", row.Time, want)
	}
	want := []float64{253001.1, 5.432, 1}
	if len(row.Readings) != len(want) {
		t.Fatalf("%d readings: %+v", len(row.Readings), row.Readings)
	}
	for i, r := range row.Readings {
		if r.Point != i || r.Value != want[i] || r.Quality != reading.Good || !r.Time.Equal(row.Time) {
			t.Errorf("reading %d: %+v, want %v", i, r, want[i])
		}
	}
	if h.Lost() != 1 {
		t.Errorf("lost %d, want 1", h.Lost())
	}
	if row = h.Take(noon.Add(time.Second)); len(row.Readings) != 0 {
		t.Errorf("second row has %+v", row.Readings)
	}
}

func TestHubKeepsASampleFromTheFailureThatFollows(t *testing.T) {
	h := NewHub(testPoints())
	h.Put(good(0, 1e5))
	h.Put(reading.Fail(0, "timeout"))
	if r := h.Take(noon).Readings; len(r) != 1 || r[0].Quality != reading.Good {
		t.Fatalf("first row %+v, want the value", r)
	}
	if r := h.Take(noon.Add(time.Second)).Readings; len(r) != 1 || r[0].Reason != "timeout" {
		t.Fatalf("second row %+v, want the failure", r)
	}
	if r := h.Take(noon.Add(2 * time.Second)).Readings; len(r) != 0 {
		t.Fatalf("third row %+v, want nothing", r)
	}

	for name, c := range map[string]struct {
		put  []reading.Reading
		want string
	}{
		"bad replaces a value":                {[]reading.Reading{good(0, 1), reading.Fail(0, "sentinel")}, "sentinel"},
		"a value replaces a failure":          {[]reading.Reading{reading.Fail(0, "sentinel"), good(0, 1)}, ""},
		"a value replaces a waiting failure":  {[]reading.Reading{good(0, 1), reading.Fail(0, "timeout"), good(0, 2)}, ""},
		"missing without reason says no-data": {[]reading.Reading{{Point: 0}}, "no-data"},
		"NaN is no value":                     {[]reading.Reading{good(0, math.NaN())}, "nan"},
	} {
		for _, r := range c.put {
			h.Put(r)
		}
		row := h.Take(noon.Add(time.Minute))
		if len(row.Readings) != 1 || row.Readings[0].Reason != c.want {
			t.Errorf("%s: %+v", name, row.Readings)
		}
		if row = h.Take(noon.Add(time.Minute)); len(row.Readings) != 0 {
			t.Errorf("%s: left over %+v", name, row.Readings)
		}
	}
}

func TestHubTakesFromManyGoroutines(t *testing.T) {
	h := NewHub(testPoints())
	var wg sync.WaitGroup
	for p := range 3 {
		for range 4 {
			wg.Go(func() {
				for v := range 500 {
					h.Put(good(p, float64(v)))
				}
			})
		}
	}
	wg.Wait()
	if n := len(h.Take(noon).Readings); n != 3 {
		t.Errorf("%d readings, want 3", n)
	}
}

func TestTrap29RowTimeNeverGoesBack(t *testing.T) {
	h := NewHub(testPoints())
	h.Take(noon)
	if row := h.Take(noon.Add(-time.Hour)); !row.Time.Equal(noon) {
		t.Errorf("row time %v after %v", row.Time, noon)
	}
}

// A wall clock that is set at will, beside one that is not.
type fakeClocks struct {
	wall time.Time
	mono time.Duration
}

func (f *fakeClocks) pass(d time.Duration)             { f.wall, f.mono = f.wall.Add(d), f.mono+d }
func (f *fakeClocks) set(by time.Duration)             { f.wall = f.wall.Add(by) }
func (f *fakeClocks) read() (time.Time, time.Duration) { return f.wall, f.mono }

func TestTrap29WallClockSetBackALittle(t *testing.T) {
	f := &fakeClocks{wall: noon}
	c := newRealClock(f.read)
	f.pass(time.Second)
	before := c.Now()
	f.set(-maxAhead)
	if now := c.Now(); !now.Equal(before) {
		t.Fatalf("set back: %v after %v", now, before)
	}
	var ran time.Duration
	for range 600 {
		f.pass(time.Second)
		now := c.Now()
		step := now.Sub(before)
		if step <= 0 || step < 990*time.Millisecond || step > time.Second {
			t.Fatalf("a second of monotonic time shows as %v", step)
		}
		ran += step
		before = now
	}
	if ran < 590*time.Second {
		t.Errorf("600 s show as %v", ran)
	}
	jumps := c.Jumps()
	if len(jumps) != 1 || jumps[0].By != -maxAhead || jumps[0].Restarted || !strings.Contains(jumps[0].String(), "set back by 30s; times go on") {
		t.Errorf("notes: %v", jumps)
	}
	for range 3000 {
		f.pass(time.Second)
		c.Now()
	}
	if now := c.Now(); !now.Equal(f.wall) {
		t.Errorf("did not catch up within an hour: %v ahead", now.Sub(f.wall))
	}
	if jumps := c.Jumps(); len(jumps) != 0 {
		t.Errorf("notes while catching up: %v", jumps)
	}
}

// TestTrap29WallClockRanYearsAhead: a gateway without battery boots in the
// future; when the clock is put right, no time stays wrong, and waiting
// for an instant of the wrong future ends with an error.
func TestTrap29WallClockRanYearsAhead(t *testing.T) {
	for _, by := range []time.Duration{maxAhead + time.Millisecond, time.Hour, 10 * 365 * 24 * time.Hour} {
		f := &fakeClocks{wall: noon.Add(by)}
		c := newRealClock(f.read)
		pace := NewTicker(notedClock{c, f}, time.Second)
		if _, err := pace.Next(t.Context()); err != nil {
			t.Fatal(err)
		}
		f.set(-by)
		if now := c.Now(); !now.Equal(f.wall) {
			t.Errorf("set back by %v: %v ahead", by, now.Sub(f.wall))
		}
		tick, err := pace.Next(t.Context())
		if err != ErrSetBack || len(tick.Jumps) != 1 || !tick.Jumps[0].Restarted || tick.Jumps[0].By != -by || !strings.Contains(tick.Jumps[0].String(), "times go back") {
			t.Errorf("set back by %v: %+v, %v", by, tick, err)
		}
		pace = NewTicker(notedClock{c, f}, time.Second)
		tick, err = pace.Next(t.Context())
		if off := tick.Time.Sub(f.wall).Abs(); err != nil || off > time.Second {
			t.Errorf("a new pace: %+v, %v", tick, err)
		}
	}
}

func TestTrap29UntilEndsWhenTheClockGoesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		c := newRealClock(func() (time.Time, time.Duration) {
			mono := time.Since(begun)
			if mono > time.Minute {
				return begun.Round(0).UTC().Add(mono - 24*time.Hour), mono
			}
			return begun.Round(0).UTC().Add(mono), mono
		})
		if err := c.Until(t.Context(), begun.Add(time.Hour)); err != ErrSetBack || time.Since(begun) > time.Minute+2*maxWait {
			t.Errorf("%v after %v", err, time.Since(begun))
		}
	})
}

func TestTrap29WallClockSetForwardAtBoot(t *testing.T) {
	f := &fakeClocks{wall: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)}
	c := newRealClock(f.read)
	f.pass(20 * time.Second)
	f.set(6 * 365 * 24 * time.Hour)
	if now := c.Now(); !now.Equal(f.wall) {
		t.Errorf("now %v, want %v", now, f.wall)
	}
	jumps := c.Jumps()
	if len(jumps) != 1 || jumps[0].By != 6*365*24*time.Hour || !strings.Contains(jumps[0].String(), "forward") {
		t.Errorf("notes: %v", jumps)
	}
}

func TestJumpsAreBounded(t *testing.T) {
	f := &fakeClocks{wall: noon}
	c := newRealClock(f.read)
	for range 1000 {
		f.set(time.Hour)
		c.Now()
	}
	var sum time.Duration
	jumps := c.Jumps()
	for _, j := range jumps {
		sum += j.By
	}
	if len(jumps) > maxJumps || sum != 1000*time.Hour {
		t.Errorf("%d notes over %v, want at most %d over 1000h", len(jumps), sum, maxJumps)
	}
}

// notedClock is a clock that sleeps and is set between two waits.
type notedClock struct {
	*RealClock
	f *fakeClocks
}

func (n notedClock) Until(ctx context.Context, t time.Time) error {
	if d := t.Sub(n.Now()); d > 0 {
		n.f.pass(d)
	}
	return ctx.Err()
}

func TestTrap31AnHourPassesInATick(t *testing.T) {
	f := &fakeClocks{wall: noon}
	clock := notedClock{newRealClock(f.read), f}
	pace := NewTicker(clock, time.Second)
	for i := range 3 {
		tick, err := pace.Next(t.Context())
		if want := noon.Add(time.Duration(i+1) * time.Second); err != nil || !tick.Time.Equal(want) || tick.Skipped != 0 {
			t.Fatalf("tick %+v, %v; want %v", tick, err, want)
		}
	}
	f.set(time.Hour + 300*time.Millisecond) // suspended: monotonic time stood still
	tick, err := pace.Next(t.Context())
	if want := noon.Add(time.Hour + 3*time.Second); err != nil || !tick.Time.Equal(want) || tick.Skipped != 3599 || len(tick.Jumps) != 1 {
		t.Fatalf("tick after the sleep: %+v, %v; want %v", tick, err, want)
	}
	tick, err = pace.Next(t.Context())
	if want := noon.Add(time.Hour + 4*time.Second); err != nil || !tick.Time.Equal(want) || tick.Skipped != 0 {
		t.Fatalf("tick: %+v, %v; want %v", tick, err, want)
	}
}

func TestPaceSkipsWhatIsLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := NewRealClock()
		pace := NewTicker(clock, time.Second)
		first, _ := pace.Next(t.Context())
		if err := clock.Until(t.Context(), clock.Now().Add(3500*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		tick, _ := pace.Next(t.Context())
		if tick.Skipped != 2 || tick.Time.Sub(first.Time) != 3*time.Second {
			t.Errorf("after a delay of 3.5 s: %+v, first was %v", tick, first.Time)
		}
		tick, _ = pace.Next(t.Context())
		if tick.Skipped != 0 || tick.Time.Sub(first.Time) != 4*time.Second || clock.Now().Before(tick.Time) {
			t.Errorf("the one after: %+v", tick)
		}
	})
}

func TestScaledClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		clock := NewScaledClock(noon, 60)
		if err := clock.Until(t.Context(), noon.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
		if real := time.Since(begun); real < time.Minute || real > time.Minute+time.Millisecond {
			t.Errorf("an hour at 60 times took %v", real)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := clock.Until(ctx, noon.Add(1000*time.Hour)); err == nil {
			t.Error("Until outlived its context")
		}
	})
}

func TestTrap32UntilEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		begun := time.Now()
		time.AfterFunc(time.Second, cancel)
		_, err := NewTicker(NewRealClock(), time.Hour).Next(ctx)
		if err == nil || time.Since(begun) > time.Second {
			t.Errorf("left after %v with %v", time.Since(begun), err)
		}
	})
}

func BenchmarkHub(b *testing.B) {
	points := make([]reading.Point, 0, 2000)
	for len(points) < 2000 {
		points = append(points, testPoints()...)
	}
	h := NewHub(points)
	b.ReportAllocs()
	t := noon
	for b.Loop() {
		for p := range points {
			h.Put(good(p, 1234.5678))
		}
		t = t.Add(time.Second)
		h.Take(t)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(points)), "ns/reading")
}
