package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dewgap/analyze/reading"
	"dewgap/collector"
)

// inbox hands messages from the client library's goroutine to the source's: only
// the newest of each subscribed topic. The library's goroutine never waits here,
// or keep-alive would stall.
type inbox struct {
	limit int
	wake  chan struct{}

	mu         sync.Mutex
	newest     map[string]*message // one for each subscribed topic, and no other
	waiting    []string
	unexpected uint64 // messages of topics without a subscription
}

func (b *inbox) init(topics map[string]*topic, limit int) {
	b.limit, b.wake, b.newest = limit, make(chan struct{}, 1), make(map[string]*message, len(topics))
	for name := range topics {
		b.newest[name] = &message{}
	}
	b.waiting = make([]string, 0, len(topics))
}

func (b *inbox) put(_ paho.Client, m paho.Message) {
	b.mu.Lock()
	slot := b.newest[m.Topic()]
	if slot == nil {
		b.unexpected++
		b.mu.Unlock()
		return
	}
	if slot.arrived.IsZero() {
		b.waiting = append(b.waiting, m.Topic())
	}
	*slot = message{size: len(m.Payload()), retained: m.Retained(), arrived: time.Now()}
	if slot.size <= b.limit {
		slot.payload = m.Payload()
	}
	b.mu.Unlock()
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

// drain calls f with the newest message of each topic that has one.
func (b *inbox) drain(f func(topic string, m message)) {
	for {
		b.mu.Lock()
		if len(b.waiting) == 0 {
			b.mu.Unlock()
			return
		}
		name := b.waiting[len(b.waiting)-1]
		b.waiting = b.waiting[:len(b.waiting)-1]
		m := *b.newest[name]
		*b.newest[name] = message{}
		b.mu.Unlock()
		f(name, m)
	}
}

const (
	// silenceCheckEvery is the period of the check for silence, in real time, so
	// that the accelerated demo notices silence soon enough.
	silenceCheckEvery = 200 * time.Millisecond
	// topicsAtOnce in one SUBSCRIBE packet.
	topicsAtOnce = 100
)

// session is one connection from its opening to its loss.
func (s *Source) session(ctx context.Context, out collector.Sink) (end connectionEnd) {
	lost := make(chan error, 1)
	client := s.client(ctx, lost)
	defer client.Disconnect(0)
	if err := waitFor(ctx, client.Connect(), connectTimeout+time.Second); err != nil {
		end.reason = reasonOf(err)
		return end
	}
	refused, err := s.subscribe(ctx, client)
	if err != nil {
		end.setReason("while subscribing: ", whyLost(lost, err))
		return end
	}
	end.subscribed = true
	for _, t := range refused {
		for _, p := range t.points {
			out.Put(reading.Fail(p.Index, reading.Refused+": the broker refuses the subscription of "+t.name))
		}
	}
	if err := s.listen(ctx, lost, out, refused); err != nil {
		end.setReason("", err)
	}
	return end
}

// setReason records why a connection ended that the broker had accepted.
func (e *connectionEnd) setReason(doing string, err error) {
	why := reasonOf(err)
	e.closedByBroker = reading.CodeOf(why) == reading.Closed
	e.reason = reading.Disconnected + ": " + doing + why
}

// whyLost returns the error of the connection where one arrives; the error of a
// request in progress has no cause.
func whyLost(lost <-chan error, request error) error {
	if errors.Is(request, context.DeadlineExceeded) {
		return request
	}
	wait := time.NewTimer(time.Second)
	defer wait.Stop()
	select {
	case err := <-lost:
		return err
	case <-wait.C:
		return request
	}
}

// listen delivers messages until the connection is lost, and returns why, or
// ctx ends.
func (s *Source) listen(ctx context.Context, lost <-chan error, out collector.Sink, refused []*topic) error {
	tick := time.NewTicker(silenceCheckEvery)
	defer tick.Stop()
	begun, lastMessage, silent := time.Now(), s.clock.Now(), false
	s.reportSubscribed(refused)
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-lost:
			return err
		case <-s.box.wake:
			s.box.drain(func(name string, m message) { s.deliver(s.topics[name], m, out) })
			lastMessage = s.clock.Now()
			if silent {
				silent = false
				s.reportSubscribed(refused)
			}
		case <-tick.C:
			s.deliverPersistent(out)
			if quiet := s.clock.Now().Sub(lastMessage); !silent && quiet > s.set.Silence {
				silent = true
				reason := fmt.Sprintf("%s: connected, but no message for %s", reading.Silent, s.set.Silence)
				s.markDown(reason)
				s.deliverFailures(out, reason)
			}
			if s.clash.detected() && time.Since(begun) > clashOverAfter {
				s.clash = clashDetector{}
				s.log.Info("no other client uses the client id any more")
				if !silent {
					s.reportSubscribed(refused)
				}
			}
		}
	}
}

// reportSubscribed sets the status of a connection that may deliver: up, in a
// clash, or with subscriptions that the broker refuses.
func (s *Source) reportSubscribed(refused []*topic) {
	words := ""
	if s.clash.detected() {
		words = s.clashReason()
	}
	if len(refused) > 0 {
		words = fmt.Sprintf("%s: the broker refuses %d of %d subscriptions, first %s", reading.Refused, len(refused), len(s.topics), refused[0].name)
		if len(refused) == len(s.topics) {
			s.markDown(words)
			return
		}
		s.count(reading.Refused)
	}
	s.markUp(words)
}

func (s *Source) client(ctx context.Context, lost chan<- error) paho.Client {
	o := paho.NewClientOptions().AddBroker(s.url.String()).SetClientID(s.set.ClientID).
		SetUsername(s.set.Username).SetPassword(string(s.set.Password)).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(paho.NewMemoryStore()).
		SetAutoReconnect(false).SetConnectRetry(false). // reconnecting is ours
		SetOrderMatters(true).SetDefaultPublishHandler(s.box.put).
		SetKeepAlive(keepAlive).SetPingTimeout(10 * time.Second).
		SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout)
	o.SetCustomOpenConnectionFn(func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
		conn, err := s.dial(ctx, u, s.tls)
		if err != nil {
			return nil, err
		}
		context.AfterFunc(ctx, func() { conn.Close() })
		return &validatingConn{Conn: conn, asked: &s.asked}, nil
	})
	o.SetConnectionLostHandler(func(_ paho.Client, err error) {
		select {
		case lost <- err:
		default:
		}
	})
	return paho.NewClient(o)
}

// subscribe asks for all topics and returns those that the broker refused.
func (s *Source) subscribe(ctx context.Context, client paho.Client) (refused []*topic, err error) {
	filters := map[string]byte{}
	ask := func() error {
		s.asked.Store(int32(len(filters)))
		defer s.asked.Store(0)
		token := client.SubscribeMultiple(filters, nil)
		if err := waitFor(ctx, token, connectTimeout); err != nil {
			return err
		}
		for name, qos := range token.(*paho.SubscribeToken).Result() {
			if qos > 2 && s.topics[name] != nil {
				refused = append(refused, s.topics[name])
			}
		}
		clear(filters)
		return nil
	}
	for name := range s.topics {
		filters[name] = s.set.QoS
		if len(filters) == topicsAtOnce {
			if err := ask(); err != nil {
				return nil, err
			}
		}
	}
	if len(filters) > 0 {
		err = ask()
	}
	return refused, err
}

// waitFor waits for a token's end, at most for limit.
func waitFor(ctx context.Context, token paho.Token, limit time.Duration) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return context.DeadlineExceeded
	case <-token.Done():
		return token.Error()
	}
}
