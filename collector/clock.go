package collector

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Jump is a step of the wall clock against monotonic time: the clock was set,
// or the machine slept.
type Jump struct {
	At        time.Time     // what the daemon's clock shows after it
	By        time.Duration // forward when positive
	Ahead     time.Duration // how far the daemon's clock now runs ahead of the wall clock
	Restarted bool          // the daemon's clock went back with it: see ErrSetBack
}

// ErrSetBack reports that the wall clock was set back so far that a Clock went
// back with it. Whatever orders things by time must restart.
var ErrSetBack = errors.New("the clock was set back")

// String describes the step in words.
func (j Jump) String() string {
	switch {
	case j.Restarted:
		return fmt.Sprintf("clock was set back by %s: more than can be caught up with, so times go back too", -j.By.Round(time.Millisecond))
	case j.By >= 0:
		return fmt.Sprintf("clock went forward by %s: it was set, or the machine slept; nothing was read in between", j.By.Round(time.Millisecond))
	}
	return fmt.Sprintf("clock was set back by %s; times go on without a step, %s ahead of the wall clock, 1 %% slow until it has caught up",
		-j.By.Round(time.Millisecond), j.Ahead.Round(time.Millisecond))
}

const (
	// jumpLimit is the smallest step worth a note; the slow corrections of a
	// disciplined clock stay far below it.
	jumpLimit = time.Second
	// maxAhead is the longest step back that a clock catches up with slowly, in
	// less than an hour. After a longer one, time stamps of other devices would
	// look wrong for days.
	maxAhead = 30 * time.Second
	// slewShare is how much slower than monotonic time a clock runs that is ahead:
	// one part in slew. Durations are wrong by no more.
	slewShare = 100
	// maxJumps bounds the notes that wait for a call of Jumps.
	maxJumps = 16
	// maxWait is the longest single wait, so that a clock set forward is noticed.
	maxWait = 10 * time.Second
)

// RealClock shows wall time in UTC. When the wall clock is set back a little,
// RealClock goes on from monotonic time, a little slowly, until the wall clock
// has caught up; when it is set back by more than half a minute, it goes back
// with it and Until returns ErrSetBack. RealClock follows a forward step at
// once. Jumps returns a note of each step.
type RealClock struct {
	source func() (wall time.Time, mono time.Duration)

	mu       sync.Mutex
	wall     time.Time // at the last call
	mono     time.Duration
	shown    time.Time
	restarts int // how often it went back
	jumps    []Jump
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
	c := &RealClock{source: read}
	c.wall, c.mono = read()
	c.shown = c.wall
	return c
}

// Now returns the time.
func (c *RealClock) Now() time.Time {
	now, _ := c.read()
	return now
}

// read returns the time and how often the clock went back.
func (c *RealClock) read() (time.Time, int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	wall, mono := c.source()
	passed := mono - c.mono
	by := wall.Sub(c.wall) - passed
	c.wall, c.mono = wall, mono
	least := c.shown.Add(passed - passed/slewShare)
	ahead := least.Sub(wall)
	c.shown = wall
	switch {
	case ahead > maxAhead:
		c.restarts++
	case ahead > 0:
		c.shown = least
	}
	if by.Abs() >= jumpLimit {
		c.note(Jump{At: c.shown, By: by, Ahead: c.shown.Sub(wall), Restarted: ahead > maxAhead})
	}
	return c.shown, c.restarts
}

func (c *RealClock) note(j Jump) {
	if len(c.jumps) < maxJumps {
		c.jumps = append(c.jumps, j)
		return
	}
	// The last note absorbs further steps, so that the sum of By stays right.
	last := &c.jumps[maxJumps-1]
	last.At, last.By, last.Ahead, last.Restarted = j.At, last.By+j.By, j.Ahead, last.Restarted || j.Restarted
}

// Jumps returns the steps noticed since it was last called.
func (c *RealClock) Jumps() []Jump {
	c.mu.Lock()
	defer c.mu.Unlock()
	jumps := c.jumps
	c.jumps = nil
	return jumps
}

// Until waits until the clock shows t or ctx ends. It fails with ErrSetBack
// when the clock goes back meanwhile.
func (c *RealClock) Until(ctx context.Context, t time.Time) error {
	_, before := c.read()
	return wait(ctx, func() (time.Duration, error) {
		now, restarts := c.read()
		if restarts != before {
			return 0, ErrSetBack
		}
		return min(t.Sub(now), maxWait), nil
	})
}

// ScaledClock runs at a multiple of real speed from a chosen start. The demo
// uses it.
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
	return wait(ctx, func() (time.Duration, error) {
		d := float64(t.Sub(c.Now())) / c.speed
		if d > 0 && d < 1 {
			d = 1
		}
		return time.Duration(min(d, float64(maxWait))), nil
	})
}

// wait waits until left returns no time, and returns the error of left or
// ctx.Err.
func wait(ctx context.Context, left func() (time.Duration, error)) error {
	var timer *time.Timer
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		d, err := left()
		if err != nil || d <= 0 {
			return err
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
