package cause

import (
	"slices"

	"dewgap/analyze/phase"
)

// past is a day of how a coil ran undisturbed, in summaries of ten minutes.
type past struct {
	slots [pastSlots]slot
	n     int // written so far
	open  slot
	count int
}

const (
	slotLength = 10 * minute
	pastSlots  = 144
	slotLeast  = 6 // ticks that make a summary: a minute
)

// slot is the summary of ten minutes; NaN where not known.
type slot struct {
	from           int64
	over, gap, air float32 // means of superheat, air over dew, air
}

func (p *past) take(at int64, over, gap, air float64) {
	if p.count > 0 && (at-p.open.from >= slotLength || at < p.open.from) {
		p.close()
	}
	if p.count == 0 {
		p.open = slot{at, float32(nan), float32(nan), float32(nan)}
	}
	p.count++
	s := &p.open
	blend(&s.over, over, p.count)
	blend(&s.gap, gap, p.count)
	blend(&s.air, air, p.count)
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
	if p.count >= slotLeast {
		p.slots[p.n%pastSlots] = p.open
		p.n++
	}
	p.count = 0
}

// each calls f for the summaries before time to, newest first, until f says no.
func (p *past) each(to int64, f func(s *slot) bool) {
	for i := range min(p.n, pastSlots) {
		s := &p.slots[(p.n-1-i)%pastSlots]
		if s.from+slotLength <= to && to-s.from < 26*60*minute && !f(s) {
			return
		}
	}
}

// middle returns the given quantile of a quantity before time to, and how many
// summaries it stands on.
func (p *past) middle(to int64, q float64, of func(*slot) float32) (float64, int) {
	var buffer [pastSlots]float32
	n := 0
	p.each(to, func(s *slot) bool {
		if v := of(s); v == v {
			buffer[n] = v
			n++
		}
		return true
	})
	if n == 0 {
		return nan, 0
	}
	slices.Sort(buffer[:n])
	return float64(buffer[int(q*float64(n-1)+0.5)]), n
}

func overOf(s *slot) float32 { return s.over }
func gapOf(s *slot) float32  { return s.gap }
func airOf(s *slot) float32  { return s.air }

// depthOf is how far down a dew is, for a past whose over is dew.
func depthOf(s *slot) float32 { return -s.over }

// lowShare is the share of the time before to in which the superheat was far
// below normal; NaN when too little was seen.
func (p *past) lowShare(to int64, normal float64) float64 {
	low, n := 0.0, 0.0
	p.each(to, func(s *slot) bool {
		if s.over == s.over {
			n++
			low += ramp(float64(s.over)/normal, 0.65, 0.4)
		}
		return true
	})
	if n < 3 {
		return nan
	}
	return low / n
}

// leap finds the steepest rise of a quantity in the day before to: when it
// began, by how much it rose within twenty minutes, and which share that is of
// the rise within an hour and a half around it. A fan that stops makes nearly
// all of it at once; ice takes hours. Only what went on undisturbed counts, so
// no defrost is taken for a leap. NaN when nothing rose.
func (p *past) leap(to int64, of func(*slot) float32) (at int64, rise, share float64) {
	var v [pastSlots]float32
	var from [pastSlots]int64
	n := 0
	p.each(to, func(s *slot) bool { // newest first
		if x := of(s); x == x {
			v[n], from[n] = x, s.from
			n++
		}
		return true
	})
	best := float32(0.5)
	steep := -1
	for i := range n {
		for j := i + 1; j < n && from[i]-from[j] <= leapWithin; j++ {
			if v[i]-v[j] > best {
				best, steep, at = v[i]-v[j], i, from[j]
			}
		}
	}
	if steep < 0 {
		return 0, nan, nan
	}
	low, high := v[steep]-best, v[steep]
	for i := range n {
		switch d := from[i] - at; {
		case d < 0 && d >= -30*minute:
			low = min(low, v[i])
		case d > 0 && d <= 70*minute:
			high = max(high, v[i])
		}
	}
	return at, float64(best), float64(best / (high - low))
}

