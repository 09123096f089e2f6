package notify

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"dewgap/config"
)

// uplink publishes messages at an MQTT broker, below its own prefix and by a
// client of its own. The connection stays, so that the broker tells when it is
// lost.
type uplink struct {
	set     *config.Notify
	words   words
	passing bool
	client  mqtt.Client
	once    sync.Once

	mu    sync.Mutex
	fault string // why there is no connection
}

// States of PREFIX/status.
const (
	online  = "online"
	offline = "offline"
)

// newUplink returns the way to a broker. A passing one, for a test, says nothing
// of the daemon's state.
func newUplink(t *config.Notify, w words, passing bool) (sender, error) {
	roots, err := rootsOf(t.CAFile)
	if err != nil {
		return nil, err
	}
	u := &uplink{set: t, words: w, passing: passing, fault: "not connected yet"}
	o := mqtt.NewClientOptions().AddBroker(t.URL).SetClientID(t.ClientID).SetCleanSession(true).
		SetTLSConfig(&tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}).
		SetConnectTimeout(sendLimit / 2).SetWriteTimeout(sendLimit).SetAutoReconnect(true).SetConnectRetry(true).
		SetConnectRetryInterval(10 * time.Second).SetMaxReconnectInterval(time.Minute).SetOrderMatters(false)
	if !passing {
		o.SetWill(t.Prefix+"/status", offline, 1, true)
	}
	if t.Username != "" {
		o.SetUsername(t.Username).SetPassword(string(t.Password))
	}
	o.SetOnConnectHandler(func(c mqtt.Client) {
		u.say("")
		if passing {
			return
		}
		c.Publish(t.Prefix+"/status", 1, true, online)
		u.announce(c)
	})
	o.SetConnectionLostHandler(func(_ mqtt.Client, err error) { u.say("the connection was lost: " + err.Error()) })
	o.SetConnectionNotificationHandler(func(_ mqtt.Client, n mqtt.ConnectionNotification) {
		if failed, ok := n.(mqtt.ConnectionNotificationFailed); ok {
			u.say(failed.Reason.Error())
		}
	})
	u.client = mqtt.NewClient(o)
	return u, nil
}

// start connects, and goes on trying by itself.
func (u *uplink) start() { u.once.Do(func() { u.client.Connect() }) }

func (u *uplink) say(fault string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.fault = fault
}

func (u *uplink) close() {
	if u.client.IsConnectionOpen() && !u.passing {
		u.client.Publish(u.set.Prefix+"/status", 1, true, offline).WaitTimeout(time.Second)
	}
	u.client.Disconnect(250)
}

func (u *uplink) send(ctx context.Context, m *Message) error {
	u.start()
	if !u.client.IsConnectionOpen() {
		// The first message may come before the connection.
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
	if !u.client.IsConnectionOpen() {
		u.mu.Lock()
		defer u.mu.Unlock()
		return &failure{reason: u.set.Address() + ": " + u.fault, sure: true}
	}
	if len(m.Changes) == 0 {
		return u.publish(ctx, "message/"+m.Type, false, m)
	}
	for i := range m.Changes {
		c := &m.Changes[i]
		id := topicLevel(c.Event.ID)
		if err := u.publish(ctx, "event/"+id, false, c); err != nil {
			return err
		}
		var open any = &c.Event
		if c.Event.Closed != nil {
			open = nil
		}
		if err := u.publish(ctx, "open/"+id, true, open); err != nil {
			return err
		}
	}
	return nil
}

// publish hands one value to the broker and waits until that has it; a nil value
// clears a retained one.
func (u *uplink) publish(ctx context.Context, topic string, retained bool, value any) error {
	var payload []byte
	if value != nil {
		var err error
		if payload, err = json.Marshal(value); err != nil {
			return &failure{reason: err.Error(), verdict: refused}
		}
	}
	token := u.client.Publish(u.set.Prefix+"/"+topic, 1, retained, payload)
	select {
	case <-token.Done():
		if err := token.Error(); err != nil {
			return &failure{reason: fmt.Sprintf("%s: %v", u.set.Address(), err)}
		}
		return nil
	case <-ctx.Done():
		return &failure{reason: u.set.Address() + " did not confirm a message in time"}
	}
}

// topicLevel makes an id one level of a topic.
func topicLevel(id string) string {
	return strings.NewReplacer("/", "_", "+", "_", "#", "_").Replace(id)
}

// announce describes the site as a device to home-automation hubs, where the
// configuration asks for it.
func (u *uplink) announce(c mqtt.Client) {
	if u.set.Discovery == "" {
		return
	}
	id := topicLevel(strings.ReplaceAll(u.set.Prefix, "/", "-"))
	text, err := json.Marshal(map[string]any{
		"dev": map[string]any{"ids": []string{id}, "name": "Refrigeration of " + u.words.site},
		"o":   map[string]any{"name": "dewgap"},
		"cmps": map[string]any{
			"watched": map[string]any{
				"p": "binary_sensor", "name": "Watched", "device_class": "connectivity", "unique_id": id + "-watched",
				"state_topic": u.set.Prefix + "/status", "payload_on": online, "payload_off": offline,
			},
			"change": map[string]any{
				"p": "sensor", "name": "Last event", "unique_id": id + "-change",
				"state_topic": u.set.Prefix + "/event/+", "value_template": "{{ value_json.event.kind }} {{ value_json.change }} {{ value_json.event.compressor }}",
				"availability_topic": u.set.Prefix + "/status",
			},
		},
	})
	if err != nil {
		return
	}
	c.Publish(u.set.Discovery+"/device/"+id+"/config", 1, true, text)
}
