package phase

import (
	"math"
	"testing"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

var nan = math.NaN()

// integral of f between two moves, K.
func integral(f func(move float64) float64, from, to float64) float64 {
	const n = 40000
	sum, dx := 0.0, (to-from)/n
	for i := range n {
		sum += f(from+(float64(i)+0.5)*dx) * dx
	}
	return sum
}

// Probabilities of all moves of a running machine add to one, whatever the band;
// seven in ten and what spreads there lie within or close beside it. The shares
// are common practice, no source; that they add to one is a law.
func TestRunningMovesAddToOne(t *testing.T) {
	for _, c := range []struct {
		gas          band
		w            float64
		from, to     float64
		share, error float64
	}{
		{band{}, 1, -20, 20, 1, 0.004},
		{band{-2, 3}, 1, -20, 20, 1, 0.004},
		{band{0, 5}, 2, -18, 22, 1, 0.004},
		{band{}, 1, -1, 1, 0.7*0.954 + 0.25*0.261 + 0.0025, 0.01}, // two standard deviations of 0.5 K, a third of one of 3 K
		{band{}, 1, 3, 20, 0.25*0.159 + 0.021, 0.004},             // beyond one standard deviation of 3 K
		{band{}, 2, -1, 1, 0.7*0.843 + 0.25*0.186 + 0.0025, 0.01}, // noise grows with the root of time
	} {
		got := integral(func(m float64) float64 { return runningDensity(m, c.gas, c.w) }, c.from, c.to)
		if math.Abs(got-c.share) > c.error {
			t.Errorf("gas %v, %g min: %.4f of the moves between %g and %g K, want %.4f", c.gas, c.w, got, c.from, c.to, c.share)
		}
	}
}

// A pipe at −10 °C in a room of 20 °C relaxes by 26/50 to 34/6 K in the first
// minute, each time constant as likely as its double; 0.35 K of noise. Common
// practice, no source.
func TestStandingMoves(t *testing.T) {
	in := math.Log((34.0/6 + 0.35) / (26.0/50 + 0.35))
	for _, c := range []struct {
		name         string
		low, high, w float64
		from, to     float64
		share        float64
	}{
		{"between the time constants", 26, 34, 1, 26.0 / 50, 34.0 / 6, 0.88 + 0.008 + 0.0013},
		{"one octave of time constants", 26, 34, 1, 1, 2.35, 0.88*math.Log(2)/in + 0.0005},
		{"slower than any, or not yet", 26, 34, 1, -3, 26.0 / 50, 0.88*0.438/0.87/in + 0.112 + 0.001},
		{"faster than any metal", 26, 34, 1, 34.0 / 6, 9, 0.88*0.438/6.3/in + 0.0008},
		{"anything", 26, 34, 1, 12, 17, 0.01 / 8},
		{"two minutes", 26, 34, 2, 52.0 / 50, 68.0 / 6, 0.94 + 0.0026},
		{"room around the pipe", -4, 4, 1, 0, 4.0 / 6, 0.88 + 0.12/2*0.943},
		{"hot pipe, mirrored", -34, -26, 1, -34.0 / 6, -26.0 / 50, 0.88 + 0.008 + 0.0013},
		{"hot pipe that warms", -34, -26, 1, 12, 17, 0.01 / 8},
	} {
		got := integral(func(m float64) float64 { return standingDensity(m, c.low, c.high, c.w) }, c.from, c.to)
		if math.Abs(got-c.share) > 0.012*max(c.share, 0.05)+0.0002 {
			t.Errorf("%s: %.4f of the moves between %g and %g K, want %.4f", c.name, got, c.from, c.to, c.share)
		}
	}
}

// Moves of half a minute of the dew: the densities behind moveLLR add to one
// within 15 K to each side, and far outside the noise only what is rare counts.
// How rare is common practice, no source.
func TestMoveLLR(t *testing.T) {
	for _, c := range []struct {
		up, s, odd float64
		times      float64 // so much likelier of running
	}{
		{12, 1, 0.02, 0.05},  // a rise is twenty times likelier without a compressor
		{12, 1, 0.2, 0.5},    // a valve that opens explains it
		{-12, 1, 0.02, 20},   // nothing but a compressor lowers it so
		{0, 0.1, 0.02, 1.25}, // within the noise: three quarters against six tenths
		{2, 1, 0.02, (0.75*0.054 + 0.02/15) / (0.6*0.054 + 0.4/15)}, // two standard deviations
		{-2, 1, 0.02, (0.75*0.054 + 0.2/15) / (0.6*0.054 + 0.01/15)},
		{2, 2, 0.02, (0.75*0.121 + 0.02/15) / (0.6*0.121 + 0.4/15)}, // one
	} {
		if got := math.Exp(moveLLR(c.up, c.s, c.odd)); math.Abs(got/c.times-1) > 0.015 {
			t.Errorf("%g K with %g K of noise: %.3f times likelier of running, want %.3f", c.up, c.s, got, c.times)
		}
	}
}

// Of a normal distribution half the deviations are below 0.6745 standard
// deviations (any table of the normal distribution).
func TestDeviation(t *testing.T) {
	for _, c := range []struct{ median, want float64 }{{0, 0.6}, {0.6745, 1}, {0.1, 0.4}, {9, 2}} {
		var m filter.MedianFollower
		if c.median > 0 {
			m.Update(c.median, nothingMoves)
		}
		if got := deviation(&m, 0.4, 2); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("median %g: %g, want %g", c.median, got, c.want)
		}
	}
}

