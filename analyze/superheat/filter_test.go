package superheat

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"pgregory.net/rapid"
)

// course is a plant seen by the conditioning: true dew and gas temperature over
// time, a pipe sensor with a first-order lag, noise on the pressure.
type course struct {
	dew   func(t float64) float64 // °C
	noise float64                 // Pa, standard deviation
	lag   time.Duration           // the pipe sensor's
}

// result of a course: error of the superheat against the true one (10 K),
// with the conditioning and without any.
type outcome struct{ rms, worst, rawRMS, rawWorst float64 }

func (c course) run(interval, stated time.Duration, from, to float64) outcome {
	s, temp := NewSuction(chart{}, 0), NewSignal(reading.SuctionTemperature, 0)
	m := NewMeter(chart{}, Sensor{}, Sensor{Lag: stated})
	rng := rand.New(rand.NewPCG(4, 2))
	pipe := c.dew(0) + 10
	var o outcome
	n := 0.0
	const fine = 100 * time.Millisecond
	for at := time.Duration(0); at.Seconds() <= to; at += fine {
		sec := at.Seconds()
		pipe += (c.dew(sec) + 10 - pipe) * (1 - math.Exp(-fine.Seconds()/c.lag.Seconds()))
		if at%interval != 0 {
			continue
		}
		p := max(chartPressure(c.dew(sec))+c.noise*rng.NormFloat64(), 12_000)
		s.Take(int64(at), good(p))
		temp.Take(int64(at), good(pipe))
		v := m.Observe(int64(at), &s, &temp)
		if sec < from {
			continue
		}
		raw, _ := chart{}.Dew(units.Pascal(p))
		e, r := float64(v.Superheat)-10, pipe-float64(raw)-10
		n++
		o.rms += e * e
		o.rawRMS += r * r
		o.worst, o.rawWorst = max(o.worst, math.Abs(e)), max(o.rawWorst, math.Abs(r))
	}
	o.rms, o.rawRMS = math.Sqrt(o.rms/n), math.Sqrt(o.rawRMS/n)
	return o
}

// TestConditioningAgainstUnfiltered tabulates what the conditioning does to a
// step, a post-defrost ramp and noise of 0.5 bar standard deviation, at polls
// of 1 s and 5 s, against the unfiltered difference. True superheat is 10 K;
// the sensor's lag is 20 s (common practice, no source).
func TestConditioningAgainstUnfiltered(t *testing.T) {
	const lag = 20 * time.Second
	ramp := func(t float64) float64 { return -20 - min(max(t-60, 0), 90)/60*10 }
	step := func(t float64) float64 {
		if t < 60 {
			return -30
		}
		return -26
	}
	flat := func(float64) float64 { return -30 }
	for _, c := range []struct {
		name     string
		course   course
		stated   time.Duration
		from, to float64
		better   float64 // the conditioned error is at most this share of the raw one
	}{
		{"step of 4 K of dew, lag known", course{step, 0, lag}, lag, 55, 180, 0.5},
		{"fall of 10 K/min, lag known", course{ramp, 0, lag}, lag, 100, 150, 0.2},
		{"fall of 10 K/min, lag really 10 s", course{ramp, 0, lag / 2}, lag, 100, 150, 1.05},
		{"fall of 10 K/min, lag really 40 s", course{ramp, 0, 2 * lag}, lag, 100, 150, 0.6},
		{"noise of 0.5 bar", course{flat, 50_000, lag}, lag, 60, 3600, 0.5},
	} {
		for _, interval := range []time.Duration{time.Second, 5 * time.Second} {
			o := c.course.run(interval, c.stated, c.from, c.to)
			t.Logf("%-36s poll %2v: error rms %5.2f K, worst %5.2f K; unfiltered rms %5.2f K, worst %5.2f K",
				c.name, interval, o.rms, o.worst, o.rawRMS, o.rawWorst)
			if o.rms > c.better*o.rawRMS {
				t.Errorf("%s at %v: rms %.2f K is more than %.2f of the unfiltered %.2f K", c.name, interval, o.rms, c.better, o.rawRMS)
			}
		}
	}
	for _, interval := range []time.Duration{time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 30 * time.Second} {
		n := windowFor(interval)
		delay := time.Duration(n/2) * interval
		t.Logf("poll %3v: median of %2d samples, delay %v (inside the lag of the pipe's sensor)", interval, n, delay)
		if delay > max(windowSpan, interval) {
			t.Errorf("poll %v: median delays by %v", interval, delay)
		}
	}
}

