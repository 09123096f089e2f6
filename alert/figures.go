package alert

import (
	"math"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
)

// figures are what an event counts since its condition began, not rounded. They
// are of the measured superheat, the one of states.csv and of the page.
type figures struct {
	below        float64 // K, −margin of the row before where it counts, else 0
	seconds      float64 // s with the margin below zero
	dose         float64 // K·s, the same weighted by how far
	minSuperheat float64 // K, NaN before any
	minMargin    float64 // K, NaN before any
}

func newFigures() figures { return figures{minSuperheat: math.NaN(), minMargin: math.NaN()} }

// figuresOf continues those of an event of an earlier run.
func figuresOf(ev Event) figures {
	return figures{
		seconds: ev.SecondsBelow, dose: ev.KelvinSecondsBelow,
		minSuperheat: orNaN(ev.MinSuperheatK), minMargin: orNaN(ev.MinMarginK),
	}
}

// measure takes a row's state into the figures: the state of the row before
// stood for the watched time (unless this one has no verdict), this one is
// looked at for the minima. It returns what was added to seconds and dose.
func (x *figures) measure(st *analyze.State, v floodback.Verdict, watched time.Duration) (seconds, dose float64) {
	if x.below > 0 && v != floodback.CannotTell {
		seconds = watched.Seconds()
		dose = x.below * seconds
		x.seconds += seconds
		x.dose += dose
	}
	x.below = 0
	if st == nil || !st.Quality.HasValue() {
		return
	}
	// A compressor that is off or has just started has no superheat that means
	// anything, unless the finding is about it.
	counts := v == floodback.Present || st.Phase == phase.Steady || st.Phase == phase.Pulldown || st.Phase == phase.Defrost
	if !counts || st.Phase == phase.Off {
		return
	}
	x.minSuperheat = lesser(x.minSuperheat, float64(st.Superheat))
	x.minMargin = lesser(x.minMargin, float64(st.Margin))
	if st.Margin < 0 {
		x.below = -float64(st.Margin)
	}
	return
}

// lesser returns the smaller one that is known.
func lesser(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// into writes the figures into an event, each rounded here and nowhere else.
func (x *figures) into(ev *Event) {
	ev.SecondsBelow = rounded(x.seconds, 1)
	ev.KelvinSecondsBelow = rounded(x.dose, 1)
	ev.MinSuperheatK = known(x.minSuperheat)
	ev.MinMarginK = known(x.minMargin)
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
