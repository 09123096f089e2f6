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
