package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"dewgap/alert"
	"dewgap/config"
)

// state is what an outbox keeps over a restart.
type state struct {
	// Set tells one configuration of the target from another.
	Set string `json:"set"`
	// Since is when the target was first configured: what had ended before is not
	// told.
	Since  time.Time `json:"since"`
	Cursor uint64    `json:"cursor"` // all up to this number of the journal is done
	// Told holds the events that were told and are open, and ended ones as long
	// as the cursor has not passed them.
	Told map[string]told `json:"told"`
	// Sending is the message of an attempt. Where it may have been taken although
	// no answer came, it is sent again as it is until an answer comes.
	Sending *Message  `json:"sending,omitempty"`
	Beat    time.Time `json:"beat"`            // of the last sign of life
	Off     string    `json:"off,omitempty"`   // why it is told no more
	Given   GivenUp   `json:"given_up"`        // since the last message that said so
	Parked  []parked  `json:"parked"`          // refused, oldest first
	Again   []Message `json:"again,omitempty"` // were refused; the configuration has changed since
}

// told is what a target knows of an event.
type told struct {
	Number uint64    `json:"number"` // newest change that it was told
	At     time.Time `json:"at"`     // when, by the clock of the events
	Ended  bool      `json:"ended"`
}

// parked is a message that the target refused, with its answer.
type parked struct {
	Message Message `json:"message"`
	Reason  string  `json:"reason"`
}

// mostParked bounds the messages that are kept for a person; the oldest go first.
const mostParked = 20

// CursorFile returns the name of a target's file.
func cursorFile(target string) string { return target + ".cursor" }

// fingerprint tells whether a target is still the one that refused. It is a hash,
// for the URL may be secret.
func fingerprint(t *config.Notify) string {
	h := sha256.New()
	fmt.Fprintf(h, "%d %q %q %q %q %q %q %q", t.Kind, t.URL, t.Username, string(t.Password), t.ContentType, t.From, t.To, t.Headers)
	for _, s := range t.Secret {
		fmt.Fprintf(h, " %q", string(s))
	}
	if t.Body != nil && t.Body.Tree != nil {
		fmt.Fprintf(h, " %q", t.Body.Root.String())
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// load reads the state, or begins one.
func (o *Outbox) load(journal Journal) {
	cursor, err := alert.OpenCursor(o.dir, cursorFile(o.set.Name), &o.state)
	o.cursor = cursor
	o.saveFault(err)
	s := &o.state
	if s.Set == "" {
		s.Since, s.Cursor, s.Beat = o.now().UTC(), journal.Last(), o.now().UTC()
	}
	if s.Told == nil {
		s.Told = map[string]told{}
	}
	if set := fingerprint(o.set); s.Set != set { // whatever was wrong may be right now
		s.Set, s.Off = set, ""
		for _, p := range s.Parked {
			s.Again = append(s.Again, p.Message)
		}
		s.Parked = nil
	}
	o.maybe = s.Sending != nil // killed in the middle of an attempt
	o.read = s.Cursor
	o.reconcile(journal)
}

// save writes the state; without it a restart tells again what was told.
func (o *Outbox) save() {
	s := &o.state
	s.Cursor = o.done()
	for id, t := range s.Told {
		if t.Ended && t.Number <= s.Cursor {
			delete(s.Told, id)
		}
	}
	o.saved = time.Now()
	o.saveFault(o.cursor.Save(s))
}

// done returns the number up to which all changes are told or need no telling.
func (o *Outbox) done() uint64 {
	done := o.read
	for id, p := range o.pending {
		// What is open and was never told is found again among the open events.
		if _, was := o.state.Told[id]; (was || p.event.Closed != nil) && p.number > 0 {
			done = min(done, p.number-1)
		}
	}
	return done
}
