package cause

import (
	"math"
	"slices"

	"dewgap/analyze/filter"
)

var nan = math.NaN()

// Common practice (evaporator superheat 3–7 K), no source.
const (
	usualOver = 6.0 // K, outlet superheat where nothing is known of the coils
	minNormal = 3.0 // K
)

// baseline is how a circuit ran in the day before a floodback.
type baseline struct {
	normal    float64 // outlet superheat that it should have, K
	own       float64 // median of what it had, K; NaN not known
	mostlyLow float64 // share of the time in which it was far below normal; NaN not known
	cleanGap  float64 // air above dew with a clean coil: lower quartile, K
	air       float64 // median, °C
	summaries int     // that this stands on
}

// lookBack fills base with how the circuits ran before time to. A valve that
// was never right has no good past, so normal is a circuit's own usual
// superheat or that of its neighbours, whichever is higher.
func (g *Group) lookBack(base []baseline, to int64) {
	for i := range base {
		b, p := &base[i], &g.coils[i].past
		b.own, b.summaries = p.quantile(to, 0.5, overDew)
		b.cleanGap = nan
		if gap, n := p.quantile(to, 0.25, airOverDew); n >= enoughSummaries {
			b.cleanGap = gap
		}
		b.air, _ = p.quantile(to, 0.5, air)
	}
	for i := range base {
		b := &base[i]
		others := fromOthers(len(base), i, func(j int) float64 { return base[j].own })
		b.normal = b.own
		if !(others <= b.normal) && !math.IsNaN(others) {
			b.normal = others
		}
		if math.IsNaN(b.normal) || b.normal < usualOver && math.IsNaN(others) {
			b.normal = usualOver
		}
		b.normal = max(b.normal, minNormal)
		b.mostlyLow = g.coils[i].past.lowShare(to, b.normal)
	}
}

// maxOthers bounds the circuits that one is compared with.
const maxOthers = 32

// fromOthers returns the median of what is known of the n circuits but i; NaN
// when nothing is.
func fromOthers(n, i int, of func(j int) float64) float64 {
	var buffer [maxOthers]float64
	known := buffer[:0]
	for j := range n {
		if v := of(j); j != i && !math.IsNaN(v) && len(known) < maxOthers {
			known = append(known, v)
		}
	}
	slices.Sort(known)
	return filter.Median(known)
}
