package modbus

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// block is one read that serves neighbouring points. After a device refuses the
// whole read, the halves are read instead, until it is time to try the whole
// again.
type block struct {
	unit   uint8
	table  Table
	points []*state // in order of address
	first  uint16
	length uint16

	halves  []*block  // nil while the block is read whole
	rejoin  time.Time // when to try the whole again
	splits  int       // how often joining has failed
	backoff backoff
}

// state is a point with its persistence between reads.
type state struct {
	Point
	persist persistence
}

// width is how many registers or bits the point takes.
func (p *Point) width() int {
	if p.Table.bits() {
		return 1
	}
	return p.Mapping.Type.Words()
}

func (p *Point) last() int { return int(p.Address) + p.width() - 1 }

func (t Table) bits() bool { return t == Coil || t == Discrete }

// String is how a technician names the table.
func (t Table) String() string {
	switch t {
	case Coil:
		return "coil"
	case Discrete:
		return "discrete input"
	case Holding:
		return "holding register"
	case Input:
		return "input register"
	}
	return "table"
}

// reference is the number that manuals with leading digits give an address:
// 40001 is the first holding register.
func (t Table) reference(address uint16) int {
	return map[Table]int{Coil: 0, Discrete: 100000, Holding: 400000, Input: 300000}[t] + int(address) + 1
}

// maxQuantity is the longest read of the table.
func (t Table) maxQuantity() int {
	if t.bits() {
		return maxBits
	}
	return maxRegisters
}

// newBlock reads points, which are in order of address.
func newBlock(points []*state) *block {
	first, last := points[0], 0
	for _, p := range points {
		last = max(last, p.last())
	}
	return &block{unit: first.Unit, table: first.Table, points: points,
		first: first.Address, length: uint16(last - int(first.Address) + 1)}
}

// String names the read as a technician would: unit 3, input registers 100–119.
func (b *block) String() string {
	if b.length == 1 {
		return fmt.Sprintf("unit %d %s %d", b.unit, b.table, b.first)
	}
	return fmt.Sprintf("unit %d %ss %d–%d", b.unit, b.table, b.first, int(b.first)+int(b.length)-1)
}

// plan joins points of one unit and one period into as few reads as the gap,
// the protocol's limits and the forbidden ranges allow.
func plan(points []*state, gap int, forbidden []Span) []*block {
	points = slices.Clone(points)
	slices.SortStableFunc(points, func(a, b *state) int {
		return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.Address, b.Address))
	})
	var blocks []*block
	start, end := 0, -1 // of the points in the block; end is its last address
	for i, p := range points {
		if i > start && !joins(points[start], p, end, gap, forbidden) {
			blocks = append(blocks, newBlock(points[start:i:i]))
			start, end = i, -1
		}
		end = max(end, p.last())
	}
	if start < len(points) {
		blocks = append(blocks, newBlock(points[start:]))
	}
	return blocks
}

// joins reports whether p may be read together with the block from first to end.
func joins(first, p *state, end, gap int, forbidden []Span) bool {
	if p.Table.bits() {
		gap *= 16 // a gap is worth its bytes
	}
	if p.Table != first.Table || int(p.Address)-end-1 > gap || max(end, p.last())-int(first.Address)+1 > p.Table.maxQuantity() {
		return false
	}
	for _, f := range forbidden {
		if f.Unit == p.Unit && f.Table == p.Table && int(f.First) <= max(end, p.last()) && f.Last >= first.Address {
			return false
		}
	}
	return true
}

// split makes the halves: at the widest gap, where a missing register is most
// likely, or in the middle.
func (b *block) split() {
	at, widest := len(b.points)/2, 0
	end := b.points[0].last()
	for i, p := range b.points[1:] {
		if gap := int(p.Address) - end - 1; gap > widest {
			at, widest = i+1, gap
		}
		end = max(end, p.last())
	}
	b.halves = []*block{newBlock(b.points[:at:at]), newBlock(b.points[at:])}
}

// Delays before a split read is tried as one again.
const (
	rejoinAfter = time.Hour
	maxRejoin   = 24 * time.Hour
)

// refused records that the device rejected the whole read.
func (b *block) refused(now time.Time, random func() float64) {
	if b.halves == nil {
		b.split()
	}
	d := min(rejoinAfter<<min(b.splits, 10), maxRejoin)
	b.splits++
	b.rejoin = now.Add(d + time.Duration(random()*float64(d)/4))
}
