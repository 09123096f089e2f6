// Package replay plays a recording on the live page at a chosen speed: pause,
// step, on to the next event, from the beginning again. Rows go through the same
// pipeline as live ones; only their pace differs.
//
// It may import pipeline, snapshot, alert and analyze. Real time sets the pace
// only: the analysis receives the recording's time.
package replay

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/snapshot"
)

// Recording yields the rows of a recording, and io.EOF after the last.
type Recording interface {
	Next(ctx context.Context, row *reading.Row) error
	Close() error
}

// Setting describes the recording that a player plays.
type Setting struct {
	Site     analyze.Site
	Open     func() (Recording, error) // from the beginning
	Name     string                    // of the recording, for people
	From, To time.Time                 // of its first and last row
	Units    string
	Speed    float64
	Board    *snapshot.Board
}

// Limits of speed.
const (
	Slowest = 0.1
	Fastest = 5000
)

const (
	// longestWait is the longest real time that a gap in the recording takes.
	longestWait = 3 * time.Second
	// publishEvery bounds how often a snapshot is published; idleEvery keeps the
	// snapshot of a paused replay from looking old.
	publishEvery = 100 * time.Millisecond
	idleEvery    = 5 * time.Second
	// searchPublishEvery is how often a search for the next event shows where it is.
	searchPublishEvery = 500 * time.Millisecond
)

// Player plays one recording. Do and Events may be called from any goroutine.
type Player struct {
	Setting
	commands chan command
	now      func() time.Time

	mu      sync.Mutex
	history *alert.History

	// Owned by Run.
	recording   Recording
	pipeline    *pipeline.Pipeline
	row         reading.Row // read and not yet played
	result      analyze.Result
	status      snapshot.Replay
	anchor      time.Time // real time at which anchored was due
	anchorRow   time.Time
	publishedAt time.Time
	recent      []alert.Event
	hasRow      bool // row has been read and not yet played
}

type command struct {
	do    string
	speed float64
	done  chan error
}

// New returns a player; Run plays.
func New(s Setting) *Player {
	return &Player{Setting: s, commands: make(chan command), now: time.Now, history: alert.NewHistory(0)}
}

