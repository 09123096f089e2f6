package cause

import (
	"cmp"
	"slices"

	"dewgap/analyze/filter"
)

// past is a day of how a coil, an inlet or a group ran undisturbed, in
// summaries of ten minutes.
type past struct {
	summaries [summariesKept]summary // ring
	n         int                    // written so far
	open      summary
	count     int // observations in open
}

// Common practice, no source.
const (
	summaryLength   = 10 * minute
	summariesKept   = 144 // a day
	summaryMin      = 6   // observations: a minute
	pastAtMost      = 26 * 60 * minute
	enoughSummaries = 3 // from which a share or a quartile means something
)

// quantity is one of those that a past keeps.
type quantity int

const (
	overDew      quantity     = iota // superheat, K
	airOverDew                       // K
	air                              // °C
	quantities                       // number of them
	groupDew     = overDew           // of a group's past: °C
	groupRunning = airOverDew        // of a group's past: share of compressors
)

// summary holds the means of ten minutes; NaN where not known.
type summary struct {
	from int64
	mean [quantities]float32
}

// of returns one mean; NaN where not known.
func (s *summary) of(q quantity) float64 { return float64(s.mean[q]) }

func (p *past) update(at int64, values ...float64) {
	if p.count > 0 && (at-p.open.from >= summaryLength || at < p.open.from) {
		p.close()
	}
	if p.count == 0 {
		p.open = summary{from: at}
		for q := range p.open.mean {
			p.open.mean[q] = float32(nan)
		}
	}
	p.count++
	for q, v := range values {
		blend(&p.open.mean[q], v, p.count)
	}
}

// blend takes the n-th value into a mean; what is not known changes nothing.
func blend(mean *float32, v float64, n int) {
	switch {
	case v != v:
	case *mean != *mean:
		*mean = float32(v)
	default:
		*mean += (float32(v) - *mean) / float32(n)
	}
}

func (p *past) close() {
	if p.count >= summaryMin {
		p.summaries[p.n%summariesKept] = p.open
		p.n++
	}
	p.count = 0
}

// each calls f for the summaries that ended before time to, newest first, until
// f returns false.
func (p *past) each(to int64, f func(s *summary) bool) {
	for i := range min(p.n, summariesKept) {
		s := &p.summaries[(p.n-1-i)%summariesKept]
		if s.from+summaryLength <= to && to-s.from < pastAtMost && !f(s) {
			return
		}
	}
}

// point is a known mean of a summary.
type point struct {
	from  int64
	value float64
}

// known returns the known means of a quantity before time to, newest first.
func (p *past) known(buffer *[summariesKept]point, to int64, q quantity) []point {
	points := buffer[:0]
	p.each(to, func(s *summary) bool {
		if v := s.of(q); v == v {
			points = append(points, point{s.from, v})
		}
		return true
	})
	return points
}

// quantile returns a quantile of a quantity before time to, and how many
// summaries it stands on; NaN of none.
func (p *past) quantile(to int64, share float64, q quantity) (float64, int) {
	var buffer [summariesKept]point
	points := p.known(&buffer, to, q)
	n := len(points)
	if n == 0 {
		return nan, 0
	}
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(a.value, b.value) })
	return points[int(share*float64(n-1)+0.5)].value, n
}

// lowShare returns the share of the time before to in which the superheat was
// far below normal; NaN when too little was seen.
func (p *past) lowShare(to int64, normal float64) float64 {
	low, n := 0.0, 0.0
	p.each(to, func(s *summary) bool {
		if v := s.of(overDew); v == v {
			n++
			low += filter.LinearStep(v/normal, 0.65, 0.4)
		}
		return true
	})
	if n < enoughSummaries {
		return nan
	}
	return low / n
}

// Common practice, no source.
const (
	riseWithin = 25 * minute // two summaries and their slack
	riseMin    = 0.5         // K
	riseBefore = 30 * minute // compared with the steepest rise
	riseAfter  = 70 * minute // compared with the steepest rise
)