// Machines on one header move alike, within a third.
func TestBandOfNeighbours(t *testing.T) {
	for _, c := range []struct {
		move float64
		want band
	}{{3, band{2, 4}}, {-3, band{-4, -2}}, {nan, band{-1, 1}}} {
		got := band{-1, 1}.like(c.move)
		if math.Abs(got.from-c.want.from)+math.Abs(got.to-c.want.to) > 1e-9 {
			t.Errorf("neighbours moved %g K: %v, want %v", c.move, got, c.want)
		}
	}
}

// A machine room is kept from frost and people can work in it; one that is measured is as
// warm within 4 K everywhere. Common practice, no source.
func TestRoom(t *testing.T) {
	for _, c := range []struct{ ambient, low, high float64 }{{nan, 8, 34}, {20, 16, 24}} {
		if low, high := room(&frame.Frame{Ambient: units.Celsius(c.ambient)}); low != c.low || high != c.high {
			t.Errorf("ambient %g: %g to %g, want %g to %g", c.ambient, low, high, c.low, c.high)
		}
	}
}

// Gas moves a pipe away from the room, or faster to it than metal relaxes (a
// sixth of the way in a minute), by more than noise: both edges.
func TestFlowsEdges(t *testing.T) {
	for _, c := range []struct {
		pipe, move float64 // °C before and K in half a minute, in a room of 16 to 24 °C
		want       bool
	}{
		{-10, -0.7, false}, {-10, -0.9, true}, // away from it
		{-10, 3.3, false}, {-10, 3.6, true}, // 34 K/12 − move/12 + 0.8 K
		{50, 0.7, false}, {50, 0.9, true},
		{50, -3.3, false}, {50, -3.6, true},
		{20, 1, false}, {20, -1, false}, {20, 1.2, true}, // about the room
	} {
		var s runEstimator
		const at = int64(1e15)
		for i := int64(-100e9); i < 5e9; i += 5e9 {
			t := c.pipe
			switch {
			case i >= -5e9:
				t += c.move
			case i >= -25e9: // passes by 20 s ago, which is not looked at
				t += c.move / 2
			}
			s.pipe.Update(at+i, t)
		}
		if got := s.flows(&frame.Frame{At: at, Ambient: 20}); got != c.want {
			t.Errorf("pipe at %g °C moves %g K in half a minute: %v, want %v", c.pipe, c.move, got, c.want)
		}
	}
}

