package fronts

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
	MQTTValues(now time.Time) []MQTTValue
}

// MQTTClock is the time in which the plant lives.
type MQTTClock interface {
	Now() time.Time
	Until(ctx context.Context, t time.Time) error
}

// PublishPlant publishes all values of plant every period of clock, each as
// {"time":"…","value":…}, until ctx ends. A stopped broker costs messages,
// as it does in the field.
func PublishPlant(ctx context.Context, b *MQTTBroker, plant MQTTPlant, clock MQTTClock, period time.Duration) error {
	for next := clock.Now(); ; {
		now := clock.Now()
		for _, v := range plant.MQTTValues(now) {
			// Publishing fails only while the broker is stopped.
			_ = b.Publish(v.Topic, mqttPayload(now, v.Value), false)
		}
		for next = next.Add(period); !next.After(now); {
			next = next.Add(period)
		}
		if clock.Until(ctx, next) != nil {
			return nil
		}
	}
}

func mqttPayload(now time.Time, value float64) []byte {
	message := struct {
		Time  string   `json:"time"`
		Value *float64 `json:"value"`
	}{Time: now.UTC().Format(time.RFC3339Nano)}
	if !math.IsNaN(value) && !math.IsInf(value, 0) {
		message.Value = &value
	}
	payload, _ := json.Marshal(message) // cannot fail: text and a finite number
	return payload
}
