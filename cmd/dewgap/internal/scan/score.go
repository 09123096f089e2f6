package scan

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"dewgap/analyze/units"
	"dewgap/collector/register"
)

// Scores are natural logarithms of how much rarer a reading is than the
// commonest. Common practice, no source: registers of refrigeration controllers
// hold tenths of a degree and hundredths of a bar more often than anything else.

// way is one scale and unit in which devices send a quantity.
type way struct {
	kind  Kind
	unit  units.Unit
	scale float64
	score float64
	us    float64 // score at a site with US units
}

var ways = []way{
	{Temperature, degC, 0.1, 0, -1.5},
	{Temperature, degC, 0.01, -1, -2.5},
	{Temperature, degC, 1, -1.2, -2.5},
	{Temperature, degC, 0.001, -3, -4},
	{Temperature, degF, 0.1, -2.5, 0},
	{Temperature, degF, 1, -3.5, -1},
	{Pressure, barg, 0.01, -1, -2},
	{Pressure, barg, 0.1, -1.3, -2.3},
	{Pressure, barg, 0.001, -1.6, -2.6},
	{Pressure, barg, 1, -2.7, -3.7},
	{Pressure, kPag, 1, -2, -3},
	{Pressure, psig, 0.1, -3, -0.7},
	{Pressure, psig, 1, -3.3, -1},
	{Pressure, psig, 0.01, -4, -2},
}

// typeScore is the score of a type and order.
func typeScore(t register.Type, o register.Order) float64 {
	score := 0.0
	switch t {
	case register.Float32:
		// Two integers that together look like a float of a plausible size are rare.
		score = 3
	case register.Int32, register.Uint32:
		score = -1.8
	case register.Uint16:
		score = -0.8
	}
	switch o {
	case register.CDAB:
		score -= 0.1
	case register.BADC, register.DCBA: // bytes swapped inside words: seldom
		score -= 2.5
	}
	return score
}

// valued lists the quantities that a series of numbers may be. Floats, and the
// numbers of messages (type 0), are quantities already.
func valued(t register.Type, o register.Order, raw []float64, score float64, system units.System) []Reading {
	var all []Reading
	for _, w := range ways {
		own := w.score
		if system == units.US {
			own = w.us
		}
		if t == register.Float32 || t == 0 {
			if w.scale != 1 {
				continue
			}
			own = unscaledScore(w, system)
		}
		r := Reading{Kind: w.kind, Type: t, Order: o, Scale: w.scale, Unit: w.unit, Words: t.Words(), Series: make([]float64, len(raw))}
		for i, x := range raw {
			r.Series[i] = x * w.scale
		}
		fit, ok := plausibility(w, r.Series)
		if !ok {
			continue
		}
		r.Score = score + own + fit
		all = append(all, r)
	}
	return all
}

// unscaledScore is the score of a unit where the number needs no scale.
func unscaledScore(w way, system units.System) float64 {
	foreign := w.unit == degF || w.unit == psig
	score := 0.0
	if foreign != (system == units.US) {
		score = -2.6
	}
	if w.kind == Pressure {
		score -= 0.8
	}
	if w.unit == kPag {
		score -= 0.7
	}
	return score
}

// Limits of what a store's refrigeration shows, in bar gauge and °C. Common
// practice, no source.
const (
	leastPressure, mostPressure       = -0.7, 45.0
	usualPressure, usualMostPressure  = 0.15, 28.0
	leastTemperature, mostTemperature = -55.0, 135.0
	usualCold, usualWarm, usualHot    = -45.0, 40.0, 110.0

	maxStepPressure    = 3.0 // bar on average from sweep to sweep
	maxStepTemperature = 10.0
	erratic            = -4.0
)

// plausibility judges a series in the unit of w; not ok where a value is beyond
// what a store's refrigeration shows.
func plausibility(w way, values []float64) (score float64, ok bool) {
	inBar := 1.0
	switch w.unit {
	case kPag:
		inBar = 0.01
	case psig:
		inBar = 6894.757 / 1e5
	}
	least, most, maxStep := leastTemperature, mostTemperature, maxStepTemperature
	convert := func(v float64) float64 { return w.unit.SI(v) }
	if w.kind == Pressure {
		least, most, maxStep = leastPressure, mostPressure, maxStepPressure
		convert = func(v float64) float64 { return v * inBar }
	}
	var known []float64
	steps, last := 0.0, math.NaN()
	for _, v := range values {
		if math.IsNaN(v) {
			continue
		}
		v = convert(v)
		if v < least || v > most {
			return 0, false
		}
		if !math.IsNaN(last) {
			steps += math.Abs(v - last)
		}
		known, last = append(known, v), v
	}
	if len(known) == 0 {
		return 0, false
	}
	if n := len(known) - 1; n >= 2 && steps/float64(n) > maxStep {
		score += erratic
	}
	slices.Sort(known)
	return score + usual(w.kind, known[len(known)/2]), true
}

