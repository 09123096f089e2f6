package phase

import (
	"math"
	"testing"

	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// watched returns the evidence of pressures that stood still and then moved
// within half a minute, by up K of dew, to dew, and by down K of
// condensing temperature downwards. The usual dew is −10 °C; the dew and the
// condensing temperature usually move by 0.27 and 0.47 K in half a minute, of
// which the deviations are 0.4 and 0.7 K.
func watched(up, down, dew float64) *pressureEvidence {
	var f pressureEvidence
	f.usual.Set(-10)
	f.learned = usualTau
	f.restless.Update(0.4*0.6745, nothingMoves)
	f.sways.Update(0.7*0.6745, nothingMoves)
	for i := int64(-90); i <= 5; i += 5 {
		x := frame.Frame{At: 1e15 + i*1e9, Dew: units.Celsius(dew), CondensingDew: units.Celsius(35 - down)}
		switch {
		case i < -35: // longer ago than half a minute
			x.Dew, x.CondensingDew = x.Dew+1, x.CondensingDew+1
		case i <= -20:
			x.Dew, x.CondensingDew = units.Celsius(dew-up), units.Celsius(35+0*down)
		}
		f.observe(&x, false, 0)
	}
	return &f
}

// What the two pressures of a group show together, one step to each side of
// each limit. A stop lets the suction rise and the condensing temperature fall; a
// start the other way round. Numbers: common practice, no source.
func TestPressuresTogether(t *testing.T) {
	dew := func(up float64) float64 { return 0.25 * moveLLR(up, 0.4, 0.02) }
	part := func(down float64) float64 { return 0.25 * moveLLR(down, 0.7, 0.02) }
	for _, c := range []struct {
		name          string
		up, down, dew float64
		want, shut    float64
	}{
		{"nothing moves", 0, 0, -10, dew(0) / 2, 0},
		{"a rise, discharge pressure not known", 3, nan, -10, dew(3), 0},
		{"a rise, the discharge hardly falls", 3, 0.9, -10, dew(3) / 2, 0},
		{"a rise, the discharge falls", 3, 1.7, -10, dew(3) + part(1.7), 0},
		{"a rise, the discharge falls a little", 3, 1.1, -10, min(dew(3)+part(1.1), 0), 0},
		{"both rise: more load", 1, -4, -10, 0, 0},
		{"both rise, the dew by far more", 3, -1.1, -10, dew(3) + part(-1.1), 0},
		{"a fall, the discharge rises", -3, -4, -10, dew(-3) + part(-4), 0},
		{"both fall: less load", -1, 4, -10, 0, 0},
		{"both fall, the discharge less", -3, 1.1, -10, dew(-3) + part(1.1), 0},
		{"the discharge falls alone: fans", 0.2, 4, -10, dew(0.2) + part(4)*0.25, 0},
		{"the discharge falls, the dew rises a little", 0.8, 4, -10, dew(0.8) + part(4), 0},
		{"the discharge rises, the dew falls a little", -0.4, -4, -10, dew(-0.4) + part(-4)*0.5, 0},
		{"a valve opens far below the usual dew", 3, nan, -13.2, 0.25 * moveLLR(3, 0.4, 0.2), 0},
		{"the same less far below it", 3, nan, -12.8, dew(3), 0},
		{"dew far over the usual", 0, 0, -3.9, dew(0)/2 - 0.2, 0},
		{"dew less far over the usual", 0, 0, -4.1, dew(0) / 2, 0},
		{"dew far over the usual, falling", -0.4, 0, -3, dew(-0.4) / 2, 0},
		{"dew far over the usual, hardly falling", -0.25, 0, -3, dew(-0.25)/2 - 0.2, 0},
		{"dew far over the usual, the discharge rises", 0, -1.1, -3, max(dew(0)+part(-1.1), 0), 0},
		{"dew far over the usual, the discharge hardly rises", 0, -0.9, -3, dew(0)/2 - 0.2, 0},
		{"the discharge collapses", 3, 5.2, -10, dew(3) + part(5.2), dew(3) + part(5.2)},
		{"the discharge falls", 3, 4.8, -10, dew(3) + part(4.8), 0},
		{"the dew jumps", 5.2, 0.1, -10, dew(5.2) / 2, dew(5.2) / 2},
		{"the dew rises fast", 4.8, 0.1, -10, dew(4.8) / 2, 0},
		{"the dew jumps, the discharge rises", 5.2, -0.1, -10, dew(5.2) / 2, 0},
		{"the discharge collapses, the dew falls", -3, 5.2, -10, max(dew(-3)+part(5.2), 0), 0},
	} {
		f := watched(c.up, c.down, c.dew)
		if math.Abs(f.evidence-c.want) > 0.01 {
			t.Errorf("%s: %.3f nats for running, want %.3f", c.name, f.evidence, c.want)
		}
		if math.Abs(f.shut-c.shut) > 0.01 {
			t.Errorf("%s: %.3f nats of a stop of all, want %.3f", c.name, f.shut, c.shut)
		}
	}
}

// Evidence ends where a pressure is not known any more.
func TestPressuresUnknown(t *testing.T) {
	f := watched(3, 5.2, -10)
	f.suction.Reset()
	f.observe(&frame.Frame{At: 1e15 + 10e9, Dew: units.Celsius(nan), CondensingDew: units.Celsius(nan)}, false, 5e9)
	if f.evidence != 0 || f.shut != 0 {
		t.Errorf("without a suction pressure: %g and %g nats, want none", f.evidence, f.shut)
	}
}

// The noise of a running group is learned, within bounds: a calm group still
// has a sensor's, a restless one may not hide every stop. The usual dew follows
// within half an hour.
func TestPressuresLearnNoise(t *testing.T) {
	for _, c := range []struct {
		name       string
		runs       bool
		swing      float64 // K, square, of dew; twice that of condensing
		dew, other float64 // deviations
	}{
		{"calm", true, 0.01, 0.6, 1.05}, // never seen to move
		{"stands", false, 0.4, 0.6, 1.05},
		{"restless", true, 3, 1, 1.5},
		{"in between", true, 0.45, 0.667, 1.334},
	} {
		var f pressureEvidence
		for i := range int64(720) {
			swing := c.swing
			if i/6%2 == 0 {
				swing = 0
			}
			f.observe(&frame.Frame{At: 1e15 + i*5e9, Dew: units.Celsius(-10 + swing), CondensingDew: units.Celsius(35 + 2*swing)}, c.runs, 5e9)
		}
		f.observe(&frame.Frame{At: 1e15 + 720*5e9, Dew: -10, CondensingDew: 35}, false, 5e9)
		if got := deviation(&f.restless, leastDewNoise, mostDewNoise); math.Abs(got-c.dew) > 0.05 {
			t.Errorf("%s: dew %.3f K, want %.3f", c.name, got, c.dew)
		}
		if got := deviation(&f.sways, leastCondensingNoise, mostCondensingNoise); math.Abs(got-c.other) > 0.08 {
			t.Errorf("%s: condensing %.3f K, want %.3f", c.name, got, c.other)
		}
		if !c.runs && f.usual.Known() {
			t.Errorf("%s: a usual dew of %g °C is learned of standing", c.name, f.usual.Value())
		}
	}
	var f pressureEvidence
	f.usual.Set(0)
	f.learned = usualTau
	for i := range int64(1800) {
		f.observe(&frame.Frame{At: 1e15 + i*1e9, Dew: -10, CondensingDew: 35}, true, 1e9)
	}
	if got := f.usual.Value(); math.Abs(got+6.32) > 0.02 { // one time constant: 63 %
		t.Errorf("usual dew half an hour after a change from 0 to −10 °C: %.2f, want −6.32", got)
	}
}

// Whose evidence the pressures are: of one machine all; of several that may run,
// only what all make together; of the first to start none.
func TestPressuresOfAGroup(t *testing.T) {
	for _, c := range []struct {
		name     string
		running  []frame.Tristate
		evidence float64
		want     float64 // of the first machine
	}{
		{"alone", []frame.Tristate{frame.Yes}, 1, 1},
		{"alone, stands", []frame.Tristate{frame.No}, 1, 1},
		{"another runs", []frame.Tristate{frame.Yes, frame.Yes}, -1, -0.3},
		{"another may run", []frame.Tristate{frame.Yes, frame.Unset}, -1, -0.3},
		{"the other stands", []frame.Tristate{frame.Yes, frame.No}, 1, 1},
		{"both stand, one starts", []frame.Tristate{frame.No, frame.No}, 1, 0},
		{"both stand", []frame.Tristate{frame.No, frame.No}, -1, -1},
	} {
		g := NewGroup(Settings{}, len(c.running), nil)
		for i, r := range c.running {
			g.Compressors[i].running = r
		}
		g.pressure.evidence, g.pressure.shut = c.evidence, -0.3
		if got := g.pressures(0); got != c.want {
			t.Errorf("%s: %g nats, want %g", c.name, got, c.want)
		}
	}
}

// The mean of those that run for sure beside a machine, and were followed within
// the last two minutes.
func TestMovesOfOthers(t *testing.T) {
	g := NewGroup(Settings{}, 4, nil)
	g.last = 1e15
	set := func(i int, running frame.Tristate, sure bool, age int64, pipe, hot float64) {
		g.Compressors[i].running, g.Compressors[i].sure = running, sure
		g.estimators[i].last, g.estimators[i].moved = g.last-age*1e9, moves{pipe, hot}
	}
	set(0, frame.Yes, true, 0, 100, 100)
	set(1, frame.Yes, true, 0, 2, -4)
	set(2, frame.Yes, true, 119, 4, -6)
	set(3, frame.No, true, 0, 50, 50)
	if got := g.others(0); got != (moves{3, -5}) {
		t.Errorf("two run: %v, want 3 and −5 K", got)
	}
	set(2, frame.Yes, true, 121, 4, -6)
	set(3, frame.Yes, false, 0, 50, 50)
	if got := g.others(0); got != (moves{2, -4}) {
		t.Errorf("one runs for sure: %v, want 2 and −4 K", got)
	}
	set(1, frame.No, true, 0, 2, -4)
	if got := g.others(0); !math.IsNaN(got.pipe) || !math.IsNaN(got.hot) {
		t.Errorf("none runs for sure: %v, want nothing known", got)
	}
	two := NewGroup(Settings{}, 2, nil)
	two.Compressors[1] = Compressor{running: frame.Yes, sure: true}
	two.estimators[1].moved = moves{1, 1}
	if got := two.others(0); got != (moves{1, 1}) {
		t.Errorf("the other of two: %v", got)
	}
	if got := NewGroup(Settings{}, 1, nil).others(0); !math.IsNaN(got.pipe) {
		t.Errorf("alone: %v, want nothing known", got)
	}
}

// Rows that are a minute apart are compared with each other: a stop and a start
// show in the first row after them, however slow the rows are.
func TestPressuresFromRowToRow(t *testing.T) {
	const minuteRows = int64(60e9)
	full := func(up float64) float64 { return moveLLR(up, 1.5*leastDewNoise, 0.02) }
	other := func(down float64) float64 { return moveLLR(down, 1.5*leastCondensingNoise, 0.02) }
	for _, c := range []struct {
		name     string
		step     int64
		up, down float64
		want     float64 // of one row, nats
	}{
		{"a stop", minuteRows, 12, 9, full(12) + other(9)},
		{"a start", minuteRows, -12, -9, full(-12) + other(-9)},
		{"nothing", minuteRows, 0, 0, full(0) / 2},
		{"a stop between rows of 20 s", slowRows, 12, 9, (full(12) + other(9))},
		{"rows of 15 s have points half a minute ago", 15e9, 0, 0, 3 * pressureShare * full(0) / 2},
	} {
		var f pressureEvidence
		at := int64(1e15)
		for range 6 {
			f.observe(&frame.Frame{At: at, Dew: -10, CondensingDew: 35}, false, c.step)
			at += c.step
		}
		f.observe(&frame.Frame{At: at, Dew: units.Celsius(-10 + c.up), CondensingDew: units.Celsius(35 - c.down)}, false, c.step)
		if got := f.evidence * steps(c.step/int64(5e9)); math.Abs(got-c.want) > 0.01 {
			t.Errorf("%s: %.3f nats for running, want %.3f", c.name, got, c.want)
		}
	}
}

// The usual dew is a mean of what was seen until half an hour was; for ten minutes
// nothing counts as over it: a start begins far below.
func TestUsualDewIsLearned(t *testing.T) {
	var f pressureEvidence
	at := int64(1e15)
	play := func(dew float64, seconds int64) {
		for range seconds {
			f.observe(&frame.Frame{At: at, Dew: units.Celsius(dew), CondensingDew: 35}, true, 1e9)
			at += 1e9
		}
	}
	play(-22, 60)
	play(-10, 530)
	if f.evidence < 0 {
		t.Errorf("%.3f nats before ten minutes", f.evidence)
	}
	if got := f.usual.Value(); math.Abs(got+11.2) > 0.1 { // (60 × −22 + 530 × −10) / 590
		t.Errorf("usual dew %.2f °C, want −11.2", got)
	}
	play(-22, 600)
	play(-10, 60)
	if f.evidence > -0.1 {
		t.Errorf("%.3f nats with a dew of 6 K over the usual %.1f °C", f.evidence, f.usual.Value())
	}
}