// The evidence of a pipe that stands apart turns the answer of a machine that
// runs for sure within two minutes; it begins 7 K over the coldest pipe.
func TestApart(t *testing.T) {
	full := (maxLLR + tipLLR) / 23 // nats in 5 s: 115 s
	for _, c := range []struct{ pipe, coldest, share float64 }{
		{20, 5, 1}, {20, 8, 1}, {20, 10.5, 0.5}, {20, 12.9, 0.02}, {20, 13.1, 0},
		{17, 0, 0.5}, {16.2, 0, 0.1}, {15.9, 0, 0}, {18, 0, 1}, {30, 0, 1},
	} {
		var s runEstimator
		s.pipe.Update(1e15, c.pipe)
		s.pipe.Update(1e15+5e9, c.pipe)
		got := s.apart(&frame.Frame{Ambient: 20}, c.coldest)
		if math.Abs(got-full*c.share) > 0.03*full {
			t.Errorf("pipe at %g °C, coldest %g: %.4f nats, want %.4f", c.pipe, c.coldest, got, full*c.share)
		}
	}
}

// The sequential test (Wald, 1945): nats add up between bounds, the answer
// changes at a margin beyond even odds, and is dated back to where the sum began
// to fall by more than it fades.
func TestTip(t *testing.T) {
	for _, c := range []struct {
		name       string
		first      float64 // nats in each of 60 steps
		then       float64
		after      int // steps of then until the answer changes
		since      int // steps of then at which it is dated
		wasRunning frame.Tristate
	}{
		{"a stop", 0.5, -0.1, 28, 0, frame.Yes},
		{"a start", -0.5, 0.1, 28, 0, frame.No},
		{"a strong stop", 0.5, -1.9, 2, 0, frame.Yes},
		{"slowly, faster than it fades", 0.5, -0.025, 109, 0, frame.Yes},
		{"slowly, slower than it fades", 0.5, -0.015, 181, 180, frame.Yes},
		{"a start, slower than it fades", -0.5, 0.015, 181, 180, frame.No},
		{"nothing seen", 0, 0, 0, 0, frame.Yes},
	} {
		var s runEstimator
		at := int64(1e15)
		for i := range 60 {
			before := s.running
			s.tip(at, c.first)
			if c.first == 0 && before == frame.Unset && s.running == frame.Yes && i != 26 {
				t.Errorf("%s: taken to run after %d steps, want 27: two minutes and a quarter", c.name, i+1)
			}
			s.bestAt = max(s.bestAt, -s.bestAt)
			at += 5e9
		}
		if s.running != c.wasRunning {
			t.Fatalf("%s: %v, want %v", c.name, s.running, c.wasRunning)
		}
		if c.after == 0 {
			continue
		}
		begin := at - 5e9 // the last step of before
		for i := 1; i < 400; i++ {
			s.tip(at, c.then)
			if s.running != c.wasRunning {
				if math.Abs(float64(i-c.after)) > 1 {
					t.Errorf("%s: changed after %d steps, want %d", c.name, i, c.after)
				}
				if got := (-s.bestAt - begin) / 5e9; math.Abs(float64(got-int64(c.since))) > 2 {
					t.Errorf("%s: dated %d steps after it began, want %d", c.name, got, c.since)
				}
				break
			}
			at += 5e9
		}
		if s.running == c.wasRunning {
			t.Errorf("%s: never changed", c.name)
		}
	}
	for llr, want := range map[float64]bool{1.21: true, 1.19: false, -1.21: true, -1.19: false} {
		if got := (&runEstimator{llr: llr}).sure(); got != want {
			t.Errorf("%g nats: sure %v", llr, got)
		}
	}
}

