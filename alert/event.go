// Package alert turns findings into events: hold and clear, one event for one
// episode, the journal that survives a restart, the exposure ledger, notifiers.
//
// It may import analyze and its sub-packages and the standard library. Time
// comes with the rows, never from a clock.
package alert

import (
	"time"

	"dewgap/analyze/floodback"
)

// Event is one episode, as the contract's section 4 writes it.
type Event struct {
	ID                 string     `json:"id"`
	Kind               string     `json:"kind"`
	Severity           string     `json:"severity"`
	Site               string     `json:"site"`
	Group              string     `json:"group"`
	Compressor         string     `json:"compressor"`
	Opened             time.Time  `json:"opened"`
	Closed             *time.Time `json:"closed"`
	Began              time.Time  `json:"began"`
	Phase              string     `json:"phase"`
	FloorK             *float64   `json:"floor_k"`
	MinSuperheatK      *float64   `json:"min_superheat_k"`
	MinMarginK         *float64   `json:"min_margin_k"`
	SecondsBelow       float64    `json:"seconds_below"`
	KelvinSecondsBelow float64    `json:"kelvin_seconds_below"`
	Circuits           []Score    `json:"circuits"`
	Causes             []Cause    `json:"causes"`
	Input              string     `json:"input,omitempty"`    // sensor_fault, no_data: the point concerned
	Evidence           []string   `json:"evidence,omitempty"` // in words, headline first
}

// Score is a circuit's share in an event.
type Score struct {
	Name  string   `json:"name"`
	Score float64  `json:"score"`
	Why   []string `json:"why,omitempty"`
}

// Cause is a candidate cause of an event.
type Cause struct {
	Cause string   `json:"cause"`
	Score float64  `json:"score"`
	Why   []string `json:"why,omitempty"`
}

// ChangeKind is what happened to an event.
type ChangeKind uint8

// Changes of an event.
const (
	Opened ChangeKind = iota + 1
	Escalated
	Closed
)

// Change is one entry of the journal: an event after something happened to it.
type Change struct {
	Kind  ChangeKind
	At    time.Time
	Event Event
}

// Key says which episode a finding belongs to.
type Key struct {
	Kind       floodback.Kind
	Compressor int
	Input      int
}
