package mqtt

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/url"
	"slices"
	"strings"
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
	begun := time.Now()
	for _, t := range s.topics {
		t.cadence.restart()
		t.silentAt = time.Time{}
	}
	if err := s.subscribe(ctx, client, slices.Collect(maps.Values(s.topics))); err != nil {
		end.setReason("while subscribing: ", whyLost(lost, err))
		return end
	}
	end.subscribed = true
	s.deliverRefusals(out)
	if err := s.listen(ctx, client, begun, lost, out); err != nil {
		end.setReason("", err)
	}
	return end
}

// deliverRefusals delivers a failure to the points of topics without a
// subscription.
func (s *Source) deliverRefusals(out collector.Sink) {
	for _, t := range s.topics {
		if t.refused != "" {
			t.fail(out, t.refused)
		}
	}
}

// setReason records why a connection ended that the broker had accepted.
func (e *connectionEnd) setReason(doing string, err error) {
	var silence silenceError
	if errors.As(err, &silence) {
		e.reason = reading.Silent + ": " + silence.Error()
		return
	}
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

// silenceError ends a connection that delivers nothing.
type silenceError time.Duration

func (e silenceError) Error() string {
	return fmt.Sprintf("no message for %s though subscribed twice; connecting again", time.Duration(e).Round(time.Second))
}

// listen delivers messages until the connection is lost, and returns why, or
// ctx ends.
func (s *Source) listen(ctx context.Context, client paho.Client, begun time.Time, lost <-chan error, out collector.Sink) error {
	tick := time.NewTicker(silenceCheckEvery)
	defer tick.Stop()
	lastLive, lastMessage, silent := begun, s.clock.Now(), false
	s.reportState()
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-lost:
			return err
		case <-s.box.wake:
			changed := false
			s.box.drain(func(name string, m message) {
				if !m.retained { // a retained message comes whenever we subscribe
					lastLive, lastMessage = m.arrived, s.clock.Now()
				}
				changed = s.deliver(s.topics[name], m, out) || changed
			})
			if silent && s.clock.Now().Sub(lastMessage) <= s.set.Silence {
				silent, changed = false, true
			}
			if changed && !silent {
				s.reportState()
			}
		case <-tick.C:
			now := time.Now()
			s.deliverPersistent(out)
			changed := s.deliverSilences(now, begun, out)
			if quiet := s.clock.Now().Sub(lastMessage); !silent && quiet > s.set.Silence {
				silent = true
				reason := fmt.Sprintf("%s: connected, but no message for %s", reading.Silent, s.set.Silence)
				s.markDown(reason)
				s.deliverFailures(out, reason)
			}
			if s.clash.detected() && now.Sub(begun) > clashOverAfter {
				s.clash = clashDetector{}
				s.log.Info("no other client uses the client id any more")
				changed = true
			}
			what, topics := s.heal(now, begun, lastLive, silent)
			if what == connectAgain {
				return silenceError(now.Sub(lastLive))
			}
			topics = append(topics, s.noLongerLeftOut(now)...)
			if len(topics) > 0 {
				s.log.Info("subscribing again", "topics", len(topics), "first", topics[0].name)
				if err := s.subscribe(ctx, client, topics); err != nil {
					return whyLost(lost, err)
				}
				changed = true
			}
			if changed && !silent {
				s.reportState()
			}
		}
	}
}

// noLongerLeftOut returns the topics that were left out long enough.
func (s *Source) noLongerLeftOut(now time.Time) (again []*topic) {
	for _, t := range s.topics {
		if t.leftOut && s.oversize.reason(t.name, now, s.set.MaxPayload) == "" {
			again = append(again, t)
		}
	}
	return again
}

// deliverSilences delivers a failure to the points of each topic that has missed
// three messages at its usual rate, and again for each further one. It reports
// whether a topic has become silent.
func (s *Source) deliverSilences(now, begun time.Time, out collector.Sink) (changed bool) {
	for _, t := range s.topics {
		usual := t.cadence.usual()
		if usual == 0 || t.refused != "" || now.Sub(t.quietSince(begun)) <= max(missedMessages*usual, minSilence) {
			continue
		}
		if t.silentAt.IsZero() {
			changed = true
			s.count(reading.Silent)
		} else if now.Sub(t.silentAt) < max(usual, minSilence) {
			continue
		}
		t.silentAt = now
		t.fail(out, fmt.Sprintf("%s: no message on the topic, which usually has one every %s", reading.Silent, rounded(usual)))
	}
	return changed
}

