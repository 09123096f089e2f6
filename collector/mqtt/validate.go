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
//
// A PUBLISH with a payload of more than keep bytes costs its topic only: the
// library receives the packet with the first keep bytes of its payload, and the
// rest is read and dropped.
type validatingConn struct {
	net.Conn
	asked *atomic.Int32 // topics in the SUBSCRIBE that awaits its answer
	keep  int           // bytes of a payload that are passed on; more are cut off
	large largeObserver // nil: nobody is interested

	raw   []byte // what one read of the connection returned
	ready []byte // what the library may have of it
	ended error  // of the connection, reported after ready is empty

	packets uint64 // begun so far
	first   byte   // of this packet: its kind and flags
	state   packetPart
	length  int // of this packet after its fixed header
	digits  int // bytes of that length so far
	left    int // bytes of the packet to come
	name    int // bytes of a PUBLISH's topic to come
	topic   []byte
	pass    int // bytes of the packet that the library may still have
}

// largeObserver learns about messages that are cut. skipping is called when the
// dropped part of a message begins, skipped when it has ended.
type largeObserver interface {
	skipping(topic string, size int)
	skipped()
}

// packetPart is what the next byte of the connection belongs to.
type packetPart uint8

const (
	inFirst packetPart = iota
	inLength
	inTopicLength
	inTopic
	inBody
	inDropped
)

const (
	// largestPacket is what may be held in memory of a packet that is no message;
	// the protocol allows 256 MB.
	largestPacket = 64 << 10
	// readAtOnce is how many bytes are taken from the connection in one read.
	readAtOnce = 4 << 10
)

// protocolError describes a packet that violates MQTT 3.1.1.
type protocolError string

func (e protocolError) Error() string { return "the broker sent " + string(e) }

// Read reads from the connection what the library may have.
func (c *validatingConn) Read(p []byte) (int, error) {
	if c.raw == nil {
		c.raw = make([]byte, readAtOnce)
	}
	var passed []byte
	for len(c.ready) == 0 {
		if err := c.ended; err != nil {
			c.ended = nil
			return 0, err
		}
		n, err := c.Conn.Read(c.raw)
		var fault error
		if passed, fault = c.filter(passed[:0], c.raw[:n]); fault != nil {
			return 0, fault
		}
		c.ready, c.ended = passed, err
	}
	n := copy(p, c.ready)
	c.ready = c.ready[n:]
	return n, nil
}

// filter checks what comes next and appends to passed what the library may have.
func (c *validatingConn) filter(passed, rest []byte) ([]byte, error) {
	for len(rest) > 0 {
		b := rest[0]
		switch c.state {
		case inFirst:
			c.packets++
			c.first, c.state, c.length, c.digits = b, inLength, 0, 0
		case inLength:
			c.length |= int(b&0x7F) << (7 * c.digits)
			c.digits++
			if b&0x80 != 0 {
				if c.digits == 4 {
					return passed, protocolError("a packet without end of its length")
				}
				break
			}
			c.left = c.length
			if err := c.checkPacket(); err != nil {
				return passed, err
			}
			if c.kind() == packets.Publish {
				c.state, c.name, c.topic = inTopicLength, 0, c.topic[:0]
				break
			}
			passed = appendHeader(passed, c.first, c.length)
			c.pass, c.state = c.length, inBody
		case inTopicLength:
			c.name, c.topic = c.name<<8|int(b), append(c.topic, b)
			c.left--
			if len(c.topic) < 2 {
				break
			}
			head := 2 + c.name
			if c.first>>1&3 > 0 {
				head += 2 // the packet's identifier
			}
			if head > c.length {
				return passed, protocolError("a message shorter than its topic")
			}
			c.pass = c.length
			if c.keep > 0 {
				c.pass = min(c.length, head+c.keep)
			}
			passed = append(appendHeader(passed, c.first, c.pass), c.topic...)
			c.pass -= 2
			c.topic, c.state = c.topic[:0], inTopic
			if c.name == 0 {
				c.state = inBody
			}
		case inTopic, inBody, inDropped:
			n := min(len(rest), c.left)
			if c.state == inTopic {
				n = min(n, c.name-len(c.topic))
				c.topic = append(c.topic, rest[:n]...)
			}
			if c.state == inBody {
				n = min(n, c.pass)
			}
			if c.kind() == packets.Connack && c.left-n == 0 && rest[n-1] > packets.ErrRefusedNotAuthorised {
				return passed, protocolError(fmt.Sprintf("an unknown answer %d to CONNECT", rest[n-1]))
			}
			if c.state != inDropped {
				passed = append(passed, rest[:n]...)
				c.pass -= n
			}
			c.left -= n
			rest = rest[n:]
			if c.state == inTopic && len(c.topic) == c.name {
				c.state = inBody
			}
			c.endPart()
			continue
		}
		rest = rest[1:]
		c.endPart()
	}
	return passed, nil
}

// endPart goes on to the next packet at the end of one, and from the part of a
// message that is kept to the part that is dropped.
func (c *validatingConn) endPart() {
	switch {
	case c.state <= inTopicLength:
	case c.left == 0:
		if c.state == inDropped && c.large != nil {
			c.large.skipped()
		}
		c.state = inFirst
	case c.state == inBody && c.pass == 0:
		c.state = inDropped
		if c.large != nil {
			c.large.skipping(string(c.topic), c.length)
		}
	}
}

func (c *validatingConn) kind() byte { return c.first >> 4 }

// appendHeader appends the fixed header of a packet (MQTT 3.1.1, 2.2).
func appendHeader(to []byte, first byte, length int) []byte {
	to = append(to, first)
	for length > 0x7F {
		to = append(to, byte(length)|0x80)
		length >>= 7
	}
	return append(to, byte(length))
}

// checkPacket checks a packet whose kind and length are known.
func (c *validatingConn) checkPacket() error {
	if c.kind() != packets.Publish && c.length > largestPacket {
		return protocolError(fmt.Sprintf("a packet of %d bytes, more than %d", c.length, largestPacket))
	}
	first := c.packets == 1
	switch c.kind() {
	case packets.Connack:
		if !first || c.length != 2 {
			return protocolError("a CONNACK out of place")
		}
		return nil
	case packets.Suback:
		if asked := int(c.asked.Load()); c.length != 2+asked {
			return protocolError(fmt.Sprintf("%d answers to %d subscriptions", c.length-2, asked))
		}
	case packets.Publish:
		if c.length < 2 {
			return protocolError("a message without a topic")
		}
	case packets.Pubrel, packets.Pingresp:
	case packets.Disconnect: // newer brokers end a session so, whatever the version
		return errors.New("the broker closed the session")
	default:
		return protocolError(fmt.Sprintf("a packet of type %d, which no broker sends to a reader", c.kind()))
	}
	if first {
		return protocolError("something else before its answer to CONNECT")
	}
	return nil
}
