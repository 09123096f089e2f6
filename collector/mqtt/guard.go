package mqtt

import (
	"errors"
	"fmt"
	"net"
	"sync/atomic"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// guarded keeps from the client library what it cannot stand: a packet too
// large to hold, for which it would make room; a SUBACK with more codes than
// we asked for, at which it panics; a CONNACK with an unknown code, which it
// takes for a yes; packets that no broker sends. It follows the packets as the
// bytes go by and ends the connection at the first that is wrong.
type guarded struct {
	net.Conn
	asked *atomic.Int32 // topics in the SUBSCRIBE that awaits its answer

	packets uint64 // begun so far
	kind    byte   // of this packet
	state   int    // 0 at its first byte, 1… at the bytes of its length, -1 in its body
	left    int    // bytes of its body to come
}

// largestPacket is what may be held in memory; the protocol allows 256 MB.
const largestPacket = 4 << 20

// protocolError is a broker that does not speak MQTT 3.1.1.
type protocolError string

func (e protocolError) Error() string { return "the broker sent " + string(e) }

// Read reads from the connection.
func (g *guarded) Read(p []byte) (int, error) {
	n, err := g.Conn.Read(p)
	if fault := g.follow(p[:n]); fault != nil {
		return 0, fault
	}
	return n, err
}

// follow checks what comes next.
func (g *guarded) follow(rest []byte) error {
	for ; len(rest) > 0; rest = rest[1:] {
		b := rest[0]
		switch {
		case g.state == 0:
			g.packets++
			g.kind, g.state, g.left = b>>4, 1, 0
			continue
		case g.state > 0:
			g.left |= int(b&0x7F) << (7 * (g.state - 1))
			g.state++
			if b&0x80 != 0 {
				if g.state > 4 {
					return protocolError("a packet without end of its length")
				}
				continue
			}
			g.state = -1
			if err := g.begun(); err != nil {
				return err
			}
		case g.kind == packets.Connack && g.left == 1 && b > packets.ErrRefusedNotAuthorised:
			return protocolError(fmt.Sprintf("an unknown answer %d to CONNECT", b))
		default:
			skip := 1
			if g.kind != packets.Connack {
				skip = min(g.left, len(rest))
			}
			g.left -= skip
			rest = rest[skip-1:]
		}
		if g.left == 0 {
			g.state = 0
		}
	}
	return nil
}

// begun checks a packet whose kind and length are known.
func (g *guarded) begun() error {
	if g.left > largestPacket {
		return protocolError(fmt.Sprintf("a packet of %d bytes, more than %d", g.left, largestPacket))
	}
	first := g.packets == 1
	switch g.kind {
	case packets.Connack:
		if !first || g.left != 2 {
			return protocolError("a CONNACK out of place")
		}
		return nil
	case packets.Suback:
		if asked := int(g.asked.Load()); g.left != 2+asked {
			return protocolError(fmt.Sprintf("%d answers to %d subscriptions", g.left-2, asked))
		}
	case packets.Publish, packets.Pubrel, packets.Pingresp:
	case packets.Disconnect: // newer brokers take leave so, whatever the version
		return errors.New("the broker closed the session")
	default:
		return protocolError(fmt.Sprintf("a packet of type %d, which no broker sends to a reader", g.kind))
	}
	if first {
		return protocolError("something else before its answer to CONNECT")
	}
	return nil
}
