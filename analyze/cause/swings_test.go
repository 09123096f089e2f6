package cause

import (
	"math"
	"testing"
)

// A swing that compressors which come and go leave no time to be seen is not
// known; one that is watched for long enough and does not come is none.
func TestASwingThatCannotBeSeenIsNotKnown(t *testing.T) {
	var w swings
	at := minute
	for range 12 { // four hours in runs of three minutes
		for range 18 {
			w.update(at, 10*second, 6)
			at += 10 * second
		}
		w.pause()
		at += 17 * minute
	}
	if got := w.swing(); !math.IsNaN(got) {
		t.Errorf("short runs only: swing %.1f K, want not known", got)
	}
	for range 60 {
		w.update(at, 10*second, 6)
		at += 10 * second
	}
	if got := w.swing(); got != 0 {
		t.Errorf("ten minutes without a break: swing %.1f K, want 0", got)
	}
}

// The climb and the bend that each start of a compressor makes are no swing of
// a valve; what comes after them may be.
func TestARestartIsNoSwing(t *testing.T) {
	play := func(superheat func(s int) float64) float64 {
		var w swings
		at := minute
		for range 12 { // four hours in runs of eight minutes
			for s := 0; s < 480; s += 10 {
				w.update(at, 10*second, superheat(s))
				at += 10 * second
			}
			w.pause()
			at += 12 * minute
		}
		return w.swing()
	}
	bend := func(s int) float64 { return 8 * math.Sin(float64(s)/480*math.Pi) }
	if got := play(bend); got != 0 {
		t.Errorf("up and down once in each run: swing %.1f K, want 0", got)
	}
	hunt := func(s int) float64 { return bend(s) + 4*math.Sin(float64(s)/90*2*math.Pi) }
	if got := play(hunt); got < 4 {
		t.Errorf("a hunt of 8 K on top: swing %.1f K, want most of it", got)
	}
}

// TestSwingLimits: a valve's half swing takes less than five minutes, and what
// moves by less than a probe's noise has not turned; both common practice, no
// source.
func TestSwingLimits(t *testing.T) {
	for _, c := range []struct {
		name         string
		peak, period float64 // K peak to peak, s
		least, most  float64
	}{
		{"two minutes", 5, 120, 4, 5.01}, {"nine minutes", 5, 540, 4, 5.01}, {"eleven minutes is no valve", 5, 660, 0, 0},
		{"within the noise", 0.6, 120, 0, 0}, {"just above the noise", 1, 120, 0.8, 1.01},
	} {
		var w swings
		for at := minute; at < 100*minute; at += interval {
			w.update(at, interval, 6+c.peak/2*math.Sin(2*math.Pi*float64(at)/1e9/c.period))
		}
		if got := w.swing(); !(got >= c.least && got <= c.most) {
			t.Errorf("%s: swing %.2f K, want %g to %g", c.name, got, c.least, c.most)
		}
	}
}

// TestASwingThatEndsFades within a quarter of an hour or so.
func TestASwingThatEndsFades(t *testing.T) {
	var w swings
	at := minute
	for ; at < 100*minute; at += interval {
		w.update(at, interval, 6+3*math.Sin(2*math.Pi*float64(at)/1e9/120))
	}
	before := w.swing()
	for end := at + 17*minute; at < end; at += interval {
		w.update(at, interval, 6)
	}
	if got := w.swing() / before; got < 0.33 || got > 0.48 { // 1/e, and two half swings until it has ended
		t.Errorf("a quarter of an hour after the last turn: %.2f of the swing is left", got)
	}
}
