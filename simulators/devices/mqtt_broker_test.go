package devices

import (
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	broker "github.com/mochi-mqtt/server/v2"
	packets5 "github.com/mochi-mqtt/server/v2/packets"
)

// reader is a bare client of a broker.
type reader struct {
	net.Conn
	got chan packets.ControlPacket
}

// connect opens a session with a client id and subscribes to one topic.
func connect(t *testing.T, b *MQTTBroker, id, topic string) *reader {
	t.Helper()
	conn, err := net.Dial("tcp", b.Address())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	r := &reader{conn, make(chan packets.ControlPacket, 10)}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession, hello.ClientIdentifier = "MQTT", 4, true, id
	subscribe := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	subscribe.MessageID, subscribe.Topics, subscribe.Qoss = 1, []string{topic}, []byte{0}
	go func() {
		defer close(r.got)
		for {
			p, err := packets.ReadPacket(conn)
			if err != nil {
				return
			}
			r.got <- p
		}
	}()
	for _, p := range []packets.ControlPacket{hello, subscribe} {
		if err := p.Write(conn); err != nil {
			t.Fatal(err)
		}
		if r.next(t) == nil {
			t.Fatalf("no answer to %s", p)
		}
	}
	return r
}

// next returns the next packet, nil when the session is over.
func (r *reader) next(t *testing.T) packets.ControlPacket {
	t.Helper()
	select {
	case p := <-r.got:
		return p
	case <-time.After(10 * time.Second):
		return nil
	}
}

// slowCleanUp makes the broker library's clean-up after a client slow, so that
// it overlaps with what the next client of the same id does.
type slowCleanUp struct {
	broker.HookBase
	calls atomic.Int32
}

func (*slowCleanUp) ID() string { return "slow clean-up" }

func (*slowCleanUp) Provides(b byte) bool {
	return b == broker.OnDisconnect || b == broker.OnUnsubscribed
}

func (*slowCleanUp) OnDisconnect(*broker.Client, error, bool) { <-time.After(20 * time.Millisecond) }

func (h *slowCleanUp) OnUnsubscribed(*broker.Client, packets5.Packet) {
	if h.calls.Add(1)%2 == 1 {
		<-time.After(100 * time.Millisecond)
		return
	}
	<-time.After(300 * time.Millisecond)
}

// TestTrap47BrokerKeepsTheSubscriptionsOfATakeOver: the client that takes a
// session over gets messages for as long as it stays, however slowly the broker
// cleans up after the client before (MQTT 3.1.1, 3.1.4-2 and 3.8.4).
func TestTrap47BrokerKeepsTheSubscriptionsOfATakeOver(t *testing.T) {
	for name, slow := range map[string]bool{"slow": true, "fast": false} {
		t.Run(name, func(t *testing.T) {
			b, err := StartMQTTBroker("127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { b.Stop() }) // after the connections, which end first
			times := 50
			if slow {
				times = 2
				if err := b.server.AddHook(new(slowCleanUp), nil); err != nil {
					t.Fatal(err)
				}
			}
			var r *reader
			for range times {
				r = connect(t, b, "client", "rack/t")
			}
			for i := range 20 {
				if err := b.Publish("rack/t", []byte("1"), false); err != nil {
					t.Fatal(err)
				}
				if _, ok := r.next(t).(*packets.PublishPacket); !ok {
					t.Fatalf("message %d after the take-over did not come", i)
				}
				if slow {
					<-time.After(25 * time.Millisecond) // while the broker cleans up
				}
			}
		})
	}
}