// How often a group is sampled does not change how fast evidence adds up, up to
// half a minute between samples; a change shows 10 s late in means of 5 s.
func TestEvidenceAddsUpWithTime(t *testing.T) {
	for _, c := range []struct {
		every int64
		steps float64 // of 5 s
	}{{1, 0.2}, {5, 1}, {20, 4}, {30, 6}, {40, 6}, {90, 6}} {
		var s runEstimator
		x := frame.Frame{Ambient: 20, SuctionPressure: 2e5, DischargePressure: 10e5}
		m := machine(-10, nan, nan, nan)
		n := 0.0
		for at := int64(0); at <= 360; at += c.every {
			x.At = 1e15 + at*1e9
			s.llr, s.running, s.best = 0, frame.No, tipLLR // no firstLLR, and no bound
			before := s.llr
			s.observe(&x, &m, -0.01, 1, unmoved, nan)
			n = (before - s.llr) / 0.01
			if at == 0 && math.Abs(n-1) > 1e-9 {
				t.Errorf("the first sample counts %.1f times 5 s, want 1", n)
			}
		}
		if want := max(c.steps, 1); n != 0 && math.Abs(n-want) > 1e-9 {
			t.Errorf("each %d s: %.2f times 5 s, want %.2f", c.every, n, want)
		}
	}
	s := runEstimator{llr: -tipLLR + 0.001, running: frame.Yes, best: 1, bestAt: 9e14, last: 1e15, bucket: 1e15 / 5e9}
	x := frame.Frame{At: 1e15 + 5e9, Ambient: 20, SuctionPressure: 2e5, DischargePressure: 10e5}
	m := machine(-10, nan, nan, nan)
	if got, since := s.observe(&x, &m, -0.01, 1, unmoved, nan); got != frame.No || since != 9e14-10e9 {
		t.Errorf("running %v since %d, want no since %d", got, since, int64(9e14-10e9))
	}
}

// Evidence before a gap in the data does not count after it.
func TestEstimatorAfterAGap(t *testing.T) {
	for gap, want := range map[int64]bool{119: true, 121: false} {
		s := runEstimator{llr: 1, running: frame.Yes, last: 1e15}
		m := machine(-10, nan, nan, nan)
		got, _ := s.observe(&frame.Frame{At: 1e15 + gap*1e9, SuctionPressure: 2e5, DischargePressure: 10e5}, &m, 0, 1, unmoved, nan)
		if (got == frame.Yes) != want {
			t.Errorf("after %d s without data: running %v", gap, got)
		}
	}
}

// ran returns an estimator whose pipes moved evenly for three minutes up to the
// values of m, at rates in K a minute.
func ran(at int64, m *frame.Compressor, pipe, hot, dew float64) *runEstimator {
	s := &runEstimator{}
	for i := int64(-180e9); i <= 5e9; i += 5e9 {
		ago := -float64(i) / 60e9
		s.pipe.Update(at+i, float64(m.Inlet.Temperature)-pipe*ago)
		s.discharge.Update(at+i, float64(m.Discharge)-hot*ago)
		s.delayedDew.Update(at+i, float64(m.Inlet.DelayedDew)-dew*ago)
	}
	return s
}

