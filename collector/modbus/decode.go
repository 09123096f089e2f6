package modbus

import (
	"encoding/binary"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
)

type persistence = register.Persistence

// words takes the point's registers out of a block's data.
func (p *Point) words(data []byte, first uint16) []uint16 {
	words := make([]uint16, 0, 2)
	for i := range p.width() {
		at := 2 * (int(p.Address) - int(first) + i)
		words = append(words, binary.BigEndian.Uint16(data[at:]))
	}
	return words
}

// bit takes the point's bit out of a block's data.
func (p *Point) bit(data []byte, first uint16) bool {
	if p.Table.bits() {
		at := int(p.Address) - int(first)
		return data[at/8]>>(at%8)&1 == 1
	}
	return p.words(data, first)[0]>>p.Bit&1 == 1
}

// isBit reports whether the point is a single bit rather than a number.
func (p *Point) isBit() bool { return p.Table.bits() || p.Bit >= 0 && p.Mapping.Type == register.Bit }

// value decodes the point from the data of a read that began at first.
func (p *Point) value(data []byte, first uint16) (float64, register.Fault) {
	if p.isBit() {
		return p.Mapping.ValueOfBit(p.bit(data, first))
	}
	return p.Mapping.ValueOfWords(p.words(data, first))
}

// reading returns the reading of the point from data received at time now.
func (p *state) reading(data []byte, first uint16, now time.Time) reading.Reading {
	value, fault := p.value(data, first)
	fault = p.persist.Judge(&p.Mapping, now, fault)
	if fault.Failed() {
		r := reading.Fail(p.Index, fault.Reason())
		r.Time = now
		return r
	}
	return reading.Reading{Point: p.Index, Time: now, Value: value, Quality: reading.Good}
}