// usual is the score of a median value, in bar or °C.
func usual(kind Kind, v float64) float64 {
	switch {
	case kind == Pressure && (v < usualPressure || v > usualMostPressure):
		return -1.5
	case kind == Pressure:
		return 0
	case v >= usualCold && v <= usualWarm:
		return 0
	case v > usualWarm && v <= usualHot:
		return -0.5
	}
	return -2
}

// switchScore is the score of a register that holds 0 and 1 only.
func switchScore(values []float64) float64 {
	low, high := bounds(values)
	switch {
	case low != high:
		return 3
	case high == 1:
		return 0.7
	}
	return -9
}

// close is how far below the best reading others are shown.
const close = 2.5

// sorted sorts readings, the likeliest first.
func sorted(all []Reading) []Reading {
	slices.SortStableFunc(all, func(a, b Reading) int { return cmp.Compare(b.Score, a.Score) })
	return all
}

// fewest keeps the few readings that are near the likeliest, which comes first.
func fewest(all []Reading) []Reading {
	var kept []Reading
	for _, r := range all {
		if len(kept) == maxReadings || len(kept) > 0 && r.Score < kept[0].Score-close {
			break
		}
		kept = append(kept, r)
	}
	return kept
}

const (
	// manyAlike places with one type, scale and unit show how a device sends a
	// quantity; disagrees is the score of another way.
	manyAlike = 3.0
	disagrees = -3.5
	// surelyAlike is what a form of pressure needs: a place that can be read in one
	// way only counts 1, one that can be read in two counts ½ for each.
	surelyAlike = 1.5
	// fewFloats is the share of places below which floats are chance.
	fewFloats = 1.0 / 3
	// named is the score of a kind that the name of a topic states.
	named = 3.0
)

// form is how a device sends a quantity.
type form struct {
	t     register.Type
	scale float64
	unit  units.Unit
}

// agree lets the places of one device inform each other: a device that sends most
// of its temperatures in tenths sends all of them so. It keeps the few likeliest
// readings of each.
func agree(found []Found) {
	doubtLoneFloats(found)
	for _, kind := range []Kind{Temperature, Pressure} {
		best, ok := commonForm(found, kind)
		if !ok {
			continue
		}
		for i := range found {
			for n := range found[i].Readings {
				if r := &found[i].Readings[n]; r.Kind == kind && (r.Scale != best.scale || r.Unit != best.unit) {
					r.Score += disagrees
				}
			}
			sorted(found[i].Readings)
		}
	}
	for i := range found {
		found[i].Readings = fewest(found[i].Readings)
	}
}

// doubtLoneFloats takes floats for chance where few places look like one.
func doubtLoneFloats(found []Found) {
	floats, values := 0, 0
	for i := range found {
		if r := &found[i].Readings[0]; r.Kind != Switch {
			values++
			if r.Type == register.Float32 {
				floats++
			}
		}
	}
	if values < int(manyAlike)+1 || float64(floats) >= fewFloats*float64(values) {
		return
	}
	for i := range found {
		for n := range found[i].Readings {
			if found[i].Readings[n].Type == register.Float32 {
				found[i].Readings[n].Score += disagrees
			}
		}
		sorted(found[i].Readings)
	}
}

// commonForm returns the form that most places of a kind have; not ok where too
// few agree.
func commonForm(found []Found, kind Kind) (best form, ok bool) {
	weight := map[form]float64{}
	for i := range found {
		if found[i].Readings[0].Kind != kind {
			continue
		}
		first := found[i].Readings[0]
		alike := []form{{first.Type, first.Scale, first.Unit}}
		if kind == Pressure {
			for _, r := range found[i].Readings[1:] {
				if r.Kind == kind && r.Unit == first.Unit && r.Type == first.Type && math.Abs(r.Score-first.Score) < close {
					alike = append(alike, form{r.Type, r.Scale, r.Unit})
				}
			}
		}
		for _, f := range alike {
			weight[f] += 1 / float64(len(alike))
		}
	}
	for f, w := range weight {
		likelier := cmp.Or(cmp.Compare(w, weight[best]), cmp.Compare(best.scale, f.scale), cmp.Compare(best.unit.Name, f.unit.Name), cmp.Compare(best.t, f.t))
		if likelier > 0 {
			best = f
		}
	}
	return best, weight[best] >= map[Kind]float64{Temperature: manyAlike, Pressure: surelyAlike}[kind]
}

// nameScore is what the name of a topic or field states about its kind.
func nameScore(kind Kind, p Place) float64 {
	name := strings.ToLower(p.Topic + p.Pointer)
	states := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(name, w) })
	}
	pressure, temperature := states("press", "barg", "bara", "psi", "kpa"), states("temp", "degc", "degf")
	switch {
	case pressure == temperature:
		return 0
	case pressure == (kind == Pressure):
		return named
	}
	return 0
}

// bounds returns the least and the greatest known value.
func bounds(values []float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	return low, high
}
