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
	slotLeast  = 12 // ticks that make a summary: a minute
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

// fall tells in how many seconds the superheat went most of the way down from
// normal to low. NaN when it did not come down while it was watched.
func (p *past) fall(to int64, low, normal float64) float64 {
	_, took := p.way(to, float32(low), float32(normal), func(s *slot) float32 { return s.over })
	return took
}

// rise tells when air over dew began to rise from clean by over, and in how
// many seconds it went most of the way.
func (p *past) rise(to int64, clean, over float32) (onset int64, took float64) {
	return p.way(to, clean+over, clean, func(s *slot) float32 { return s.gap })
}

// way walks back from now to then and returns when the value left then and the
// seconds between a quarter and three quarters of the way; NaN when the way was
// never seen.
func (p *past) way(to int64, now, then float32, of func(*slot) float32) (onset int64, took float64) {
	all := now - then
	if all*all < 1 {
		return to, nan
	}
	onset, took = to, nan
	most := to
	p.each(to, func(s *slot) bool {
		v := of(s)
		if v != v {
			return true
		}
		part := (v - then) / all
		if part > 0.75 {
			most = s.from
		}
		if part > 0.25 {
			onset = s.from
			return true
		}
		took = float64(most-s.from)/1e9 - 300
		return false
	})
	return onset, took
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
