package mqtt

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
)

// Seen is the present message of a point's topic, for a technician who sets it up.
type Seen struct {
	Path     string
	Topic    string
	Answered bool   // a message arrived
	Payload  string // its beginning
	Retained bool
	Age      time.Duration // of its time stamp; 0 when it carries none
	Value    float64       // SI; NaN when there is none
	Quality  reading.Quality
	Reason   string
}

// longestExcerpt of a payload that a person is shown, in bytes.
const longestExcerpt = 200

// ReadOnce connects once, under a client id of its own beside a running
// daemon, and returns what each topic delivers within wait: at most one message a
// topic, a live one rather than a retained one. The order is the settings'.
func ReadOnce(ctx context.Context, set Settings, clock collector.Clock, wait time.Duration) ([]Seen, error) {
	s, err := New(set, Options{Clock: clock, Purpose: "check"})
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, wait+connectTimeout)
	defer cancel()
	lost := make(chan error, 1)
	client := s.client(ctx, lost)
	defer client.Disconnect(0)
	if err := waitFor(ctx, client.Connect(), connectTimeout); err != nil {
		return nil, errors.New(reasonOf(err))
	}
	if err := s.subscribe(ctx, client, slices.Collect(maps.Values(s.topics))); err != nil {
		return nil, err
	}
	accepted := len(s.accepted())
	seen := map[string]message{}
	live := 0
	timer := time.NewTimer(wait)
	defer timer.Stop()
	for over := false; !over && live < accepted; {
		select {
		case <-ctx.Done():
			over = true
		case <-timer.C:
			over = true
		case err := <-lost:
			return nil, errors.New(reasonOf(err))
		case <-s.box.wake:
			s.box.drain(func(name string, m message) {
				if old, had := seen[name]; !m.retained && (!had || old.retained) {
					live++
				}
				seen[name] = m
			})
		}
	}
	return s.explain(seen), nil
}

func (s *Source) explain(seen map[string]message) []Seen {
	now := s.clock.Now()
	var all []Seen
	for i := range s.set.Points {
		p := &s.set.Points[i]
		m, answered := seen[p.Topic]
		out := Seen{Path: p.Path, Topic: p.Topic, Answered: answered, Retained: m.retained, Value: math.NaN()}
		switch {
		case s.topics[p.Topic].refused != "":
			out.Reason = reading.Refused + ": the broker refuses the subscription"
		case !answered:
			out.Reason = reading.Silent + ": no message arrived in time"
		default:
			out.Payload = string(m.payload[:min(len(m.payload), longestExcerpt)])
			doc := open(m, s.set.MaxPayload, s.topics[p.Topic].json)
			d := doc.read(p, m.retained, now, s.set.MaxSkew)
			out.Value, out.Reason = d.value, d.fault.Reason()
			if !d.stamp.IsZero() {
				out.Age = now.Sub(d.stamp)
			}
		}
		out.Quality = reading.Good
		if out.Reason != "" {
			out.Quality = reading.QualityOf(out.Reason)
		}
		all = append(all, out)
	}
	return all
}
