package mqtt

import (
	"context"
	"crypto/tls"
	"net"
	"net/url"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"dewgap/analyze/reading"
)

// scripted is a broker at the other end of a pipe, in the fake time of
// synctest: it handles each connection by the script of the test.
type scripted struct {
	// play serves one connection; the connection is closed when it returns.
	play func(connection int, c *peer)

	mu        sync.Mutex
	conns     int
	published int // messages that the client sent
	all       sync.WaitGroup
}

// peer is one connection as the broker has it.
type peer struct {
	net.Conn
	in chan packets.ControlPacket // closed when the connection is over
}

func (b *scripted) dial(context.Context, *url.URL, *tls.Config) (net.Conn, error) {
	b.mu.Lock()
	n := b.conns
	b.conns++
	b.mu.Unlock()
	here, there := net.Pipe()
	c := &peer{there, make(chan packets.ControlPacket, 100)}
	b.all.Go(func() { b.read(c) })
	b.all.Go(func() {
		defer c.Close()
		b.play(n, c)
	})
	return here, nil
}

// read takes in what the client sends.
func (b *scripted) read(c *peer) {
	defer close(c.in)
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			return
		}
		b.mu.Lock()
		if _, is := p.(*packets.PublishPacket); is {
			b.published++
		}
		b.mu.Unlock()
		c.in <- p
	}
}

// next returns the client's next packet; nil when the connection is over.
func (c *peer) next() packets.ControlPacket { return <-c.in }

// accept answers CONNECT.
func (c *peer) accept(code byte) bool {
	if _, ok := c.next().(*packets.ConnectPacket); !ok {
		return false
	}
	ack := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket)
	ack.ReturnCode = code
	return ack.Write(c) == nil
}

// grant answers SUBSCRIBE with one code for each topic, or with exactly codes
// where some are given. It returns the topics.
func (c *peer) grant(codes ...byte) []string {
	for {
		switch p := c.next().(type) {
		case nil:
			return nil
		case *packets.SubscribePacket:
			c.acknowledge(p, codes...)
			return p.Topics
		}
	}
}

// acknowledge answers one SUBSCRIBE as grant does.
func (c *peer) acknowledge(p *packets.SubscribePacket, codes ...byte) {
	ack := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
	ack.MessageID, ack.ReturnCodes = p.MessageID, codes
	if codes == nil {
		ack.ReturnCodes = p.Qoss
	}
	ack.Write(c)
}

// publish sends a message of QoS 0.
func (c *peer) publish(topic string, payload []byte) {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload = topic, payload
	p.Write(c)
}

// serve answers pings and publishes a value every ten seconds, until the
// connection is over or d has passed (0: never).
func (c *peer) serve(d time.Duration) {
	begun := time.Now()
	for d == 0 || time.Since(begun) < d {
		c.publish("rack/s", []byte("3"))
		if !c.listen(10 * time.Second) {
			return
		}
	}
}

// listen answers pings for d; false when the connection is over.
func (c *peer) listen(d time.Duration) bool {
	over := time.After(d)
	for {
		select {
		case <-over:
			return true
		case p := <-c.in:
			switch p := p.(type) {
			case nil:
				return false
			case *packets.SubscribePacket:
				c.acknowledge(p)
			case *packets.PingreqPacket:
				packets.NewControlPacket(packets.Pingresp).Write(c)
			}
		}
	}
}

// onScript runs body with a source at a scripted broker, in fake time.
func onScript(t *testing.T, set func(*Settings), play func(connection int, c *peer), body func(*Source, *readings)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		broker := &scripted{play: play}
		s, out, stop := broker.run(t, set)
		body(s, out)
		asked := time.Now()
		stop()
		broker.all.Wait()
		if took := time.Since(asked); took > 5*time.Second {
			t.Errorf("the connection was closed %v after we left", took)
		}
		if broker.published != 0 {
			t.Errorf("the client published %d messages; it only reads", broker.published)
		}
	})
}

// run starts a source at the broker and returns how to end it.
func (b *scripted) run(t *testing.T, set func(*Settings)) (*Source, *readings, func()) {
	t.Helper()
	settings := settings(t, "broker.invalid")
	if set != nil {
		set(&settings)
	}
	s, err := New(settings, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.dial = b.dial
	out := &readings{}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx, out) }()
	return s, out, func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

// readings keeps every reading.
type readings struct {
	mu  sync.Mutex
	all []reading.Reading
}

func (k *readings) Put(r reading.Reading) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.all = append(k.all, r)
}

// pass lets time go by and returns what was delivered in it.
func (k *readings) pass(d time.Duration) []reading.Reading {
	<-time.After(d) // fake time of synctest
	synctest.Wait()
	k.mu.Lock()
	defer k.mu.Unlock()
	all := k.all
	k.all = nil
	return all
}

// counted counts the readings that ok takes.
func counted(all []reading.Reading, ok func(reading.Reading) bool) (n int) {
	for _, r := range all {
		if ok(r) {
			n++
		}
	}
	return n
}
