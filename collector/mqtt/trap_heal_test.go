package mqtt

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"dewgap/analyze/reading"
)

// forgetful is a broker whose connections live while it forgets subscriptions.
type forgetful struct {
	mu       sync.Mutex
	filters  map[string]bool // nil: forgotten
	asked    int             // SUBSCRIBE packets
	unheeded int             // so many SUBSCRIBEs on a connection change nothing
}

// forget drops the subscriptions to topics, or all where none is given; the next
// SUBSCRIBEs, as many as unheeded, change nothing.
func (f *forgetful) forget(unheeded int, topics ...string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.unheeded = unheeded
	if len(topics) == 0 {
		f.filters = nil
	}
	for _, topic := range topics {
		delete(f.filters, topic)
	}
}

// subscriptions returns how many SUBSCRIBE packets came.
func (f *forgetful) subscriptions() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.asked
}

// has reports whether a topic is subscribed to.
func (f *forgetful) has(topic string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.filters[topic]
}

// subscribe takes a SUBSCRIBE packet.
func (f *forgetful) subscribe(p *packets.SubscribePacket) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked++
	if f.unheeded > 0 {
		f.unheeded--
		return
	}
	if f.filters == nil {
		f.filters = map[string]bool{}
	}
	for _, name := range p.Topics {
		f.filters[name] = true
	}
}

// serve answers for d and publishes a value on each subscribed topic of topics
// every period. It returns false when the connection is over.
func (f *forgetful) serve(c *peer, d, period time.Duration, topics ...string) bool {
	over, tick := time.After(d), time.NewTicker(period)
	defer tick.Stop()
	for {
		select {
		case <-over:
			return true
		case <-tick.C:
			for _, topic := range topics {
				if f.has(topic) {
					c.publish(topic, stamped(3))
				}
			}
		case p := <-c.in:
			switch p := p.(type) {
			case nil:
				return false
			case *packets.PingreqPacket:
				packets.NewControlPacket(packets.Pingresp).Write(c)
			case *packets.SubscribePacket:
				f.subscribe(p)
				c.acknowledge(p)
			}
		}
	}
}

// TestTrap47SubscriptionsAreGone: the connection lives and answers pings; only
// the messages have stopped.
func TestTrap47SubscriptionsAreGone(t *testing.T) {
	for name, c := range map[string]struct {
		unheeded   int // SUBSCRIBEs after the loss that change nothing
		lost       []string
		healed     time.Duration // after the loss, at most
		reconnects uint64
	}{
		"all, and subscribing again helps":   {0, []string{"rack/t", "rack/s"}, 20 * time.Second, 0},
		"one of two":                         {0, []string{"rack/t"}, 20 * time.Second, 0},
		"all, and only connecting anew does": {1000, []string{"rack/t", "rack/s"}, time.Minute, 1},
	} {
		t.Run(name, func(t *testing.T) {
			broker := &forgetful{}
			onScript(t, func(s *Settings) { s.Points[1].Pointer, s.Points[1].TimePointer = "/value", "/time" }, func(n int, p *peer) {
				broker.forget(0)
				if !p.accept(0) || n == 0 && !broker.serve(p, time.Minute, 5*time.Second, "rack/t", "rack/s") {
					return
				}
				if n == 0 {
					broker.forget(c.unheeded, c.lost...)
				}
				broker.serve(p, 24*time.Hour, 5*time.Second, "rack/t", "rack/s")
			}, func(s *Source, out *readings) {
				if n := counted(out.pass(time.Minute), isGood(0, 3)); n < 11 || broker.subscriptions() != 1 {
					t.Fatalf("%d values and %d subscriptions in a minute before the loss", n, broker.subscriptions())
				}
				lost := time.Now()
				for time.Since(lost) < 10*time.Minute && counted(out.pass(time.Second), isGood(0, 3)) == 0 {
				}
				if took := time.Since(lost); took > c.healed {
					t.Errorf("values after %v, want %v at most", took, c.healed)
				}
				all := out.pass(time.Hour)
				if n := counted(all, isGood(0, 3)); n < 700 {
					t.Errorf("%d values in the hour after", n)
				}
				if st := s.Status(); !st.Up || st.Reason != "" || st.Reconnects != c.reconnects {
					t.Errorf("%+v, want %d reconnects", st, c.reconnects)
				}
			})
		})
	}
}

