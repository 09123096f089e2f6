package devices

import (
	"sync"
	"time"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// takeOver ends a clean session whole before another client with its id begins
// one. The broker library cleans up after the old client while the new one
// connects, and may then take the new client's subscriptions for the old one's.
type takeOver struct {
	broker.HookBase
	server *broker.Server

	mu      sync.Mutex
	opening map[string]*broker.Client // by client id: the session that is being opened
}

const (
	// takeOverWait bounds the wait for the end of the old session, and for a
	// session that was begun and never established.
	takeOverWait = 2 * time.Second
	// takeOverPoll is how often the old session's end is checked.
	takeOverPoll = time.Millisecond
)

func newTakeOver(s *broker.Server) *takeOver {
	return &takeOver{server: s, opening: map[string]*broker.Client{}}
}

// ID names the hook.
func (*takeOver) ID() string { return "take-over" }

// Provides lists the calls that the hook takes.
func (*takeOver) Provides(b byte) bool {
	return b == broker.OnSessionEstablish || b == broker.OnSessionEstablished
}

// OnSessionEstablish is called before the new session begins.
func (h *takeOver) OnSessionEstablish(c *broker.Client, _ packets.Packet) {
	old, ok := h.server.Clients.Get(c.ID)
	if ok && old.Properties.Clean && !old.Net.Inline {
		_ = h.server.DisconnectClient(old, packets.ErrSessionTakenOver) // its connection may be closed already
	}
	for limit := time.Now().Add(takeOverWait); time.Now().Before(limit) && !h.begin(c); {
		time.Sleep(takeOverPoll)
	}
}

// begin reports whether c may begin its session: no other client of its id has
// one, or is beginning one.
func (h *takeOver) begin(c *broker.Client) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.opening[c.ID] != nil {
		return false
	}
	if old, ok := h.server.Clients.Get(c.ID); ok && old.Properties.Clean {
		return false
	}
	h.opening[c.ID] = c
	return true
}

// OnSessionEstablished is called after the new session has begun.
func (h *takeOver) OnSessionEstablished(c *broker.Client, _ packets.Packet) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.opening, c.ID)
}
