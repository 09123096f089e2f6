package mqtt

import (
	"errors"
	"fmt"
	"net"
	"sync/atomic"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// validatingConn rejects packets that the client library does not handle: one too
// large to hold, for which the library would allocate memory; a SUBACK with more
// codes than requested, at which it panics; a CONNACK with an unknown code, which
// it takes for success; packets that no broker sends. It parses the packets as
// the bytes arrive and ends the connection at the first that is wrong.
type validatingConn struct {
	net.Conn
	asked *atomic.Int32 // topics in the SUBSCRIBE that awaits its answer

	packets uint64 // begun so far
	kind    byte   // of this packet
	state   int    // 0 at its first byte, 1… at the bytes of its length, -1 in its body
	left    int    // bytes of its body to come
}

// largestPacket is what may be held in memory; the protocol allows 256 MB.
const largestPacket = 4 << 20

// protocolError describes a packet that violates MQTT 3.1.1.
type protocolError string

func (e protocolError) Error() string { return "the broker sent " + string(e) }

// Read reads from the connection.
func (c *validatingConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if fault := c.validate(p[:n]); fault != nil {
		return 0, fault
	}
	return n, err
}

// validate checks what comes next.
func (c *validatingConn) validate(rest []byte) error {
	for ; len(rest) > 0; rest = rest[1:] {
		b := rest[0]
		switch {
		case c.state == 0:
			c.packets++
			c.kind, c.state, c.left = b>>4, 1, 0
			continue
		case c.state > 0:
			c.left |= int(b&0x7F) << (7 * (c.state - 1))
			c.state++
			if b&0x80 != 0 {
				if c.state > 4 {
					return protocolError("a packet without end of its length")
				}
				continue
			}
			c.state = -1
			if err := c.checkPacket(); err != nil {
				return err
			}
		case c.kind == packets.Connack && c.left == 1 && b > packets.ErrRefusedNotAuthorised:
			return protocolError(fmt.Sprintf("an unknown answer %d to CONNECT", b))
		default:
			skip := 1
			if c.kind != packets.Connack {
				skip = min(c.left, len(rest))
			}
			c.left -= skip
			rest = rest[skip-1:]
		}
		if c.left == 0 {
			c.state = 0
		}
	}
	return nil
}

// checkPacket checks a packet whose kind and length are known.
func (c *validatingConn) checkPacket() error {
	if c.left > largestPacket {
		return protocolError(fmt.Sprintf("a packet of %d bytes, more than %d", c.left, largestPacket))
	}
	first := c.packets == 1
	switch c.kind {
	case packets.Connack:
		if !first || c.left != 2 {
			return protocolError("a CONNACK out of place")
		}
		return nil
	case packets.Suback:
		if asked := int(c.asked.Load()); c.left != 2+asked {
			return protocolError(fmt.Sprintf("%d answers to %d subscriptions", c.left-2, asked))
		}
	case packets.Publish, packets.Pubrel, packets.Pingresp:
	case packets.Disconnect: // newer brokers end a session so, whatever the version
		return errors.New("the broker closed the session")
	default:
		return protocolError(fmt.Sprintf("a packet of type %d, which no broker sends to a reader", c.kind))
	}
	if first {
		return protocolError("something else before its answer to CONNECT")
	}
	return nil
}