// TestTrap47SilenceIsHealedWithBackOff: a broker that stays silent gets few
// attempts, whether its usual rate is known or not.
func TestTrap47SilenceIsHealedWithBackOff(t *testing.T) {
	for name, delivers := range map[string]time.Duration{"rate known": time.Minute, "never a message": 0} {
		t.Run(name, func(t *testing.T) {
			broker := &forgetful{}
			onScript(t, nil, func(n int, p *peer) {
				broker.forget(0)
				if !p.accept(0) {
					return
				}
				if n == 0 && delivers > 0 {
					broker.serve(p, delivers, 5*time.Second, "rack/t")
				}
				broker.serve(p, 48*time.Hour, time.Hour, "rack/nothing")
			}, func(s *Source, out *readings) {
				out.pass(delivers)
				out.pass(12 * time.Hour)
				n := s.Status().Reconnects
				if n < 3 || n > 25 {
					t.Errorf("%d new connections in 12 h of silence, want few and not none", n)
				}
				if broker.subscriptions() > 3*int(n)+5 {
					t.Errorf("%d subscriptions with %d connections", broker.subscriptions(), n)
				}
				if st := s.Status(); st.Up {
					t.Errorf("%+v", st)
				}
			})
		})
	}
}

// TestTrap47QuietTopicsAreLeftAlone: publishers that send seldom, in bursts or
// only changes are healthy.
func TestTrap47QuietTopicsAreLeftAlone(t *testing.T) {
	for name, c := range map[string]struct {
		gaps []time.Duration // between messages, again and again
		most int             // subscriptions in a day beyond the first
	}{
		"each 10 minutes": {[]time.Duration{10 * time.Minute}, 0},
		"irregular":       {[]time.Duration{5 * time.Second, 2 * time.Minute, time.Second, 4 * time.Minute, 30 * time.Second}, 0},
		"in bursts":       {[]time.Duration{time.Second, time.Second, time.Second, time.Second, 15 * time.Minute}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			broker := &forgetful{}
			onScript(t, func(s *Settings) { s.Silence = time.Hour }, func(_ int, p *peer) {
				if !p.accept(0) {
					return
				}
				for i := 0; ; i++ {
					if !broker.serve(p, c.gaps[i%len(c.gaps)], 24*time.Hour, "rack/t") {
						return
					}
					p.publish("rack/t", stamped(3))
				}
			}, func(s *Source, out *readings) {
				out.pass(24 * time.Hour)
				if st := s.Status(); broker.subscriptions() > 1+c.most || st.Reconnects != 0 || !st.Up {
					t.Errorf("%d subscriptions and %+v", broker.subscriptions(), st)
				}
			})
		})
	}
}

// TestTrap47ADeadPublisherDisturbsNobody: one publisher's silence is its own.
// Its topic is subscribed again with back-off, and the connection stays.
func TestTrap47ADeadPublisherDisturbsNobody(t *testing.T) {
	broker := &forgetful{}
	onScript(t, nil, func(n int, p *peer) {
		if p.accept(0) && broker.serve(p, time.Minute, 5*time.Second, "rack/s", "rack/t") {
			broker.serve(p, 24*time.Hour, 20*time.Second, "rack/s")
		}
	}, func(s *Source, out *readings) {
		out.pass(time.Minute)
		all := out.pass(12 * time.Hour)
		if st := s.Status(); st.Reconnects > 1 || !st.Up || !strings.Contains(st.Reason, "1 of 2 topics") || !strings.Contains(st.Reason, "rack/t") {
			t.Errorf("%+v", st)
		}
		if broker.subscriptions() > 25 {
			t.Errorf("%d subscriptions in 12 h", broker.subscriptions())
		}
		if n := counted(all, func(r reading.Reading) bool {
			return r.Point == 1 && r.Quality == reading.Missing && reading.CodeOf(r.Reason) != "no-data"
		}); n > 3 {
			t.Errorf("the topic beside it failed %d times", n)
		}
	})
}

