package devices

import (
	"context"
	"encoding/json"
	"math"
	"time"
)

// MQTTValue is what a plant shows on one topic.
type MQTTValue struct {
	Topic string
	Value float64 // NaN is sent as null
}

// MQTTPlant is a plant whose values can be asked for at any time.
type MQTTPlant interface {
	MQTTValues() []MQTTValue
}

// MQTTClock is the clock of the plant.
type MQTTClock interface {
	Now() time.Time
	Until(ctx context.Context, t time.Time) error
}

// MQTTPublisher publishes all values of a plant every period of its clock, each
// as {"time":"…","value":…}. A stopped broker costs messages, as it does in the
// field.
type MQTTPublisher struct {
	Broker *MQTTBroker
	Plant  MQTTPlant
	Clock  MQTTClock
	Period time.Duration
	// Stamp is the publisher's own clock; nil takes the plant's. A plant that
	// runs faster than its readers needs their time in "time", or they would
	// refuse it as skewed; its own then stands in "plant_time".
	Stamp func() time.Time
}

// Run publishes until ctx ends.
func (p *MQTTPublisher) Run(ctx context.Context) error {
	for next := p.Clock.Now(); ; {
		now := p.Clock.Now()
		for _, v := range p.Plant.MQTTValues() {
			// Publishing fails only while the broker is stopped.
			_ = p.Broker.Publish(v.Topic, p.payload(now, v.Value), false)
		}
		for next = next.Add(p.Period); !next.After(now); {
			next = next.Add(p.Period)
		}
		if p.Clock.Until(ctx, next) != nil {
			return nil
		}
	}
}

func (p *MQTTPublisher) payload(now time.Time, value float64) []byte {
	var message struct {
		Time  string   `json:"time"`
		Plant string   `json:"plant_time,omitempty"`
		Value *float64 `json:"value"`
	}
	message.Time = now.UTC().Format(time.RFC3339Nano)
	if p.Stamp != nil {
		message.Plant, message.Time = message.Time, p.Stamp().UTC().Format(time.RFC3339Nano)
	}
	if !math.IsNaN(value) && !math.IsInf(value, 0) {
		message.Value = &value
	}
	payload, _ := json.Marshal(message) // cannot fail: texts and a finite number
	return payload
}
