package devices

import (
	"errors"
	"log/slog"
	"sync"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// MQTTBroker is a broker that can be stopped and started again at the same
// address, as a gateway's broker does when its power is cut: nothing is kept.
type MQTTBroker struct {
	mu      sync.Mutex
	address string
	server  *broker.Server
}

// StartMQTTBroker starts a broker at address, such as 127.0.0.1:0.
func StartMQTTBroker(address string) (*MQTTBroker, error) {
	b := &MQTTBroker{address: address}
	return b, b.Start()
}

// Address returns host and port, which stay the same over Stop and Start.
func (b *MQTTBroker) Address() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.address
}

// Start starts the broker when it is stopped.
func (b *MQTTBroker) Start() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.server != nil {
		return nil
	}
	s := broker.New(&broker.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)})
	for _, hook := range []broker.Hook{new(allowAll), newTakeOver(s)} {
		if err := s.AddHook(hook, nil); err != nil {
			return err
		}
	}
	l := listeners.NewTCP(listeners.Config{ID: "tcp", Address: b.address})
	if err := s.AddListener(l); err != nil {
		return err
	}
	if err := s.Serve(); err != nil {
		return errors.Join(err, s.Close())
	}
	b.server, b.address = s, l.Address()
	return nil
}

// Stop stops the broker and closes all connections.
func (b *MQTTBroker) Stop() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.server == nil {
		return nil
	}
	s := b.server
	b.server = nil
	return s.Close()
}

// Publish sends a message to all who subscribed to its topic.
func (b *MQTTBroker) Publish(topic string, payload []byte, retain bool) error {
	b.mu.Lock()
	s := b.server
	b.mu.Unlock()
	if s == nil {
		return errors.New("the broker is stopped")
	}
	return s.Publish(topic, payload, retain, 0)
}

// allowAll accepts every client for every topic.
type allowAll struct{ broker.HookBase }

func (*allowAll) ID() string { return "allow-all" }

func (*allowAll) Provides(b byte) bool {
	return b == broker.OnConnectAuthenticate || b == broker.OnACLCheck
}

func (*allowAll) OnConnectAuthenticate(*broker.Client, packets.Packet) bool { return true }

func (*allowAll) OnACLCheck(*broker.Client, string, bool) bool { return true }