// TestTrap53SilentTopicFailsAfterThreeMissedMessages at the rate that it had.
func TestTrap53SilentTopicFailsAfterThreeMissedMessages(t *testing.T) {
	for _, every := range []time.Duration{time.Second, 5 * time.Second, time.Minute} {
		t.Run(every.String(), func(t *testing.T) {
			broker := &forgetful{}
			onScript(t, func(s *Settings) { s.Silence = time.Hour }, func(_ int, p *peer) {
				if p.accept(0) && broker.serve(p, 10*every+every/2, every, "rack/t") {
					broker.serve(p, time.Hour, time.Hour, "rack/nothing")
				}
			}, func(s *Source, out *readings) {
				out.pass(10*every + every/10) // the last message has just come
				if n := counted(out.pass(3*every-every/5), hasCode(reading.Silent)); n != 0 {
					t.Errorf("%d failures before three messages were missed", n)
				}
				if n := counted(out.pass(every), func(r reading.Reading) bool {
					return r.Point == 0 && r.Quality == reading.Missing && reading.CodeOf(r.Reason) == reading.Silent
				}); n == 0 {
					t.Error("no failure after three missed messages")
				}
				// Each further message that is missed is a failure, as a failed poll is.
				if n := counted(out.pass(20*every), hasCode(reading.Silent)); n < 8 || n > 21 {
					t.Errorf("%d failures in 20 periods", n)
				}
			})
		})
	}
}

// TestTrap48OneOversizedMessageCostsItsTopicOnly: however large, before or
// after the others, retained or not.
func TestTrap48OneOversizedMessageCostsItsTopicOnly(t *testing.T) {
	for _, size := range []int{64<<10 + 1, 1 << 20, 8 << 20} {
		t.Run(fmt.Sprint(size), func(t *testing.T) {
			onScript(t, nil, func(_ int, p *peer) {
				if !p.accept(0) {
					return
				}
				p.grant()
				for {
					p.publish("rack/t", bytes.Repeat([]byte("7"), size))
					p.publish("rack/s", []byte("3"))
					if !p.listen(10 * time.Second) {
						return
					}
				}
			}, func(s *Source, out *readings) {
				all := out.pass(95 * time.Second)
				if n := counted(all, isGood(1, 3)); n != 10 {
					t.Errorf("%d values beside it, want 10", n)
				}
				if n := counted(all, func(r reading.Reading) bool {
					return r.Point == 0 && r.Quality == reading.Bad && reading.CodeOf(r.Reason) == tooLarge
				}); n != 10 {
					t.Errorf("%d failures of its own topic", n)
				}
				if st := s.Status(); !st.Up || st.Reconnects != 0 || !strings.Contains(st.Reason, "topic rack/t: too-large") {
					t.Errorf("%+v", st)
				}
			})
		})
	}
}

