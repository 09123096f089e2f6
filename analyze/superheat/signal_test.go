package superheat

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
)

const second = int64(time.Second)

func good(x float64) *reading.Reading { return &reading.Reading{Value: x, Quality: reading.Good} }
func lost(why string) *reading.Reading {
	return &reading.Reading{Value: -1, Quality: reading.Missing, Reason: why}
}
func bad(why string) *reading.Reading {
	return &reading.Reading{Value: -1, Quality: reading.Bad, Reason: why}
}

func TestSignalGrowsStale(t *testing.T) {
	// The rule: configured, or 3 × the interval, from 3 s to 5 min.
	for _, c := range []struct {
		name       string
		configured time.Duration
		interval   time.Duration
		want       time.Duration
	}{
		{"configured", 12 * time.Second, time.Second, 12 * time.Second},
		{"fast poll", 0, time.Second, 3 * time.Second},
		{"faster than it matters", 0, 200 * time.Millisecond, 3 * time.Second},
		{"five seconds", 0, 5 * time.Second, 15 * time.Second},
		{"ten seconds", 0, 10 * time.Second, 30 * time.Second},
		{"half a minute", 0, 30 * time.Second, 90 * time.Second},
		{"ten minutes", 0, 10 * time.Minute, 5 * time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := NewSignal(reading.SuctionTemperature, c.configured)
			at := int64(0)
			for range 6 {
				s.Take(at, good(-6))
				at += int64(c.interval)
			}
			last := at - int64(c.interval)
			if got := s.StaleAfter(); got != c.want {
				t.Fatalf("stale after %v, want %v", got, c.want)
			}
			for _, e := range []struct {
				age  int64
				want reading.Quality
			}{{int64(c.want) - 1, reading.Good}, {int64(c.want), reading.Good}, {int64(c.want) + 1, reading.Stale}} {
				v, q, why := s.Now(last + e.age)
				if q != e.want {
					t.Errorf("age %v: %v (%v), want %v", time.Duration(e.age), q, why, e.want)
				}
				if math.IsNaN(v) != (q != reading.Good) {
					t.Errorf("age %v: value %v with quality %v", time.Duration(e.age), v, q)
				}
			}
		})
	}
}

// rated returns a signal after n good values, interval apart, and the time of the
// last.
func rated(interval time.Duration, n int) (Signal, int64) {
	s := NewSignal(reading.SuctionTemperature, 0)
	at := int64(0)
	for range n {
		at += int64(interval)
		s.Take(at, good(-6))
	}
	return s, at
}

// Trap 53: a read that fails is good for three intervals of the rate that the
// input really has, not for 30 s.
func TestTrap53FailedReadsEndAValue(t *testing.T) {
	s, at := rated(time.Second, 100)
	for i := int64(1); i <= 30; i++ {
		s.Take(at+i*second, lost("timeout"))
		want := reading.Good
		if i > 3 {
			want = reading.Missing
		}
		if v, q, _ := s.Now(at + i*second); q != want || math.IsNaN(v) != (want != reading.Good) {
			t.Errorf("%d s after the last good value: %v %v, want %v", i, v, q, want)
		}
	}
	s.Take(at+31*second, good(-6))
	if _, q, _ := s.Now(at + 31*second); q != reading.Good {
		t.Errorf("%v once it is read again", q)
	}
	// The outage does not make the next one longer.
	if got := s.StaleAfter(); got != 3*time.Second {
		t.Errorf("stale after %v after an outage", got)
	}
}

// A source that has found that nothing comes any more ends the value at once.
func TestSilenceEndsAValueAtOnce(t *testing.T) {
	for _, c := range []struct {
		reason string
		want   reading.Quality
	}{
		{reading.Silent + ": no message on the topic", reading.Missing}, {reading.Resting, reading.Missing},
		{reading.Timeout, reading.Good}, {reading.Disconnected, reading.Good},
	} {
		s, at := rated(10*time.Second, 10)
		s.Take(at+second, lost(c.reason))
		if _, q, _ := s.Now(at + second); q != c.want {
			t.Errorf("%s: %v, want %v", c.reason, q, c.want)
		}
	}
}