// TestTrap34SpikesAndStages: half-bar spikes leave no trace in the dew and are
// counted; a compressor stage passes.
func TestTrap34SpikesAndStages(t *testing.T) {
	for _, interval := range []int64{1, 5, 10} {
		s := NewSuction(chart{}, 0)
		at := int64(0)
		for i := range 210 {
			p := chartRef
			if i%25 == 20 {
				p += 50_000 // shared trade notes, §13: single spikes of 0.5 bar, common practice
			}
			s.Take(at, good(p))
			if i > 15 && float64(s.pressure) != chartRef {
				t.Fatalf("poll %d s: sample %d, median %v", interval, i, s.pressure)
			}
			at += interval * second
		}
		if s.Rejects() != 8 {
			t.Errorf("poll %d s: %d spikes counted, want 8", interval, s.Rejects())
		}
		for range 12 {
			s.Take(at, good(chartRef+20_000))
			at += interval * second
		}
		if float64(s.pressure) != chartRef+20_000 || s.Rejects() != 8 {
			t.Errorf("poll %d s: a stage gives %v with %d rejects", interval, s.pressure, s.Rejects())
		}
	}
}

// TestSteadyIsSteadyAtAnyRate: on constant input the sampling has no say.
func TestSteadyIsSteadyAtAnyRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, temp := NewSuction(chart{}, 0), NewSignal(reading.SuctionTemperature, 0)
		m := NewMeter(chart{}, Sensor{}, Sensor{})
		p, pipe := rapid.Float64Range(5e4, 2e6).Draw(t, "p"), rapid.Float64Range(-45, 30).Draw(t, "pipe")
		dew, _ := chart{}.Dew(units.Pascal(p))
		at := int64(0)
		for range rapid.IntRange(1, 40).Draw(t, "n") {
			at += rapid.Int64Range(1, 90_000).Draw(t, "dt ms") * int64(time.Millisecond)
			s.Take(at, good(p))
			temp.Take(at, good(pipe))
			v := m.Observe(at, &s, &temp)
			if math.Abs(float64(v.Superheat)-(pipe-float64(dew))) > 1e-9 {
				t.Fatalf("superheat %v, want %v", v.Superheat, pipe-float64(dew))
			}
		}
	})
}

// TestFilterStaysBetweenItsInputs: neither median nor lag invents a value.
func TestFilterStaysBetweenItsInputs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, temp := NewSuction(chart{}, 0), NewSignal(reading.SuctionTemperature, 0)
		m := NewMeter(chart{}, Sensor{}, Sensor{})
		low, high, at := math.Inf(1), math.Inf(-1), int64(0)
		rising, before := rapid.Bool().Draw(t, "rising"), 5e4
		lastDew := math.Inf(-1)
		for range rapid.IntRange(1, 50).Draw(t, "n") {
			at += rapid.Int64Range(1, 60_000).Draw(t, "dt ms") * int64(time.Millisecond)
			p := rapid.Float64Range(5e4, 2e6).Draw(t, "p")
			if rising {
				p = before + (p-5e4)/100
				before = p
			}
			low, high = min(low, p), max(high, p)
			s.Take(at, good(p))
			temp.Take(at, good(0))
			v := m.Observe(at, &s, &temp)
			a, _ := chart{}.Dew(units.Pascal(low))
			b, _ := chart{}.Dew(units.Pascal(high))
			if float64(v.Pressure) < low || float64(v.Pressure) > high || v.Dew < a-1e-9 || v.Dew > b+1e-9 {
				t.Fatalf("pressure %v dew %v outside %v…%v", v.Pressure, v.Dew, low, high)
			}
			if rising && float64(v.Dew) < lastDew-1e-9 {
				t.Fatalf("dew falls from %v to %v while pressure rises", lastDew, v.Dew)
			}
			lastDew = float64(v.Dew)
		}
	})
}

func BenchmarkOneSample(b *testing.B) {
	s, temp := NewSuction(chart{}, 0), NewSignal(reading.SuctionTemperature, 0)
	m := NewMeter(chart{}, Sensor{Gauge: true}, Sensor{})
	b.ReportAllocs()
	at := int64(0)
	for i := 0; b.Loop(); i++ {
		at += 5 * second
		s.Take(at, good(chartRef+float64(i%97)))
		temp.Take(at, good(-20+float64(i%13)/10))
		if v := m.Observe(at, &s, &temp); v.Quality != reading.Good {
			b.Fatal(v)
		}
	}
}
