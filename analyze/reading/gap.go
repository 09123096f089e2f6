package reading

import (
	"slices"
	"time"
)

const (
	// gapIntervals is how many intervals between rows are remembered.
	gapIntervals = 32
	// A row stands for gapFactor times the usual interval between rows, and for
	// shortestGap at least: a poll or two may be lost. Common practice, no source.
	gapFactor   = 3
	shortestGap = 10 * time.Second
	// firstGap is the limit as long as fewer than gapEnough intervals are known.
	firstGap  = time.Minute
	gapEnough = 4
)

// GapDetector is the one definition of a gap in the data: it measures how much of
// the time between two rows the earlier row can stand for. A hole in the data, a
// suspended machine or a clock that jumps makes an interval that nobody watched,
// which opens and closes nothing. Its zero value has seen no row.
type GapDetector struct {
	last      time.Time
	intervals [gapIntervals]time.Duration
	n         int // intervals seen, ever
}

// Interval is the time between two rows.
type Interval struct {
	Watched time.Duration // what the earlier row stands for: all of it or nothing
	Between time.Duration // by the rows' times, never negative
	Gap     bool          // nobody watched, or time went back
	Long    bool          // a gap of LongGap or more: what was before stands for nothing
}

// LongGap is the gap in which a machine may have stopped and started again
// unseen, with a start phase of its own: twice the shortest such stop. Common
// practice, no source.
const LongGap = 2 * time.Minute

// Next takes the time of the next row.
func (d *GapDetector) Next(t time.Time) Interval {
	last := d.last
	d.last = t
	if last.IsZero() {
		return Interval{}
	}
	between := t.Sub(last)
	if between <= 0 {
		return Interval{Gap: between < 0, Long: between < 0}
	}
	gap := between > shortestGap && between > d.limit()
	d.intervals[d.n%gapIntervals] = between
	d.n++
	if gap {
		return Interval{Between: between, Gap: true, Long: between >= LongGap}
	}
	return Interval{Watched: between, Between: between}
}

// Last returns the time of the newest row; zero before the first.
func (d *GapDetector) Last() time.Time { return d.last }

// limit is the longest interval between two rows that counts as watched. It
// follows the fourth longest of the last intervals: the odd gap does not move
// it, and rows that come in bursts (one for each device) do not either.
func (d *GapDetector) limit() time.Duration {
	n := min(d.n, gapIntervals)
	if n < gapEnough {
		return firstGap
	}
	sorted := d.intervals
	s := sorted[:n]
	slices.Sort(s)
	usual := s[max(0, n-4)]
	if n < 8 { // too few for a fourth longest: take the middle
		usual = s[n/2]
	}
	return max(shortestGap, gapFactor*usual)
}