// steepestRise finds the steepest rise of a quantity in the day before to: when
// it began, by how much it rose within twenty minutes, and which share that is
// of the rise within an hour and a half around it. A fan that stops makes nearly
// all of it at once; ice takes hours. Only what went on undisturbed counts, so
// no defrost is taken for a rise. sign is −1 for the steepest fall. NaN when
// nothing rose.
func (p *past) steepestRise(to int64, q quantity, sign float64) (at int64, rise, share float64) {
	var buffer [summariesKept]point
	points := p.known(&buffer, to, q)
	for i := range points {
		points[i].value *= sign
	}
	best, top := riseMin, -1
	for i := range points {
		for j := i + 1; j < len(points) && points[i].from-points[j].from <= riseWithin; j++ {
			if d := points[i].value - points[j].value; d > best {
				best, top, at = d, i, points[j].from
			}
		}
	}
	if top < 0 {
		return 0, nan, nan
	}
	low, high := points[top].value-best, points[top].value
	for _, x := range points {
		switch d := x.from - at; {
		case d < 0 && d >= -riseBefore:
			low = min(low, x.value)
		case d > 0 && d <= riseAfter:
			high = max(high, x.value)
		}
	}
	return at, best, best / (high - low)
}

// Common practice, no source.
const (
	cameDown  = 0.4 // share of normal below which a superheat is near dew
	wasNormal = 0.6 // share of normal above which it is about normal
)

// lostBefore returns which share of normal the superheat had lost in the hour
// before it came down from normal to near dew for the first time in the day
// before to. NaN when it did not come down while it was watched.
func (p *past) lostBefore(to int64, normal float64) float64 {
	var buffer [summariesKept]point
	points := p.known(&buffer, to, overDew)
	for i := len(points) - 1; i >= 0; i-- {
		if points[i].value > cameDown*normal || i > 0 && points[i-1].value > wasNormal*normal { // it stays down
			continue
		}
		var hour, older filter.Spread
		for _, x := range points[i+1:] {
			switch d := points[i].from - x.from; {
			case d > 15*minute && d <= 70*minute:
				hour.Update(x.value)
			case d > 100*minute:
				older.Update(x.value)
			}
		}
		if hour.N < 2 || older.N < 3 || older.Mean < wasNormal*normal {
			return nan
		}
		return 1 - hour.Mean/older.Mean
	}
	return nan
}

// Common practice, no source.
const (
	reliefAfter  = 90 * minute // after the restart that is compared
	reliefBefore = 40 * minute // before the defrost that is compared
)

// relief returns by how much defrosts have helped: the mean, over the defrosts
// before to, of superheat after less before, and of air above dew before less
// after, K. NaN when there was none to compare.
func (p *past) relief(h *defrostHistory, to int64) (over, gap float64) {
	var overs, gaps filter.Spread
	for i := range h.kept() {
		run := h.nth(i)
		if run.Resumed == 0 || run.Resumed > to {
			continue
		}
		var before, after, gapBefore, gapAfter filter.Spread
		p.each(to, func(s *summary) bool {
			end := s.from + summaryLength
			switch {
			case s.from >= run.Resumed && s.from < run.Resumed+reliefAfter:
				after.Update(s.of(overDew))
				gapAfter.Update(s.of(airOverDew))
			case end <= run.Began+minute && end > run.Began-reliefBefore:
				before.Update(s.of(overDew))
				gapBefore.Update(s.of(airOverDew))
			}
			return end > run.Began-reliefBefore
		})
		if before.N > 0 && after.N > 0 {
			overs.Update(after.Mean - before.Mean)
		}
		if gapBefore.N > 0 && gapAfter.N > 0 {
			gaps.Update(gapBefore.Mean - gapAfter.Mean)
		}
	}
	return meanOf(&overs), meanOf(&gaps)
}

// meanOf returns the mean of s; NaN of nothing.
func meanOf(s *filter.Spread) float64 {
	if s.N == 0 {
		return nan
	}
	return s.Mean
}