// An input that reports changes alone: a second of changes, then forty seconds
// without one. Once it has done so twice, the next pause is no fault; its source
// is still believed at once when that fails again and again.
func TestChangesAloneAreNotStale(t *testing.T) {
	s := NewSignal(reading.SuctionTemperature, 0)
	at := int64(0)
	for round := range 20 {
		for range 10 {
			at += second
			s.Take(at, good(-6))
		}
		if _, q, _ := s.Now(at + 39*second); q != reading.Good && round > 2 {
			t.Errorf("round %d: %v before the next change is due", round, q)
		}
		at += 39 * second
	}
	at += second
	s.Take(at, good(-6))
	for i := int64(1); i <= 3; i++ {
		s.Take(at+2*i*second, lost("disconnected"))
	}
	if _, q, _ := s.Now(at + 6*second); q != reading.Missing {
		t.Errorf("%v after three failures", q)
	}
}

func TestSignalHoldsThroughLostSample(t *testing.T) {
	s := NewSignal(reading.SuctionTemperature, 0)
	if _, q, why := s.Now(0); q != reading.Missing || why != ReasonNeverRead {
		t.Fatalf("before anything: %v %v", q, why)
	}
	s.Take(0, good(-6))
	s.Take(5*second, lost("timeout"))
	if v, q, _ := s.Now(30 * second); q != reading.Good || v != -6 {
		t.Errorf("a lost sample must leave the last value standing: %v %v", v, q)
	}
	if v, q, why := s.Now(30*second + 1); q != reading.Missing || why.Word("reason") != "timeout" || !math.IsNaN(v) {
		t.Errorf("past the stale time after a failure: %v %v %v, want missing", v, q, why)
	}
	s.Take(40*second, good(-7))
	if v, q, _ := s.Now(40 * second); q != reading.Good || v != -7 {
		t.Errorf("after recovery: %v %v", v, q)
	}
	s.Take(41*second, bad("open"))
	if v, q, why := s.Now(41 * second); q != reading.Bad || why.Word("reason") != "open" || !math.IsNaN(v) {
		t.Errorf("a bad reading is bad at once: %v %v %v", v, q, why)
	}
	s.Take(42*second, lost("timeout"))
	if v, q, _ := s.Now(42 * second); q != reading.Missing || !math.IsNaN(v) {
		t.Errorf("a lost sample after a bad one must not bring the old value back: %v %v", v, q)
	}
}

func TestSignalRefusesImpossible(t *testing.T) {
	for _, c := range []struct {
		name string
		role reading.Role
		prev float64
		x    float64
		want reading.Quality
		why  *evidence.Item
	}{
		{"nan", reading.SuctionTemperature, -6, math.NaN(), reading.Bad, ReasonNotNumber},
		{"infinite", reading.SuctionPressure, 3e5, math.Inf(1), reading.Bad, ReasonNotNumber},
		{"999.9", reading.SuctionTemperature, -6, 999.9, reading.Bad, ReasonOutOfRange},
		{"open probe as −50.0", reading.SuctionTemperature, -6, -50, reading.Bad, ReasonSentinel},
		{"a real −50.0", reading.SuctionTemperature, -49.8, -50, reading.Good, nil},
		{"vacuum below zero", reading.SuctionPressure, 1e5, -2e4, reading.Bad, ReasonOutOfRange},
		{"absolute zero pressure", reading.SuctionPressure, 1e5, 0, reading.Bad, ReasonOutOfRange},
		{"workshop vacuum", reading.SuctionPressure, 1e5, 5e4, reading.Good, nil},
		{"switch", reading.Running, 0, 1, reading.Good, nil},
		{"switch that counts", reading.Running, 0, 7, reading.Bad, ReasonOutOfRange},
		{"jump", reading.SuctionTemperature, -6, 30, reading.Suspect, ReasonJump},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := NewSignal(c.role, 0)
			s.Take(0, good(c.prev))
			s.Take(second, good(c.x))
			if v, q, why := s.Now(second); q != c.want || why != c.why {
				t.Errorf("got %v %v %v", v, q, why)
			}
		})
	}
}

