package notify

import (
	"time"

	"dewgap/alert"
)

// Message is what a target is told at once; as JSON it is the body of a webhook.
type Message struct {
	ID       string    `json:"id"`   // the same over retries
	Type     string    `json:"type"` // event.opened and so on, events, heartbeat, test
	Time     time.Time `json:"time"` // of its newest change
	Site     string    `json:"site"`
	Severity string    `json:"severity,omitempty"` // the highest of its events
	Title    string    `json:"title"`
	Text     string    `json:"text"`
	Link     string    `json:"link,omitempty"`
	Changes  []Change  `json:"changes,omitempty"` // in the order of the journal
	// Given are changes that nobody can be told in time any more.
	Given *GivenUp `json:"given_up,omitempty"`
}

// Change is an event with what happened to it.
type Change struct {
	What   string      `json:"change"` // opened, escalated, closed, withdrawn, repeated, missed
	Number uint64      `json:"number"` // of the journal
	At     time.Time   `json:"at"`
	Event  alert.Event `json:"event"`
}

// Words of changes beside those of alert.ChangeKind.
const (
	repeated = "repeated" // still open, and nobody has acknowledged it
	missed   = "missed"   // opened and ended before it could be told
)

// GivenUp counts changes that waited for longer than they are kept, or that the
// journal had to let go.
type GivenUp struct {
	Count int       `json:"count"`
	From  time.Time `json:"from"`
	To    time.Time `json:"to"`
}

func (g *GivenUp) add(at time.Time) {
	if g.Count == 0 || at.Before(g.From) {
		g.From = at
	}
	if g.Count == 0 || at.After(g.To) {
		g.To = at
	}
	g.Count++
}
