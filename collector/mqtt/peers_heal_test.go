package mqtt

import (
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"dewgap/analyze/reading"
)

// proxy stands between one client and a broker, as a load balancer does. It can
// replace the session at the broker while the client's connection stays.
type proxy struct {
	listen net.Listener
	broker string
	all    sync.WaitGroup

	mu        sync.Mutex
	client    net.Conn
	behind    net.Conn // the connection to the broker
	replacing bool     // the broker ends behind because its session is taken over
	hello     []byte   // the client's CONNECT
	clients   int
}

func newProxy(t *testing.T, broker string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{listen: l, broker: broker}
	p.all.Go(func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return
			}
			p.all.Go(func() { p.forward(client) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		p.mu.Lock()
		for _, c := range []net.Conn{p.client, p.behind} {
			if c != nil {
				c.Close()
			}
		}
		p.mu.Unlock()
		p.all.Wait()
	})
	return p
}

// forward passes on what a client sends, to the connection that is behind at the
// time.
func (p *proxy) forward(client net.Conn) {
	defer client.Close()
	buffer := make([]byte, 4096)
	n, err := client.Read(buffer)
	if err != nil {
		return
	}
	p.mu.Lock()
	p.clients++
	p.client, p.hello = client, append([]byte(nil), buffer[:n]...)
	p.mu.Unlock()
	behind, err := net.Dial("tcp", p.broker)
	if err != nil {
		return
	}
	if _, err := behind.Write(p.hello); err != nil {
		return
	}
	p.join(client, behind)
	for {
		n, err := client.Read(buffer)
		p.mu.Lock()
		behind, replacing := p.behind, p.replacing
		p.mu.Unlock()
		if err != nil {
			behind.Close()
			return
		}
		if _, err := behind.Write(buffer[:n]); err != nil && !replacing {
			return
		}
	}
}

// join passes on what the broker sends on a connection. The end of the one that
// is behind ends the client's.
func (p *proxy) join(client, behind net.Conn) {
	p.mu.Lock()
	p.behind = behind
	p.mu.Unlock()
	p.all.Go(func() {
		io.Copy(client, behind) // its error is the end of the connection
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.behind == behind && !p.replacing {
			client.Close()
		}
	})
}

// replace gives the present client a new, clean session at the broker, without
// its subscriptions and without its knowledge.
func (p *proxy) replace(t *testing.T) {
	t.Helper()
	p.mu.Lock()
	client, old, hello := p.client, p.behind, p.hello
	p.replacing = true // the broker may close old before the new one has its place
	p.mu.Unlock()
	behind, err := net.Dial("tcp", p.broker)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := behind.Write(hello); err != nil {
		t.Fatal(err)
	}
	answer := make([]byte, 4) // CONNACK, which the client had already
	if _, err := io.ReadFull(behind, answer); err != nil || answer[3] != 0 {
		t.Fatalf("the broker answers % x, %v", answer, err)
	}
	p.join(client, behind)
	old.Close()
	p.mu.Lock()
	p.replacing = false
	p.mu.Unlock()
}

// publishes sends a stamped value on rack/t every half second until the test ends.
func (m *mosquitto) publishes(t *testing.T) {
	stop, done := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(stop); <-done })
	go func() {
		defer close(done)
		tick := time.NewTicker(500 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				m.publish(t, "rack/t", string(stamped(1.5)))
			}
		}
	}()
}

// TestPeerTrap47SessionReplacedBehindTheConnection: mosquitto has a clean session
// for the client, and the client's connection has lived on.
func TestPeerTrap47SessionReplacedBehindTheConnection(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	p := newProxy(t, m.address())
	s, out, stop := run(t, settings(t, p.listen.Addr().String()))
	defer stop()
	until(t, "up", func() bool { return s.Status().Up })
	m.publishes(t)
	for range 2 * cadenceLeast {
		out.next(t, "a value", isGood(0, 1.5))
	}
	p.replace(t)
	out.next(t, "the silence", hasCode(reading.Silent))
	out.next(t, "a value again", isGood(0, 1.5))
	p.mu.Lock()
	defer p.mu.Unlock()
	if st := s.Status(); st.Reconnects != 0 || p.clients != 1 {
		t.Errorf("%d connections, %+v", p.clients, st)
	}
}

// TestPeerTrap48OversizedRetainedMessage: mosquitto sends it at each
// subscription.
func TestPeerTrap48OversizedRetainedMessage(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	var large strings.Builder
	large.WriteString(`{"value":1,"time":"`)
	large.WriteString(strings.Repeat("x", 120<<10)) // an argument holds no more
	m.publish(t, "rack/s", large.String(), "-r")
	s, out, stop := run(t, settings(t, m.address()))
	defer stop()
	out.next(t, "the refusal", hasCode(tooLarge))
	m.publish(t, "rack/t", string(stamped(1.5)))
	out.next(t, "a value of the other topic", isGood(0, 1.5))
	until(t, "the topic's name in the status", func() bool { return strings.Contains(s.Status().Reason, "topic rack/s: too-large") })
	if st := s.Status(); !st.Up || st.Reconnects != 0 {
		t.Errorf("%+v", st)
	}
}

// TestPeerTrap49PublishersClockIsPutRight: mosquitto_pub with stamps that run
// ahead, and then do not.
func TestPeerTrap49PublishersClockIsPutRight(t *testing.T) {
	m := newMosquitto(t, "allow_anonymous true")
	s, out, stop := run(t, settings(t, m.address()))
	defer stop()
	until(t, "up", func() bool { return s.Status().Up })
	for i, ahead := range []time.Duration{40 * time.Second, 40 * time.Second, 0, 0} {
		at := time.Now().Add(ahead).UTC().Format(time.RFC3339Nano)
		m.publish(t, "rack/t", fmt.Sprintf(`{"time":%q,"value":%d}`, at, i))
		out.next(t, "the value", isGood(0, float64(i)))
	}
	until(t, "the note", func() bool { return strings.Contains(s.Status().Reason, "topic rack/t: clock-back") })
}
