package fleet

import (
	"encoding/json"
	"fmt"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/notify"
)

// subscriber is the central side of the events: it takes all that is published.
type subscriber struct {
	mu       sync.Mutex
	told     map[string]map[string]bool // by site and event: opened, closed …
	messages int
	again    int // changes that came more than once
	seen     map[string]bool
	lost     int // connections
}

// subscribe connects with a session that the broker keeps.
func subscribe(t testing.TB, url string) *subscriber {
	t.Helper()
	s := &subscriber{told: map[string]map[string]bool{}, seen: map[string]bool{}}
	o := mqtt.NewClientOptions().AddBroker(url).SetClientID("central").SetCleanSession(false).SetAutoReconnect(true).
		SetConnectRetry(true).SetConnectRetryInterval(time.Second).SetMaxReconnectInterval(2 * time.Second).SetConnectTimeout(5 * time.Second)
	o.SetConnectionLostHandler(func(mqtt.Client, error) { s.mu.Lock(); s.lost++; s.mu.Unlock() })
	subscribed := make(chan error, 10)
	o.SetOnConnectHandler(func(c mqtt.Client) {
		go func() {
			token := c.Subscribe("fleet/+/event/+", 1, s.take)
			token.WaitTimeout(20 * time.Second)
			subscribed <- token.Error()
		}()
	})
	c := mqtt.NewClient(o)
	c.Connect()
	t.Cleanup(func() { c.Disconnect(100) })
	select {
	case err := <-subscribed:
		if err != nil {
			t.Fatal(err)
		}
	case <-time.After(60 * time.Second):
		t.Fatal("the subscriber is not connected within a minute")
	}
	return s
}

func (s *subscriber) take(_ mqtt.Client, m mqtt.Message) {
	var c notify.Change
	if err := json.Unmarshal(m.Payload(), &c); err != nil {
		return
	}
	name, _ := siteOf(m.Topic())
	s.mu.Lock()
	defer s.mu.Unlock()
	s.messages++
	key := fmt.Sprint(name, " ", c.Number, " ", c.What)
	if s.seen[key] {
		s.again++
		return
	}
	s.seen[key] = true
	event := name + " " + c.Event.ID
	if s.told[event] == nil {
		s.told[event] = map[string]bool{}
	}
	s.told[event][c.What] = true
}

// missing returns what the subscriber does not know of events, as texts.
func (s *subscriber) missing(name string, events []alert.Event) (gone []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, ev := range events {
		told := s.told[name+" "+ev.ID]
		switch {
		case !told["opened"] && !told["missed"]:
			gone = append(gone, name+" "+ev.ID+": its begin")
		case ev.Closed != nil && !told["closed"] && !told["withdrawn"] && !told["missed"]:
			gone = append(gone, fmt.Sprintf("%s %s: its end, told %v, severity %s", name, ev.ID, told, ev.Severity))
		}
	}
	return gone
}
