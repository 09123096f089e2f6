package filter

import (
	"math"
	"slices"
)

// Spread is the running mean and standard deviation of a series (Welford,
// Technometrics 4:419, 1962). Its zero value is of no values.
type Spread struct{ N, Mean, squares float64 }

// Update enters x; NaN is passed over.
func (s *Spread) Update(x float64) {
	if math.IsNaN(x) {
		return
	}
	s.N++
	d := x - s.Mean
	s.Mean += d / s.N
	s.squares += d * (x - s.Mean)
}

// Deviation returns the standard deviation; NaN for fewer than two values.
func (s *Spread) Deviation() float64 {
	if s.N < 2 {
		return math.NaN()
	}
	return math.Sqrt(s.squares / (s.N - 1))
}

// Median returns the median of values in ascending order: the mean of the two
// in the middle where their number is even; NaN of none.
func Median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// Clamp returns x, but no less than 0 and no more than 1.
func Clamp(x float64) float64 { return min(max(x, 0), 1) }

// LinearStep goes from 0 at from to 1 at to on a straight line; of NaN it is 0.
func LinearStep(x, from, to float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return Clamp((x - from) / (to - from))
}

// Line is a straight line through values over days that outliers do not move.
type Line struct {
	Slope     float64 // a day
	Low, High float64 // 95 % confidence interval of the slope
	First     float64 // value of the line at the first day
	Last      float64 // value of the line at the last day
}

// MaxLineDays is the largest number of days that a Line goes through.
const MaxLineDays = 30

// Fit draws the line of Theil (1950) and Sen (1968, J. Am. Stat. Assoc. 63,
// 1379): the slope is the median of the slopes of all pairs, the level the
// median of what is left. The confidence interval is Sen's, from the normal
// approximation of Kendall's statistic. It needs at least three different days,
// in order, and no more than MaxLineDays; ok reports whether there were.
func Fit(days, values []float64) (l Line, ok bool) {
	n := len(days)
	if n < 3 || n != len(values) || n > MaxLineDays {
		return Line{}, false
	}
	var buffer [MaxLineDays * (MaxLineDays - 1) / 2]float64
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
	l.Slope = Median(slopes)
	k := float64(n)
	c := 1.96 * math.Sqrt(k*(k-1)*(2*k+5)/18)
	lower := int(math.Round((float64(len(slopes)) - c) / 2))
	l.Low, l.High = math.Inf(-1), math.Inf(1) // too few pairs to tell
	if lower >= 1 {
		l.Low, l.High = slopes[lower-1], slopes[len(slopes)-lower]
	}
	var levels [MaxLineDays]float64
	for i := range n {
		levels[i] = values[i] - l.Slope*days[i]
	}
	slices.Sort(levels[:n])
	level := Median(levels[:n])
	l.First, l.Last = level+l.Slope*days[0], level+l.Slope*days[n-1]
	return l, true
}
