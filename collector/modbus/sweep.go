package modbus

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Sweep is a range of addresses of one unit that is read for a person who looks
// for values.
type Sweep struct {
	Unit        uint8
	Table       Table
	First, Last uint16
	// Pause is the least time between two requests: the bus belongs to others.
	Pause time.Duration
}

const (
	// maxSweep addresses are read in one range. It bounds how long a bus is
	// disturbed; whoever needs more scans again.
	maxSweep = 1000
	// sweepChunk is how many registers one request asks for: few enough that no
	// device refuses for the length. Common practice, no source.
	sweepChunk     = 16
	sweepChunkBits = 64
	// maxSweepFailures in a row end a sweep: the unit does not answer.
	maxSweepFailures = 3
	minSweepPause    = 50 * time.Millisecond
)

// Scanner reads a range of addresses again and again, slowly. It keeps what the
// device refused and does not ask for it again. It belongs to one goroutine.
type Scanner struct {
	sweep  Sweep
	bus    *bus
	reads  []Span
	absent int // addresses that the device does not have
	failed int // requests in a row without an answer
}

// NewScanner prepares a scanner on the bus of s, whose forbidden ranges hold; its
// points are not read. Nothing is opened before the first Read.
func NewScanner(s Settings, w Sweep) (*Scanner, error) {
	faults := []error{s.checkBus()}
	switch {
	case w.Table < Coil || w.Table > Input:
		faults = append(faults, errors.New("no table; coil, discrete, holding or input"))
	case w.First > w.Last:
		faults = append(faults, fmt.Errorf("range %d to %d is empty; the lower address comes first", w.First, w.Last))
	case int(w.Last)-int(w.First) >= maxSweep:
		faults = append(faults, fmt.Errorf("range %d to %d has more than %d addresses; scan the part that the register list names", w.First, w.Last, maxSweep))
	}
	if s.Transport != TCP && (w.Unit < 1 || w.Unit > 247) {
		faults = append(faults, fmt.Errorf("unit %d cannot be on a serial line; 1 to 247", w.Unit))
	}
	if w.Pause < minSweepPause {
		faults = append(faults, fmt.Errorf("a pause of %v between requests is too short; %v at least", w.Pause, minSweepPause))
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	c := &Scanner{sweep: w, bus: newBus(&s, s.dialer())}
	c.plan(s.Forbidden)
	if len(c.reads) == 0 {
		return nil, fmt.Errorf("range %d to %d is forbidden as a whole", w.First, w.Last)
	}
	return c, nil
}

// plan cuts the range into reads that leave the forbidden addresses out.
func (c *Scanner) plan(forbidden []Span) {
	chunk := sweepChunk
	if c.sweep.Table.bits() {
		chunk = sweepChunkBits
	}
	next, open := Span{Unit: c.sweep.Unit, Table: c.sweep.Table}, false
	for a := int(c.sweep.First); a <= int(c.sweep.Last); a++ {
		switch {
		case isForbidden(forbidden, c.sweep.Unit, c.sweep.Table, uint16(a)):
			if open {
				c.reads, open = append(c.reads, next), false
			}
		case !open:
			next.First, next.Last, open = uint16(a), uint16(a), true
		default:
			next.Last = uint16(a)
		}
		if open && int(next.Last)-int(next.First)+1 == chunk {
			c.reads, open = append(c.reads, next), false
		}
	}
	if open {
		c.reads = append(c.reads, next)
	}
}

func isForbidden(forbidden []Span, unit uint8, table Table, address uint16) bool {
	for _, f := range forbidden {
		if f.Unit == unit && f.Table == table && f.First <= address && address <= f.Last {
			return true
		}
	}
	return false
}

// Reads lists the requests of one sweep, for a person to agree to.
func (c *Scanner) Reads() []string {
	var all []string
	for _, r := range c.reads {
		b := block{unit: r.Unit, table: r.Table, first: r.First, length: r.Last - r.First + 1}
		all = append(all, b.String())
	}
	return all
}

// Absent returns how many addresses the device refused.
func (c *Scanner) Absent() int { return c.absent }

// Close closes the connection.
func (c *Scanner) Close() { c.bus.close() }

// Read reads the range once and passes each word, or bit as 0 or 1, to got. It
// ends early when ctx ends or the unit does not answer.
func (c *Scanner) Read(ctx context.Context, got func(address, word uint16)) error {
	defer context.AfterFunc(ctx, c.bus.interrupt)()
	var rest []Span
	reads := c.reads
	for i, r := range reads {
		parts, err := c.read(ctx, r, got)
		rest = append(rest, parts...)
		if err != nil {
			c.reads = append(rest, reads[i+1:]...)
			return err
		}
	}
	c.reads = rest
	return nil
}

// read reads one span and returns the spans to read the next time: itself, or
// those of its parts that the device has.
func (c *Scanner) read(ctx context.Context, r Span, got func(address, word uint16)) ([]Span, error) {
	if err := pause(ctx, c.sweep.Pause); err != nil {
		return []Span{r}, err
	}
	quantity := r.Last - r.First + 1
	data, f := c.bus.read(ctx, r.Unit, r.Table, r.First, quantity)
	if err := ctx.Err(); err != nil {
		return []Span{r}, err
	}
	if f == nil {
		c.failed = 0
		for i := range int(quantity) {
			if r.Table.bits() {
				got(r.First+uint16(i), uint16(data[i/8]>>(i%8)&1))
			} else {
				got(r.First+uint16(i), uint16(data[2*i])<<8|uint16(data[2*i+1]))
			}
		}
		return []Span{r}, nil
	}
	switch {
	case f.Code == illegalFunc:
		return nil, fmt.Errorf("unit %d has no %ss: %w", r.Unit, r.Table, f)
	case f.Code == illegalAddr || f.Code == illegalValue:
		c.failed = 0
		if quantity == 1 {
			c.absent++
			return nil, nil
		}
		return c.readHalves(ctx, r, got)
	}
	if c.failed++; c.failed >= maxSweepFailures || f.ofBus() || f.Code == gatewayPath || f.Code == gatewayTarget {
		return []Span{r}, fmt.Errorf("stopped, to leave the bus alone: %w", f)
	}
	return []Span{r}, nil
}

func (c *Scanner) readHalves(ctx context.Context, r Span, got func(address, word uint16)) ([]Span, error) {
	low, high := r, r
	low.Last = r.First + (r.Last-r.First)/2
	high.First = low.Last + 1
	parts, err := c.read(ctx, low, got)
	if err != nil {
		return append(parts, high), err
	}
	more, err := c.read(ctx, high, got)
	return append(parts, more...), err
}

// pause waits for d, or fails when ctx ends.
func pause(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
