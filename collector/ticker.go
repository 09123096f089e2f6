package collector

import (
	"context"
	"time"
)

// Ticker yields instants at a fixed rate: the multiples of its period on the
// clock. It never drifts, never yields an instant twice, and when the caller
// or the machine was late it goes on with the latest instant that is due and
// reports how many it left out.
type Ticker struct {
	clock  Clock
	period time.Duration
	last   time.Time
}

// Tick is one instant of a Pace.
type Tick struct {
	Time    time.Time
	Skipped int    // instants left out before this one
	Jumps   []Jump // steps of the wall clock noticed since the last tick
}

// NewTicker returns a ticker on clock; period must be positive.
func NewTicker(clock Clock, period time.Duration) *Ticker {
	return &Ticker{clock: clock, period: period, last: clock.Now().Truncate(period)}
}

// Next waits for the next instant. It returns ctx.Err when ctx ends first, and
// ErrSetBack, with the jumps, when the clock has gone back: then a new Pace must
// take over.
func (p *Ticker) Next(ctx context.Context) (Tick, error) {
	due := p.last.Add(p.period)
	err := ErrSetBack
	if !p.clock.Now().Before(p.last) {
		err = p.clock.Until(ctx, due)
	}
	if err != nil {
		return Tick{Jumps: jumps(p.clock)}, err
	}
	t := Tick{Time: due}
	if latest := p.clock.Now().Truncate(p.period); latest.After(due) {
		t.Skipped = int(latest.Sub(due) / p.period)
		t.Time = latest
	}
	p.last = t.Time
	t.Jumps = jumps(p.clock)
	return t, nil
}

// jumps takes the notes of a clock that keeps them.
func jumps(c Clock) []Jump {
	if c, ok := c.(interface{ Jumps() []Jump }); ok {
		return c.Jumps()
	}
	return nil
}