// Twelve evidences of 5 s add to that of a minute, for a pipe as for a
// discharge; a window of two minutes counts half, as each move is in it twice.
func TestAMinuteCountsOnce(t *testing.T) {
	const at = int64(1e15)
	x := frame.Frame{At: at, Ambient: 20, SuctionPressure: 2e5, DischargePressure: 10e5, CondensingDew: 35}
	for _, c := range []struct{ pipe, rate float64 }{{-10, 1.5}, {-10, -1}, {0, 6}, {8, 0.6}} {
		m := machine(-25, -25, c.pipe, nan)
		s := ran(at, &m, c.rate, nan, 0)
		low, high := 16-c.pipe, 24-c.pipe
		want := moveRatio(c.rate, band{}, low, high, 1) + moveRatio(2*c.rate, band{}, low, high, 2)/2
		if got := 12 * s.evidence(&x, 1, unmoved); math.Abs(got-want) > 0.02 {
			t.Errorf("pipe at %g °C, %g K/min: %.3f nats a minute, want %.3f", c.pipe, c.rate, got, want)
		}
		if got := 12 * s.evidence(&x, 0.5, unmoved); math.Abs(got-want/2) > 0.02 {
			t.Errorf("of half weight: %.3f nats a minute, want %.3f", got, want/2)
		}
		if math.Abs(s.moved.pipe-c.rate) > 1e-9 {
			t.Errorf("moved %g K in a minute, want %g", s.moved.pipe, c.rate)
		}
	}
	for _, c := range []struct{ hot, rate, dew float64 }{{70, -3, 0}, {70, 0.4, 0}, {60, -1.5, 0.5}, {70, -2, 1}, {70, -2, -1}} {
		m := machine(-10, -10, nan, c.hot)
		s := ran(at, &m, nan, c.rate, c.dew)
		low, high := 16-c.hot, 24-c.hot
		gas := band{}.with(-4 * c.dew) // the discharge falls when the dew rises: less lift
		want := moveRatio(c.rate, gas, low, high, 1) + moveRatio(2*c.rate, gas, low, high, 2)/2
		if got := 12 * s.evidence(&x, 1, unmoved); math.Abs(got-want) > 0.02 {
			t.Errorf("discharge at %g °C, %g K/min, dew %g K/min: %.3f nats a minute, want %.3f", c.hot, c.rate, c.dew, got, want)
		}
		if math.Abs(s.moved.hot-c.rate) > 1e-9 {
			t.Errorf("moved %g K in a minute, want %g", s.moved.hot, c.rate)
		}
	}
	// The dew carries the pipe along; neighbours narrow the first minute to theirs.
	m := machine(-25, -25, -10, nan)
	s := ran(at, &m, 1.5, nan, 2)
	want := moveRatio(1.5, band{0, 2}, 26, 34, 1) + moveRatio(3, band{0, 4}, 26, 34, 2)/2
	if got := 12 * s.evidence(&x, 1, unmoved); math.Abs(got-want) > 0.02 {
		t.Errorf("with the dew: %.3f nats a minute, want %.3f", got, want)
	}
	want = moveRatio(1.5, band{-4, -2}, 26, 34, 1) + moveRatio(3, band{0, 4}, 26, 34, 2)/2
	if got := 12 * s.evidence(&x, 1, moves{-3, nan}); math.Abs(got-want) > 0.02 {
		t.Errorf("beside neighbours: %.3f nats a minute, want %.3f", got, want)
	}
}

