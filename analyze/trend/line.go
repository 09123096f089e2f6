// Package trend sees slow changes before they flood: it keeps one value a day
// of what tells most (lowest superheat after defrosts, air over dew, length and
// peak of defrosts, …), draws a robust line through the days and gives notice
// when the line reaches its limit within a week.
//
// It may import the standard library's pure packages and phase. Time comes with
// the samples; memory is bounded by the days kept.
package trend

import (
	"math"
	"slices"
)

// Line is a straight line through values over days that outliers do not move.
type Line struct {
	Slope     float64 // a day
	Low, High float64 // 95 % confidence interval of the slope
	First     float64 // value of the line at the first day
	Now       float64 // … and at the last
}

// pairsMost bounds the slopes of one line: all pairs of the days kept.
const pairsMost = daysKept * (daysKept - 1) / 2

// Fit draws the line of Theil (1950) and Sen (1968, J. Am. Stat. Assoc. 63,
// 1379): the slope is the median of the slopes of all pairs, the level the
// median of what is left. The confidence interval is Sen's, from the normal
// approximation of Kendall's statistic. It needs at least three different days,
// in order, and no more than the days kept; ok says whether there were.
func Fit(days, values []float64) (l Line, ok bool) {
	n := len(days)
	if n < 3 || n != len(values) || n > daysKept {
		return Line{}, false
	}
	var buffer [pairsMost]float64
	slopes := buffer[:0]
	for i := range n {
		for j := i + 1; j < n; j++ {
			if d := days[j] - days[i]; d > 0 {
				slopes = append(slopes, (values[j]-values[i])/d)
			}
		}
	}
	if len(slopes) < 3 {
		return Line{}, false
	}
	slices.Sort(slopes)
	l.Slope = middle(slopes)
	k := float64(n)
	c := 1.96 * math.Sqrt(k*(k-1)*(2*k+5)/18)
	lower := int(math.Round((float64(len(slopes)) - c) / 2))
	l.Low, l.High = math.Inf(-1), math.Inf(1) // too few pairs to say
	if lower >= 1 {
		l.Low, l.High = slopes[lower-1], slopes[len(slopes)-lower]
	}
	var levels [daysKept]float64
	for i := range n {
		levels[i] = values[i] - l.Slope*days[i]
	}
	slices.Sort(levels[:n])
	level := middle(levels[:n])
	l.First, l.Now = level+l.Slope*days[0], level+l.Slope*days[n-1]
	return l, true
}

// middle returns the median of sorted values.
func middle(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