func TestSignalBelievesJumpThatStays(t *testing.T) {
	s := NewSignal(reading.SuctionTemperature, 0)
	s.Take(0, good(-6))
	var got []reading.Quality
	for i, x := range []float64{30, 30.1, 30, 30.2, 30.1} {
		at := int64(i+1) * 5 * second
		s.Take(at, good(x))
		_, q, _ := s.Now(at)
		got = append(got, q)
	}
	want := []reading.Quality{reading.Suspect, reading.Suspect, reading.Suspect, reading.Good, reading.Good}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("qualities %v, want %v", got, want)
		}
	}
	if st := s.Step(); st.At != 0 {
		t.Errorf("no step can be called before the usual movement is known: %+v", st)
	}
	s = NewSignal(reading.SuctionTemperature, 0)
	for i, x := range []float64{-6, 60, -6, -6} {
		s.Take(int64(i)*5*second, good(x))
	}
	if _, q, _ := s.Now(15 * second); q != reading.Good {
		t.Errorf("a spike that is over leaves %v", q)
	}
}

// TestSignalNeverShowsOld drives the tracker with random histories and checks
// the laws that hold for each: no value after bad, stale or missing; never a
// number that is none; never one that was not read within the stale time.
func TestSignalNeverShowsOld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := NewSignal(reading.SuctionTemperature, time.Duration(rapid.Int64Range(0, 100).Draw(t, "configured"))*time.Second)
		at, lastGood, lastBad := int64(0), int64(-1), int64(-1)
		var value float64
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			at += rapid.Int64Range(0, 90).Draw(t, "dt") * second
			switch rapid.IntRange(0, 5).Draw(t, "what") {
			case 0:
				s.Take(at, lost("timeout"))
			case 1:
				s.Take(at, bad("short"))
				lastBad = at
				lastGood = -1
			case 2:
				s.Take(at, good(math.NaN()))
				lastGood = -1
			default:
				x := rapid.Float64Range(-40, 40).Draw(t, "x")
				if s.Take(at, good(x)) {
					lastGood, value = at, x
				}
			}
			now := at + rapid.Int64Range(0, 400).Draw(t, "later")*second
			v, q, why := s.Now(now)
			shown := q == reading.Good || q == reading.Suspect
			if shown == math.IsNaN(v) {
				t.Fatalf("value %v with quality %v (%v)", v, q, why)
			}
			if shown && (v != value || lastGood < 0 || now-lastGood > int64(s.StaleAfter())) {
				t.Fatalf("shown %v at %d; last good %v at %d, bad at %d", v, now, value, lastGood, lastBad)
			}
			if q != reading.Good && why == nil {
				t.Fatalf("%v without a reason", q)
			}
		}
	})
}

func FuzzSignal(f *testing.F) {
	f.Add([]byte{0, 1, 2, 3, 4, 5, 6, 7})
	f.Add([]byte("\x03\x00\x10\x01\xff\x80\x02\x20"))
	f.Fuzz(func(t *testing.T, b []byte) {
		s := NewSuction(chart{}, 0)
		temp := NewSignal(reading.SuctionTemperature, 0)
		m := NewMeter(chart{}, Sensor{}, Sensor{})
		at := int64(0)
		special := []float64{math.NaN(), math.Inf(-1), -50, 999.9, 0, 1e9, math.MaxFloat64, 5e-324}
		for i := 0; i+2 < len(b); i += 3 {
			at += int64(b[i+1]) * second / 4
			r := good(float64(int8(b[i+2])))
			switch b[i] % 8 {
			case 0:
				r = lost("refused")
			case 1:
				r = bad("sentinel")
			case 2:
				r = good(special[b[i+2]%8])
			}
			if b[i]&0x80 == 0 {
				temp.Take(at, r)
			} else {
				r.Value *= 1e4
				s.Take(at, r)
			}
			var v Value
			m.Observe(at, &s, &temp, &v)
			shown := v.Quality == reading.Good || v.Quality == reading.Suspect
			if shown == math.IsNaN(float64(v.Superheat)) || shown == math.IsNaN(float64(v.Uncertainty)) {
				t.Fatalf("%+v", v)
			}
			if math.IsInf(float64(v.Superheat), 0) {
				t.Fatalf("%+v", v)
			}
		}
	})
}
