package collector

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// Jump is a step of the wall clock against monotonic time: the clock was set,
// or the machine slept.
type Jump struct {
	At    time.Time     // what the daemon's clock shows after it
	By    time.Duration // forward when positive
	Ahead time.Duration // how far the daemon's clock now runs ahead of the wall clock
}

// String says in words what happened.
func (j Jump) String() string {
	if j.By >= 0 {
		return fmt.Sprintf("clock went forward by %s: it was set, or the machine slept; nothing was read in between", j.By.Round(time.Millisecond))
	}
	return fmt.Sprintf("clock was set back by %s; times go on without a step, %s ahead of the wall clock, 1 %% slow until it has caught up",
		-j.By.Round(time.Millisecond), j.Ahead.Round(time.Millisecond))
}

const (
	// jumpLimit is the smallest step worth a note; the slow corrections of a
	// disciplined clock stay far below it.
	jumpLimit = time.Second
	// slew is how much slower than monotonic time a clock runs that is ahead:
	// one part in slew. Durations are wrong by no more.
	slew = 100
	// maxJumps bounds the notes that nobody has taken.
	maxJumps = 16
	// nap is the longest single wait, so that a clock set forward is noticed.
	nap = 10 * time.Second
)

// RealClock shows wall time in UTC that never goes back. When the wall clock
// is set back, RealClock goes on from monotonic time, a little slowly, until
// the wall clock has caught up; a forward step is taken at once. Either is
// noted, see Jumps.
type RealClock struct {
	read func() (wall time.Time, mono time.Duration)

	mu    sync.Mutex
	wall  time.Time // at the last call
	mono  time.Duration
	shown time.Time
	jumps []Jump
}

// NewRealClock returns a clock on the machine's own.
func NewRealClock() *RealClock {
	start := time.Now()
	return newRealClock(func() (time.Time, time.Duration) {
		now := time.Now()
		return now.Round(0).UTC(), now.Sub(start) // Round drops the monotonic part, Sub uses it
	})
}

func newRealClock(read func() (time.Time, time.Duration)) *RealClock {
	c := &RealClock{read: read}
	c.wall, c.mono = read()
	c.shown = c.wall
	return c
}

// Now returns the time.
func (c *RealClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	wall, mono := c.read()
	passed := mono - c.mono
	by := wall.Sub(c.wall) - passed
	c.wall, c.mono = wall, mono
	if least := c.shown.Add(passed - passed/slew); wall.Before(least) {
		c.shown = least
	} else {
		c.shown = wall
	}
	if by.Abs() >= jumpLimit {
		c.note(Jump{At: c.shown, By: by, Ahead: c.shown.Sub(wall)})
	}
	return c.shown
}

func (c *RealClock) note(j Jump) {
	if len(c.jumps) < maxJumps {
		c.jumps = append(c.jumps, j)
		return
	}
	// The last note takes the rest in: the sum stays right.
	last := &c.jumps[maxJumps-1]
	last.At, last.By, last.Ahead = j.At, last.By+j.By, j.Ahead
}

// Jumps returns the steps noticed since it was last called.
func (c *RealClock) Jumps() []Jump {
	c.mu.Lock()
	defer c.mu.Unlock()
	jumps := c.jumps
	c.jumps = nil
	return jumps
}

// Until waits until the clock shows t or ctx ends.
func (c *RealClock) Until(ctx context.Context, t time.Time) error {
	return wait(ctx, func() time.Duration { return min(t.Sub(c.Now()), nap) })
}

// ScaledClock runs at a multiple of real speed from a chosen start. The demo
// lives on it.
type ScaledClock struct {
	begun time.Time // real, with monotonic part
	start time.Time
	speed float64
}

// NewScaledClock returns a clock that shows start now and runs speed times as
// fast as real time; speed must be positive.
func NewScaledClock(start time.Time, speed float64) *ScaledClock {
	if !(speed > 0) {
		panic(fmt.Sprintf("collector: clock speed %g is not positive", speed))
	}
	return &ScaledClock{begun: time.Now(), start: start.UTC(), speed: speed}
}

// Now returns the time.
func (c *ScaledClock) Now() time.Time {
	return c.start.Add(time.Duration(float64(time.Since(c.begun)) * c.speed))
}

// Until waits until the clock shows t or ctx ends.
func (c *ScaledClock) Until(ctx context.Context, t time.Time) error {
	return wait(ctx, func() time.Duration {
		d := float64(t.Sub(c.Now())) / c.speed
		if d > 0 && d < 1 {
			d = 1
		}
		return time.Duration(min(d, float64(nap)))
	})
}

// wait waits as long as left says there is time left, and returns ctx.Err.
func wait(ctx context.Context, left func() time.Duration) error {
	var timer *time.Timer
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		d := left()
		if d <= 0 {
			return nil
		}
		if timer == nil {
			timer = time.NewTimer(d)
			defer timer.Stop()
		} else {
			timer.Reset(d)
		}
		select {
		case <-ctx.Done():
		case <-timer.C:
		}
	}
}
