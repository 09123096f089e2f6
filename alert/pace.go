package alert

import (
	"slices"
	"time"
)

const (
	// paceRows is how many intervals between rows are remembered.
	paceRows = 32
	// A row speaks for paceFactor times the usual interval between rows, and
	// for surelyJoined at least. Common practice, no source: a poll or two may
	// be lost without the story breaking.
	paceFactor   = 3
	surelyJoined = 10 * time.Second
	// firstJoin is the limit as long as fewer than paceEnough intervals are known.
	firstJoin  = time.Minute
	paceEnough = 4
)

// pace tells how much of the time between two rows the earlier row can speak
// for. A hole in the data, a suspended machine or a clock that jumps makes an
// interval that nobody watched: it must neither open nor close anything.
type pace struct {
	last      time.Time
	intervals [paceRows]time.Duration
	n         int // intervals seen, ever
}

// gone is the time between two rows.
type gone struct {
	watched time.Duration // what the earlier row speaks for: all or nothing
	between time.Duration // by the rows' times, never negative
	hole    bool          // nobody watched, or time went back
}

// step takes the time of the next row.
func (p *pace) step(t time.Time) gone {
	last := p.last
	p.last = t
	if last.IsZero() {
		return gone{}
	}
	d := t.Sub(last)
	if d <= 0 {
		return gone{hole: d < 0}
	}
	hole := d > surelyJoined && d > p.limit()
	p.intervals[p.n%paceRows] = d
	p.n++
	if hole {
		return gone{between: d, hole: true}
	}
	return gone{watched: d, between: d}
}

// limit is the longest interval between two rows that counts as watched. It
// follows the fourth longest of the last intervals: the odd hole does not move
// it, and rows that come in bursts (one for each device) do not fool it.
func (p *pace) limit() time.Duration {
	n := min(p.n, paceRows)
	if n < paceEnough {
		return firstJoin
	}
	sorted := p.intervals
	s := sorted[:n]
	slices.Sort(s)
	usual := s[max(0, n-4)]
	if n < 8 { // too few for a fourth longest: take the middle
		usual = s[n/2]
	}
	return max(surelyJoined, paceFactor*usual)
}