// TestTrap48ATopicThatBreaksTheConnectionIsLeftOut: on a slow line a message can
// take longer than the connection lives.
func TestTrap48ATopicThatBreaksTheConnectionIsLeftOut(t *testing.T) {
	var asked [][]string
	onScript(t, nil, func(_ int, p *peer) {
		if !p.accept(0) {
			return
		}
		topics := p.grant()
		slices.Sort(topics)
		asked = append(asked, topics)
		if slices.Contains(topics, "rack/t") && len(asked) < 4 {
			p.Write(append(appendHeader(nil, 0x31, 100<<20), 0, 6))
			p.Write([]byte("rack/t"))
			p.Write(bytes.Repeat([]byte("7"), 1<<20))
			for range p.in { // no ping is answered in the middle of a message
			}
			return
		}
		for p.listen(10 * time.Second) {
			p.publish("rack/s", []byte("3"))
		}
	}, func(s *Source, out *readings) {
		all := out.pass(10 * time.Minute)
		if len(asked) != 3 || len(asked[2]) != 1 || asked[2][0] != "rack/s" {
			t.Fatalf("subscribed %v", asked)
		}
		if n := counted(all, isGood(1, 3)); n < 40 {
			t.Errorf("%d values beside it", n)
		}
		if n := counted(all, func(r reading.Reading) bool {
			return r.Point == 0 && r.Quality == reading.Bad && reading.CodeOf(r.Reason) == tooLarge
		}); n == 0 {
			t.Error("the topic's points do not show why")
		}
		if st := s.Status(); !st.Up || !strings.Contains(st.Reason, "topic rack/t: too-large: a message of") || !strings.Contains(st.Reason, "left out for 1h") {
			t.Errorf("%+v", st)
		}
		// It is tried again later; the broker of this test has mended it by then.
		asked = append(asked, nil)
		out.pass(2 * time.Hour)
		if st := s.Status(); !st.Up || strings.Contains(st.Reason, "left out") {
			t.Errorf("two hours later: %+v", st)
		}
	})
}

// TestTrap49PublishersClockIsPutRight: it ran ahead, by less than is refused;
// then its stamps go back. What arrives later is newer.
func TestTrap49PublishersClockIsPutRight(t *testing.T) {
	var log bytes.Buffer
	synctest.Test(t, func(t *testing.T) {
		s, out := quietSource(t, &log)
		send := func(ahead time.Duration, v float64, retained bool) {
			payload := fmt.Appendf(nil, `{"time":%q,"value":%g}`, time.Now().Add(ahead).UTC().Format(time.RFC3339Nano), v)
			s.deliver(s.topics["rack/t"], message{payload: payload, size: len(payload), retained: retained, arrived: time.Now()}, out)
		}
		ahead := 40 * time.Second
		for i := range 100 {
			if i == 50 {
				ahead = 0
				send(ahead-time.Second, -1, true) // an old retained message is not new
			}
			send(ahead, float64(i), false)
			s.reportState()
			<-time.After(time.Second)
		}
		if n := counted(out.all, func(r reading.Reading) bool { return r.Quality == reading.Good && r.Value >= 0 }); n != 100 {
			t.Errorf("%d of 100 values", n)
		}
		if n := counted(out.all, isGood(0, -1)); n != 0 {
			t.Error("the retained message was taken for new")
		}
		if st := s.Status(); st.Errors[clockBack] != 1 || !strings.Contains(st.Reason, "topic rack/t: clock-back: its time stamps went back by 39s") {
			t.Errorf("%+v", st)
		}
		if n := strings.Count(log.String(), "went back"); n != 1 {
			t.Errorf("logged %d times", n)
		}
		<-time.After(clockNotedFor)
		send(0, 5, false)
		if s.reportState(); s.Status().Reason != "" {
			t.Errorf("later: %+v", s.Status())
		}
	})
}

func TestTrap54DeepPayloadIsRefused(t *testing.T) {
	deep := func(n int) string { return `{"v":` + strings.Repeat("[", n) + strings.Repeat("]", n) + `}` }
	for payload, shallowEnough := range map[string]bool{
		deep(maxDepth - 1): true, deep(maxDepth): false, deep(30_000): false, strings.Repeat("[", 60_000): false,
		`{"v":"` + strings.Repeat("[", 100) + `"}`: true, `{"v":"\"` + strings.Repeat("[", 100) + `"}`: true,
	} {
		m := message{payload: []byte(payload), size: len(payload)}
		if d := open(m, 64<<10, true); strings.Contains(d.json.Detail, "deeper") == shallowEnough {
			t.Errorf("%.20s…: %+v", payload, d.json)
		}
	}
}