// Do executes one request: "play", "pause", "step" (one row), "next_event",
// "start_over", or "speed" with the times of real speed. It returns when it is
// done, or with an error that lists the possible requests.
func (p *Player) Do(ctx context.Context, do string, speed float64) error {
	switch do {
	case "play", "pause", "step", "next_event", "start_over":
	case "speed":
		if !(speed >= Slowest && speed <= Fastest) {
			return fmt.Errorf("speed %g: choose between %g and %d", speed, Slowest, Fastest)
		}
	default:
		return fmt.Errorf("%q is unknown to a replay; there are play, pause, step, next_event, start_over and speed", do)
	}
	c := command{do, speed, make(chan error, 1)}
	select {
	case p.commands <- c:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-c.done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Events returns the events so far, as the journal does for a live site.
func (p *Player) Events(since time.Time, onlyOpen bool) []alert.Event {
	p.mu.Lock()
	defer p.mu.Unlock()
	events := p.history.Since(since)
	if !onlyOpen {
		return events
	}
	var open []alert.Event
	for _, ev := range events {
		if ev.Closed == nil {
			open = append(open, ev)
		}
	}
	return open
}

// Run plays until ctx ends. At the end of the recording it stops and keeps the last row.
func (p *Player) Run(ctx context.Context) error {
	defer func() {
		if p.recording != nil {
			_ = p.recording.Close() // read only: nothing can be lost
		}
	}()
	if err := p.restart(ctx); err != nil {
		return err
	}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		timer.Reset(p.wait())
		select {
		case <-ctx.Done():
			return nil
		case c := <-p.commands:
			p.handle(ctx, c)
		case <-timer.C:
			if p.status.Paused || p.status.Ended {
				p.publish()
				continue
			}
			if err := p.playDue(ctx); err != nil {
				return err
			}
		}
	}
}

// handle executes a command and publishes the result before Do returns.
func (p *Player) handle(ctx context.Context, c command) {
	err := p.execute(ctx, c)
	p.publish()
	c.done <- err
}

// restart opens the recording and plays its first row.
func (p *Player) restart(ctx context.Context) error {
	if p.recording != nil {
		last := p.recording
		p.recording = nil
		if err := last.Close(); err != nil {
			return err
		}
	}
	recording, err := p.Open()
	if err != nil {
		return err
	}
	p.recording = recording
	if p.pipeline, err = pipeline.New(p.Site); err != nil {
		return err
	}
	p.mu.Lock()
	p.history = alert.NewHistory(0)
	p.mu.Unlock()
	speed := p.Speed
	if p.status.Speed != 0 {
		speed = p.status.Speed
	}
	p.status = snapshot.Replay{Recording: p.Name, From: p.From, To: p.To, Speed: speed}
	p.recent, p.hasRow = nil, false
	if _, err := p.step(ctx); err != nil {
		return err
	}
	p.resetPace()
	p.publish()
	return nil
}

// resetPace makes now the real time of the last played row; the pace counts from
// there.
func (p *Player) resetPace() { p.anchor, p.anchorRow = p.now(), p.result.Time }

// wait returns the real time until the next row or snapshot is due.
func (p *Player) wait() time.Duration {
	if p.status.Paused || p.status.Ended {
		return idleEvery
	}
	return max(0, min(p.due().Sub(p.now()), longestWait))
}

// due is the real time at which the next row is due; now when it is not read yet.
func (p *Player) due() time.Time {
	if !p.hasRow {
		return p.now()
	}
	return p.anchor.Add(time.Duration(float64(p.row.Time.Sub(p.anchorRow)) / p.status.Speed))
}

// playDue plays the rows that are due, as many as a moment allows.
func (p *Player) playDue(ctx context.Context) error {
	if p.due().Sub(p.now()) > longestWait {
		// After a gap, play on from its end.
		p.anchor, p.anchorRow = p.now(), p.row.Time
	}
	began := p.now()
	for !p.status.Ended && !p.due().After(p.now()) {
		if _, err := p.step(ctx); err != nil {
			return err
		}
		if p.now().Sub(began) > publishEvery {
			p.resetPace() // the machine is slower than asked for
			break
		}
	}
	if p.now().Sub(p.publishedAt) >= publishEvery || p.status.Ended {
		p.publish()
	}
	return nil
}

// step plays one row and reads the next. It reports whether an event opened.
func (p *Player) step(ctx context.Context) (opened bool, err error) {
	if !p.hasRow {
		if err := p.read(ctx); err != nil || p.status.Ended {
			return false, err
		}
	}
	result, changes := p.pipeline.Step(&p.row)
	p.result = result
	p.status.Rows++
	p.mu.Lock()
	p.history.Apply(changes...)
	p.mu.Unlock()
	for _, c := range changes {
		if c.Kind == alert.Opened {
			opened = true
			where := c.Event.Group
			if c.Event.Compressor != "" {
				where += " " + c.Event.Compressor
			}
			p.status.Last = fmt.Sprintf("%s of %s opened at %s", c.Event.Kind, where, c.Event.Opened.UTC().Format("15:04:05"))
		}
		if c.Kind.Ends() {
			p.recent = append([]alert.Event{c.Event}, p.recent[:min(len(p.recent), 19)]...)
		}
	}
	p.Board.AddToTraces(result.Time, result.States)
	return opened, p.read(ctx)
}

func (p *Player) read(ctx context.Context) error {
	err := p.recording.Next(ctx, &p.row)
	p.hasRow = err == nil
	if errors.Is(err, io.EOF) {
		p.status.Ended = true
		return nil
	}
	return err
}

// execute executes a command.
func (p *Player) execute(ctx context.Context, c command) error {
	switch c.do {
	case "pause":
		p.status.Paused = true
	case "play":
		p.status.Paused = false
		p.resetPace()
	case "speed":
		p.status.Speed = c.speed
		p.resetPace()
	case "start_over":
		return p.restart(ctx)
	case "step":
		p.status.Paused = true
		if !p.status.Ended {
			_, err := p.step(ctx)
			return err
		}
	case "next_event":
		return p.playToNextEvent(ctx)
	}
	return nil
}

// playToNextEvent plays as fast as the machine allows until an event opens, and
// pauses there.
func (p *Player) playToNextEvent(ctx context.Context) error {
	p.status.Paused = true
	for !p.status.Ended {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case c := <-p.commands: // another command ends the search
			p.handle(ctx, c)
			return nil
		default:
		}
		if opened, err := p.step(ctx); opened || err != nil {
			return err
		}
		if p.now().Sub(p.publishedAt) >= searchPublishEvery {
			p.publish()
		}
	}
	p.status.Last = "no further event to the end of the recording"
	return nil
}

// publish publishes where the replay is.
func (p *Player) publish() {
	p.publishedAt = p.now()
	s := snapshot.Of(p.Site, p.pipeline, p.result)
	status := p.status
	s.Mode, s.Units, s.Replay = "replay", p.Units, &status
	s.Recent = p.recent
	p.Board.Publish(s)
}
