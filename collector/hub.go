package collector

import (
	"sync"
	"time"

	"dewgap/analyze/reading"
)

// Hub passes readings from sources to analysis. It keeps the newest reading of
// each point until a row is taken. Its memory is bounded by the number of
// points; a burst overwrites.
//
// Within one row the newest reading of a point wins, with one exception: a
// Missing that comes after a good value waits for the next row, because it
// does not affect that value and must not cost a sample.
type Hub struct {
	kinds []reading.Kind

	mu    sync.Mutex
	slots []slot
	last  time.Time // of the row taken last
	lost  uint64

	row [2]reading.Row // handed out in turn
	odd int
}

type slot struct {
	now   reading.Reading
	later reading.Reading // a Missing that waits for the next row
	has   uint8           // hasNow | hasLater
}

const (
	hasNow uint8 = 1 << iota
	hasLater
)

// NewHub returns the hub of a site's points.
func NewHub(points []reading.Point) *Hub {
	h := &Hub{kinds: make([]reading.Kind, len(points)), slots: make([]slot, len(points))}
	for i, p := range points {
		h.kinds[i] = p.Role.Kind()
	}
	for i := range h.row {
		h.row[i].Readings = make([]reading.Reading, 0, len(points))
	}
	return h
}

// Put takes a reading from any goroutine. It never waits for a device, a file
// or the analysis. A reading of a point that the
// site does not have is counted and dropped.
func (h *Hub) Put(r reading.Reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if r.Point < 0 || r.Point >= len(h.slots) {
		h.lost++
		return
	}
	r = reading.Settle(r, h.kinds[r.Point])
	s := &h.slots[r.Point]
	if r.Quality == reading.Missing && s.has&hasNow != 0 && s.now.Quality == reading.Good {
		s.later, s.has = r, s.has|hasLater
		return
	}
	s.now, s.has = r, hasNow
}

// Take returns what has arrived since the last Take, in the order of the
// points, as the row of instant t: cut to the millisecond, never before the
// row taken last. Values are as a recording holds them. The row's readings
// stay valid until the next but one Take.
func (h *Hub) Take(t time.Time) reading.Row {
	t = t.UTC().Truncate(time.Millisecond)
	h.mu.Lock()
	defer h.mu.Unlock()
	if t.Before(h.last) {
		t = h.last
	}
	h.last = t
	row := &h.row[h.odd]
	h.odd = 1 - h.odd
	row.Time, row.Readings = t, row.Readings[:0]
	for i := range h.slots {
		s := &h.slots[i]
		if s.has&hasNow == 0 {
			continue
		}
		s.now.Time = t
		row.Readings = append(row.Readings, s.now)
		s.now, s.has = s.later, s.has>>1
		s.later = reading.Reading{}
	}
	return *row
}

// Lost returns how many readings were dropped because the site has no such
// point; it is 0 unless a source is built wrongly.
func (h *Hub) Lost() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.lost
}
