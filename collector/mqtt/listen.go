package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dewgap/collector"
	"dewgap/collector/register"
)

// Sample is one number, switch or time stamp in a message, for a person who looks
// for values.
type Sample struct {
	Topic    string
	Pointer  string  // JSON Pointer; empty for a plain payload
	Number   float64 // 0 or 1 for a switch
	Switch   bool    // written as true, false, on, off
	IsTime   bool    // a time stamp; Number is not set
	Retained bool
	At       time.Time
}

const (
	// listenQueue messages wait while the caller is busy; a burst drops the rest.
	listenQueue = 256
	// maxLeaves of a message are looked at.
	maxLeaves = 64
)

// Listen subscribes to a filter under a client id of its own and passes the
// numbers of each message to got until ctx ends. It publishes nothing. It returns
// how many messages were dropped because they came too fast.
func Listen(ctx context.Context, set Settings, filter string, clock collector.Clock, got func(Sample)) (dropped uint64, err error) {
	s, err := New(set, Options{Clock: clock, Purpose: "scan"})
	if err != nil {
		return 0, err
	}
	if filter == "" || strings.Contains(filter, "#") && !strings.HasSuffix(filter, "#") {
		return 0, fmt.Errorf("topic filter %q: write a topic such as store/rack1/+, or store/# for all below", filter)
	}
	connection, leave := context.WithCancel(context.WithoutCancel(ctx))
	defer leave()
	lost := make(chan error, 1)
	client := s.client(connection, lost)
	defer client.Disconnect(0)
	if err := waitFor(ctx, client.Connect(), connectTimeout); err != nil {
		return 0, errors.New(reasonOf(err))
	}
	messages := make(chan paho.Message, listenQueue)
	overflow := make(chan struct{}, 1)
	s.asked.Store(1)
	token := client.Subscribe(filter, set.QoS, func(_ paho.Client, m paho.Message) {
		select {
		case messages <- m:
		default:
			select {
			case overflow <- struct{}{}:
			default:
			}
		}
	})
	if err := waitFor(ctx, token, connectTimeout); err != nil {
		return 0, fmt.Errorf("subscribe to %s: %s", filter, reasonOf(err))
	}
	s.asked.Store(0)
	if subscribed, ok := token.(*paho.SubscribeToken); ok && subscribed.Result()[filter] > 2 {
		return 0, fmt.Errorf("the broker refuses the subscription of %s", filter)
	}
	for {
		select {
		case <-ctx.Done():
			return dropped, nil
		case err := <-lost:
			return dropped, errors.New(reasonOf(err))
		case <-overflow:
			dropped++
		case m := <-messages:
			if len(m.Payload()) <= s.set.MaxPayload {
				now := s.clock.Now()
				for _, one := range Samples(m.Payload()) {
					one.Topic, one.Retained, one.At = m.Topic(), m.Retained(), now
					got(one)
				}
			}
		}
	}
}

// Samples returns the numbers, switches and time stamps of a payload: of a plain
// one, or of the leaves of a JSON document.
func Samples(payload []byte) []Sample {
	d := open(message{payload: payload, size: len(payload)}, len(payload), true)
	if d.fault.Failed() {
		return nil
	}
	if d.json.Failed() {
		if one, ok := sampleOf(json.Number(d.text), ""); ok {
			return []Sample{one}
		}
		if one, ok := sampleOf(d.text, ""); ok {
			return []Sample{one}
		}
		return nil
	}
	var all []Sample
	walk(d.tree, "", &all)
	return all
}

func walk(node any, pointer string, all *[]Sample) {
	if len(*all) >= maxLeaves {
		return
	}
	switch n := node.(type) {
	case map[string]any:
		names := make([]string, 0, len(n))
		for name := range n {
			names = append(names, name)
		}
		slices.Sort(names)
		for _, name := range names {
			walk(n[name], pointer+"/"+escape.Replace(name), all)
		}
	case []any:
		for i, v := range n {
			walk(v, pointer+"/"+strconv.Itoa(i), all)
		}
	default:
		if one, ok := sampleOf(node, pointer); ok {
			*all = append(*all, one)
		}
	}
}

var escape = strings.NewReplacer("~", "~0", "/", "~1")

// firstStamp is the number from which one is a time stamp in seconds: the year
// 2001.
const firstStamp = 1e9

// sampleOf returns what a leaf holds; not ok where it is neither number, switch
// nor time.
func sampleOf(node any, pointer string) (Sample, bool) {
	s := Sample{Pointer: pointer}
	text := ""
	switch v := node.(type) {
	case json.Number:
		text = string(v)
	case string:
		text = v
	case bool:
		s.Switch = true
		if v {
			s.Number = 1
		}
		return s, true
	default:
		return s, false
	}
	if number, fault := register.ParseNumber(text); !fault.Failed() {
		if number >= firstStamp && number < 1e14 {
			s.IsTime = true
			return s, true
		}
		s.Number = number
		return s, true
	}
	if set, ok := register.ParseSwitch(text); ok {
		s.Switch = true
		if set {
			s.Number = 1
		}
		return s, true
	}
	if _, err := time.Parse(time.RFC3339Nano, strings.TrimSpace(text)); err == nil {
		s.IsTime = true
		return s, true
	}
	return s, false
}