// rounded cuts a duration to what a person wants of it.
func rounded(d time.Duration) time.Duration {
	if d > 10*time.Second {
		return d.Round(time.Second)
	}
	return d.Round(100 * time.Millisecond)
}

// reportState sets the status of a connection that may deliver: up, and what is
// wrong all the same.
func (s *Source) reportState() {
	var words []string
	if s.clash.detected() {
		words = append(words, s.clashReason())
	}
	refused := sortedTopics(s.topics, func(t *topic) bool { return t.refused != "" && !t.leftOut })
	if len(refused) > 0 {
		words = append(words, fmt.Sprintf("%s: the broker refuses %d of %d subscriptions, first %s", reading.Refused, len(refused), len(s.topics), refused[0].name))
		if len(refused) == len(s.topics) {
			s.markDown(words[len(words)-1])
			return
		}
	}
	for _, t := range sortedTopics(s.topics, func(t *topic) bool { return t.leftOut }) {
		words = append(words, fmt.Sprintf("topic %s: %s", t.name, t.refused))
	}
	for _, t := range sortedTopics(s.topics, func(t *topic) bool { return t.oversized }) {
		words = append(words, fmt.Sprintf("topic %s: %s: its message is dropped, for it has more than %d bytes", t.name, tooLarge, s.set.MaxPayload))
	}
	if silent := sortedTopics(s.topics, func(t *topic) bool { return !t.silentAt.IsZero() }); len(silent) > 0 {
		words = append(words, fmt.Sprintf("%s: %d of %d topics have no message at their usual rate, first %s", reading.Silent, len(silent), len(s.topics), silent[0].name))
	}
	for _, t := range sortedTopics(s.topics, func(t *topic) bool { return t.clockNote != "" }) {
		words = append(words, fmt.Sprintf("topic %s: %s", t.name, t.clockNote))
	}
	s.markUp(strings.Join(words, "; "))
}

// sortedTopics returns the topics that ok accepts, by name.
func sortedTopics(topics map[string]*topic, ok func(*topic) bool) (all []*topic) {
	for _, t := range topics {
		if ok(t) {
			all = append(all, t)
		}
	}
	slices.SortFunc(all, func(a, b *topic) int { return strings.Compare(a.name, b.name) })
	return all
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
		return &validatingConn{Conn: conn, asked: &s.asked, keep: s.set.MaxPayload + 1, large: &s.oversize}, nil
	})
	o.SetConnectionLostHandler(func(_ paho.Client, err error) {
		select {
		case lost <- err:
		default:
		}
	})
	return paho.NewClient(o)
}

// subscribe asks for topics and notes those that the broker refuses. Topics that
// are left out for their size are not asked for.
func (s *Source) subscribe(ctx context.Context, client paho.Client, topics []*topic) error {
	filters := map[string]byte{}
	ask := func() error {
		s.asked.Store(int32(len(filters)))
		defer s.asked.Store(0)
		token := client.SubscribeMultiple(filters, nil)
		if err := waitFor(ctx, token, connectTimeout); err != nil {
			return err
		}
		for name, qos := range token.(*paho.SubscribeToken).Result() {
			if t := s.topics[name]; t != nil && qos > 2 {
				t.refused = reading.Refused + ": the broker refuses the subscription of " + name
				s.count(reading.Refused)
			}
		}
		clear(filters)
		return nil
	}
	now := time.Now()
	for _, t := range topics {
		t.refused = s.oversize.reason(t.name, now, s.set.MaxPayload)
		if t.leftOut = t.refused != ""; t.leftOut {
			continue
		}
		filters[t.name] = s.set.QoS
		if len(filters) == topicsAtOnce {
			if err := ask(); err != nil {
				return err
			}
		}
	}
	if len(filters) > 0 {
		return ask()
	}
	return nil
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