// What a running compressor cannot be, one step to each side of each limit, with
// nothing moving. Common practice, no source.
func TestNoCompression(t *testing.T) {
	const at = int64(1e15)
	base := func(hot float64) (frame.Frame, frame.Compressor) {
		return frame.Frame{At: at, Ambient: 20, SuctionPressure: 2e5, DischargePressure: 10e5, CondensingDew: 35}, machine(-10, -10, 5, hot)
	}
	for _, c := range []struct {
		name   string
		change func(x *frame.Frame, m *frame.Compressor, v float64)
		hot    float64 // discharge
		usual  float64 // discharge while running
		super  float64 // superheat while running
		rate   float64 // of the discharge, K/min
		no     float64 // is a running compressor,
		yes    float64 // is none
		nats   float64
	}{
		{name: "pressures apart", change: func(x *frame.Frame, _ *frame.Compressor, v float64) {
			x.DischargePressure = x.SuctionPressure + units.Pascal(v)
		}, hot: 70, no: 0.72e5, yes: 0.68e5, nats: 0.4},
		{name: "discharge over condensing", change: func(x *frame.Frame, m *frame.Compressor, v float64) { x.CondensingDew = m.Discharge - units.Celsius(v) }, hot: 60, no: 3.2, yes: 2.8, nats: 0.3},
		{name: "superheat, discharge as cool as condensing", change: func(x *frame.Frame, m *frame.Compressor, v float64) {
			x.CondensingDew, m.Inlet.DelayedDew = m.Discharge, m.Inlet.Temperature-units.Celsius(v)
		}, hot: 60, no: 7.8, yes: 8.2, nats: 0.3},
		{name: "discharge over the pipe", change: func(x *frame.Frame, m *frame.Compressor, v float64) {
			m.Inlet.Temperature = m.Discharge - units.Celsius(v)
			m.Inlet.DelayedDew, x.CondensingDew = m.Inlet.Temperature-5, 10
		}, hot: 40, no: 10.2, yes: 9.8, nats: 0.3},
		{name: "discharge below its usual", change: func(_ *frame.Frame, m *frame.Compressor, v float64) { m.Discharge = units.Celsius(80 - v) }, usual: 80, super: 10, hot: 60, no: 14.8, yes: 15.2, nats: 0.15},
		{name: "superheat against its usual, discharge low", change: func(_ *frame.Frame, m *frame.Compressor, v float64) {
			m.Inlet.DelayedDew = m.Inlet.Temperature - units.Celsius(20-v)
		}, usual: 80, super: 20, hot: 60, no: 2.2, yes: 1.8, nats: 0.15},
		{name: "discharge as cool as condensing, but rising", change: func(x *frame.Frame, m *frame.Compressor, _ float64) { x.CondensingDew = m.Discharge }, hot: 60, rate: 0.6, no: 0, yes: nan},
		{name: "discharge as cool as condensing, hardly rising", change: func(x *frame.Frame, m *frame.Compressor, v float64) { x.CondensingDew = m.Discharge - units.Celsius(v) }, hot: 60, rate: 0.45, no: 3.2, yes: 2.8, nats: 0.3},
	} {
		measure := func(v float64) float64 {
			x, m := base(c.hot)
			c.change(&x, &m, v)
			s := ran(at, &m, 0, c.rate, 0)
			if c.usual != 0 {
				s.hot.Set(c.usual)
				s.usual.Set(c.super)
			}
			return s.evidence(&x, 1, unmoved)
		}
		x, m := base(c.hot)
		plain := ran(at, &m, 0, c.rate, 0).evidence(&x, 1, unmoved)
		got := measure(c.no)
		if math.Abs(got-plain) > 0.08 {
			t.Errorf("%s, %g: %.3f nats, want as if nothing were seen, %.3f", c.name, c.no, got, plain)
		}
		if math.IsNaN(c.yes) {
			continue
		}
		if diff := got - measure(c.yes); math.Abs(diff-c.nats) > 0.02 {
			t.Errorf("%s, %g instead of %g: %.3f nats for standing, want %g", c.name, c.yes, c.no, diff, c.nats)
		}
	}
}

// What is usual is learned only while the machine runs for sure.
func TestUsualOfASureRun(t *testing.T) {
	const at = int64(1e15)
	for _, c := range []struct {
		running frame.Tristate
		llr     float64
		known   bool
	}{{frame.Yes, 1.3, true}, {frame.Yes, 1.1, false}, {frame.No, -1.3, false}} {
		x := frame.Frame{At: at, Ambient: 20, SuctionPressure: 2e5, DischargePressure: 10e5, CondensingDew: 35}
		m := machine(-10, -10, 5, 70)
		s := ran(at, &m, 0, 0, 0)
		s.running, s.llr = c.running, c.llr
		s.evidence(&x, 1, unmoved)
		if s.usual.Known() != c.known || c.known && (s.usual.Value() != 15 || s.hot.Value() != 70) {
			t.Errorf("running %v with %g nats: usual superheat %g K, discharge %g °C; want learned: %v", c.running, c.llr, s.usual.Value(), s.hot.Value(), c.known)
		}
	}
}