// leapWithin is two summaries and their slack.
const leapWithin = 25 * minute

// sank returns which share of normal the superheat had lost in the hour before
// it came down from normal to near dew for the first time in the day before to.
// NaN when it did not come down while it was watched.
func (p *past) sank(to int64, normal float64) float64 {
	var v [pastSlots]float64
	var from [pastSlots]int64
	n := 0
	p.each(to, func(s *slot) bool { // newest first
		if s.over == s.over {
			v[n], from[n] = float64(s.over), s.from
			n++
		}
		return true
	})
	for i := n - 1; i >= 0; i-- {
		if v[i] > 0.4*normal || i > 0 && v[i-1] > 0.6*normal {
			continue
		}
		var hour, older steadiness
		for j := i + 1; j < n; j++ {
			switch d := from[i] - from[j]; {
			case d > 15*minute && d <= 70*minute:
				hour.take(v[j])
			case d > 100*minute:
				older.take(v[j])
			}
		}
		if hour.n < 2 || older.n < 3 || older.mean < 0.6*normal {
			return nan
		}
		return 1 - hour.mean/older.mean
	}
	return nan
}

// relief tells by how much defrosts have helped: the mean, over the defrosts
// of the day before to, of superheat after less before, and of air over dew
// before less after, K. NaN when there was none to compare.
func (p *past) relief(m *melts, to int64) (over, gap float64) {
	var overs, gaps steadiness
	m.each(func(e *phase.Episode) {
		if e.Resumed == 0 || e.Resumed > to {
			return
		}
		var before, after, gapBefore, gapAfter steadiness
		p.each(to, func(s *slot) bool {
			end := s.from + slotLength
			switch {
			case s.from >= e.Resumed && s.from < e.Resumed+90*minute:
				after.take(float64(s.over))
				gapAfter.take(float64(s.gap))
			case end <= e.Began+minute && end > e.Began-40*minute:
				before.take(float64(s.over))
				gapBefore.take(float64(s.gap))
			}
			return end > e.Began-40*minute
		})
		if before.n > 0 && after.n > 0 {
			overs.take(after.mean - before.mean)
		}
		if gapBefore.n > 0 && gapAfter.n > 0 {
			gaps.take(gapBefore.mean - gapAfter.mean)
		}
	})
	over, gap = nan, nan
	if overs.n > 0 {
		over = overs.mean
	}
	if gaps.n > 0 {
		gap = gaps.mean
	}
	return over, gap
}

// melts remembers the last defrosts.
type melts struct {
	all [meltsKept]phase.Episode
	n   int
}

const meltsKept = 8

// note takes a defrost that goes on or has ended.
func (m *melts) note(e *phase.Episode) {
	if e.Ended <= e.Began || e.Began == 0 {
		return
	}
	if m.n > 0 && m.all[(m.n-1)%meltsKept].Began == e.Began {
		m.all[(m.n-1)%meltsKept] = *e
		return
	}
	m.all[m.n%meltsKept] = *e
	m.n++
}

// each calls f for each of them, newest first.
func (m *melts) each(f func(*phase.Episode)) {
	for i := range min(m.n, meltsKept) {
		f(&m.all[(m.n-1-i)%meltsKept])
	}
}

// before returns the medians of length and plateau, in seconds, of the
// defrosts before the last one.
func (m *melts) before() (length, plateau float64, n int) {
	var l, p [meltsKept]float64
	for i := 1; i < min(m.n, meltsKept); i++ {
		e := &m.all[(m.n-1-i)%meltsKept]
		l[n], p[n] = float64(e.Ended-e.Began)/1e9, e.Plateau
		n++
	}
	if n == 0 {
		return nan, nan, 0
	}
	slices.Sort(l[:n])
	slices.Sort(p[:n])
	return l[n/2], p[n/2], n
}
