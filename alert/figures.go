package alert

import (
	"math"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// figures are what an event counts since its condition began, not rounded. They
// are of the measured superheat, the one of states.csv and of the page; what
// detectors estimate for the gas behind its sensor's lag goes by other names.
type figures struct {
	below   float64 // K, −margin of the row before where it counts, else 0
	seconds float64 // s with the margin below zero
	dose    float64 // K·s, the same weighted by how far
	lowest  minimum // the row with the lowest superheat
	deepest minimum // the row with the lowest margin; another one where the floor has changed
}

// minimum is a row at which something was lowest.
type minimum struct {
	superheat, margin float64 // K, NaN before any
	floor             float64 // K, NaN where it is not known, as in journals of old
	phase             string
}

var noMinimum = minimum{superheat: math.NaN(), margin: math.NaN(), floor: math.NaN()}

func newFigures() figures { return figures{lowest: noMinimum, deepest: noMinimum} }

// measure takes a row's state into the figures: the state of the row before
// stood for the watched time (unless this one has no verdict), this one is
// looked at for the minima. It returns what was added to seconds and dose.
func (x *figures) measure(st *analyze.State, v floodback.Verdict, watched time.Duration) (seconds, dose float64) {
	if x.below > 0 && v != floodback.Unknown {
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
	counts := v == floodback.Present || st.Phase == frame.Steady || st.Phase == frame.Pulldown || st.Phase == frame.Defrost
	if !counts || st.Phase == frame.Off {
		return
	}
	now := minimum{float64(st.Superheat), float64(st.Margin), float64(st.Floor), st.Phase.String()}
	if less(now.superheat, x.lowest.superheat) {
		x.lowest = now
	}
	if less(now.margin, x.deepest.margin) {
		x.deepest = now
	}
	if st.Margin < 0 && IsRunning(st) {
		x.below = -float64(st.Margin)
	}
	return
}

// less reports whether a is less than b as far as b is known.
func less(a, b float64) bool { return a < b || math.IsNaN(b) }

// into writes the figures into an event, each rounded here and nowhere else.
func (x *figures) into(ev *Event) {
	ev.SecondsBelow = rounded(x.seconds, 1)
	ev.KelvinSecondsBelow = rounded(x.dose, 1)
	ev.MinSuperheatK = known(x.lowest.superheat)
	ev.MinMarginK = known(x.deepest.margin)
}

// headline puts the figures of a floodback into evidence: the lowest superheat
// with the floor that held there, and the lowest margin where that is of
// another row. Every number is the event's own, or has another name. Empty where
// the event has no minimum, or one of an old journal, whose floor is not known.
func (x *figures) headline(ev *Event) []evidence.Item {
	low, deep := &x.lowest, &x.deepest
	if ev.Kind != floodback.Floodback.String() || ev.MinSuperheatK == nil || ev.MinMarginK == nil || ev.FloorK == nil || known(low.floor) == nil {
		return nil
	}
	lowest, where := evidence.Difference("min_superheat", units.Kelvin(*ev.MinSuperheatK)), evidence.Name("phase", low.phase)
	margin := evidence.Difference("min_margin", units.Kelvin(*ev.MinMarginK))
	if *ev.MinMarginK >= 0 {
		return []evidence.Item{evidence.New(evidence.SuperheatAboveFloor, lowest, margin, where)}
	}
	below := -*ev.MinMarginK
	sameRow := low.floor == deep.floor // the margin is lowest where the superheat is, as long as the floor is the same
	if !sameRow {
		below = *known(low.floor) - *ev.MinSuperheatK // adds up as shown, also after a restart
	}
	var items []evidence.Item
	opening, at := evidence.Difference("floor", units.Kelvin(*ev.FloorK)), evidence.Difference("floor_at_minimum", units.Kelvin(low.floor))
	if opening.Number == at.Number {
		items = append(items, evidence.New(evidence.SuperheatBelowFloor, lowest, evidence.Difference("below", units.Kelvin(below)), opening, where))
	} else {
		items = append(items, evidence.New(evidence.SuperheatBelowChangedFloor, lowest, evidence.Difference("below", units.Kelvin(below)), at, where, opening))
	}
	if !sameRow && known(deep.floor) != nil {
		items = append(items, evidence.New(evidence.LowestMargin, margin,
			evidence.Difference("superheat_at_min_margin", units.Kelvin(deep.superheat)), evidence.Difference("floor_at_min_margin", units.Kelvin(deep.floor)),
			evidence.Name("phase", deep.phase)))
	}
	return items
}

// figuresOf continues those of an event of an earlier run. It returns with them
// the evidence that is not built from figures.
func figuresOf(ev Event) (figures, []evidence.Item) {
	x := figures{seconds: ev.SecondsBelow, dose: ev.KelvinSecondsBelow, lowest: noMinimum, deepest: noMinimum}
	x.lowest.superheat, x.deepest.margin = orNaN(ev.MinSuperheatK), orNaN(ev.MinMarginK)
	var rest []evidence.Item
	for _, i := range ev.Evidence {
		switch i.Code {
		case evidence.SuperheatBelowFloor:
			x.lowest.floor, x.lowest.phase = i.Number("floor_k"), i.Word("phase")
		case evidence.SuperheatBelowChangedFloor:
			x.lowest.floor, x.lowest.phase = i.Number("floor_at_minimum_k"), i.Word("phase")
		case evidence.SuperheatAboveFloor:
			x.lowest.floor, x.lowest.phase = orNaN(ev.MinSuperheatK)-orNaN(ev.MinMarginK), i.Word("phase")
		case evidence.LowestMargin:
			x.deepest.superheat, x.deepest.floor, x.deepest.phase = i.Number("superheat_at_min_margin_k"), i.Number("floor_at_min_margin_k"), i.Word("phase")
		default:
			rest = append(rest, i)
		}
	}
	x.lowest.margin = x.lowest.superheat - x.lowest.floor
	if math.IsNaN(x.deepest.floor) {
		x.deepest.superheat, x.deepest.floor, x.deepest.phase = x.lowest.superheat, x.lowest.floor, x.lowest.phase
	}
	return x, rest
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
