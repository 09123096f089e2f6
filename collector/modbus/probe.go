package modbus

import (
	"context"
	"fmt"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
)

// Probe is the result of one read of one point, for a technician to judge.
type Probe struct {
	Point
	Words   []uint16 // as they came; nil for bits and failures
	Raw     string   // the same in hexadecimal, or the bit
	Value   float64  // SI; NaN when there is none
	Quality reading.Quality
	Reason  string
	Guesses []register.Guess // other plausible readings of the words
	Took    time.Duration
}

// Reference is the point's address as manuals with leading digits write it.
func (p *Probe) Reference() int { return p.Table.reference(p.Address) }

// ReadOnce asks for each point once, one request each, and suggests how they
// would be grouped. A point without a type or byte order is read and its
// guesses filled in. It returns early with what it has when ctx ends.
func ReadOnce(ctx context.Context, s Settings) (probes []Probe, grouping []string, err error) {
	if err := s.checkBus(); err != nil {
		return nil, nil, err
	}
	l := newBus(&s, s.dialer())
	defer l.close()
	defer context.AfterFunc(ctx, l.interrupt)()
	for _, p := range s.Points {
		probes = append(probes, probe(ctx, l, p))
		if ctx.Err() != nil {
			return probes, nil, ctx.Err()
		}
	}
	return probes, s.Grouping(), nil
}

// Grouping lists the reads that the points are joined into, one line each. It asks
// nothing of the wire.
func (s *Settings) Grouping() []string {
	var grouping []string
	for _, j := range newJobs(s) {
		for _, b := range j.blocks {
			used, end := 0, int(b.first)-1
			for _, p := range b.points {
				used += max(0, p.last()-max(end, int(p.Address)-1))
				end = max(end, p.last())
			}
			text := fmt.Sprintf("%s every %v: 1 point", b, j.period)
			if n := len(b.points); n > 1 {
				text = fmt.Sprintf("%s every %v: %d points in one read", b, j.period, n)
			}
			if unused := int(b.length) - used; unused > 0 {
				text += fmt.Sprintf(", %d of %d not needed", unused, b.length)
			}
			grouping = append(grouping, text)
		}
	}
	return grouping
}

// answerTime is how long a device on a serial line thinks before it answers.
// Common practice, no source.
const answerTime = 20 * time.Millisecond

// Load estimates the share of a serial line's time that the reads take, as
// planned: both frames, the silences of the serial-line specification, and the
// device's time to answer. It is 0 where no speed is stated.
func (s *Settings) Load() float64 {
	perByte := s.Serial.perByte()
	if perByte == 0 {
		return 0
	}
	var busy float64
	for _, j := range newJobs(s) {
		for _, b := range j.blocks {
			bytes := requestRTU + 5 + byteCount(byte(b.table), b.length)
			took := time.Duration(bytes)*perByte + 2*s.Serial.silence() + answerTime
			busy += took.Seconds() / j.period.Seconds()
		}
	}
	return busy
}

func probe(ctx context.Context, l *bus, p Point) Probe {
	quantity := uint16(p.width())
	untyped := !p.isBit() && p.Mapping.Type == 0
	if untyped && p.Address < 0xFFFF {
		quantity = 2 // enough for every type
	}
	start := time.Now()
	data, f := l.read(ctx, p.Unit, p.Table, p.Address, quantity)
	if f != nil && f.isException() && untyped && quantity == 2 {
		quantity = 1
		data, f = l.read(ctx, p.Unit, p.Table, p.Address, quantity)
	}
	result := Probe{Point: p, Took: time.Since(start)}
	if f != nil {
		failed := reading.Fail(p.Index, f.Reason())
		result.Value, result.Quality, result.Reason = failed.Value, failed.Quality, failed.Reason
		return result
	}
	if p.Table.bits() {
		result.Raw = "0"
		if p.bit(data, p.Address) {
			result.Raw = "1"
		}
	} else {
		var text []string
		for i := range int(quantity) {
			w := uint16(data[2*i])<<8 | uint16(data[2*i+1])
			result.Words = append(result.Words, w)
			text = append(text, fmt.Sprintf("0x%04X", w))
		}
		result.Raw = strings.Join(text, " ")
		if !p.isBit() {
			result.Guesses = register.Guesses(p.Mapping, result.Words)
		}
	}
	if untyped {
		result.Value, result.Quality, result.Reason = reading.Fail(p.Index, "").Value, reading.Missing, "no type is configured; see the interpretations"
		return result
	}
	one := state{Point: p}
	value, fault := one.value(data, p.Address)
	result.Value, result.Quality = value, reading.Good
	if fault.Failed() {
		result.Reason = fault.Reason()
		result.Quality = reading.QualityOf(result.Reason)
	}
	return result
}
