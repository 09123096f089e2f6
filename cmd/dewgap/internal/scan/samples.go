package scan

import (
	"math"
	"slices"
	"strings"
	"time"

	"dewgap/analyze/units"
)

// MaxPlaces of messages are followed.
const MaxPlaces = 500

// maxInstants bounds the series of each place.
const maxInstants = 2000

// Samples collects the numbers of messages at a fixed step, the newest of each
// place.
type Samples struct {
	begun  time.Time
	step   time.Duration
	places map[Place]*collected
	stamps map[string]string // topic to the pointer of its first time stamp
	left   int
	steps  int
}

type collected struct {
	values   []float64 // one a step; NaN where nothing came
	switches bool      // every sample was written as a switch
}

// NewSamples begins at a time; step is the distance of the instants.
func NewSamples(begun time.Time, step time.Duration) *Samples {
	return &Samples{begun: begun, step: max(step, time.Second), places: map[Place]*collected{}, stamps: map[string]string{}}
}

// Add takes one leaf of a message.
func (s *Samples) Add(p Place, at time.Time, number float64, isSwitch, isTime bool) {
	if isTime {
		if _, known := s.stamps[p.Topic]; !known && p.Pointer != "" && len(s.stamps) < MaxPlaces {
			s.stamps[p.Topic] = p.Pointer
		}
		return
	}
	n := int(at.Sub(s.begun) / s.step)
	if n < 0 || n >= maxInstants {
		return
	}
	c := s.places[p]
	if c == nil {
		if len(s.places) >= MaxPlaces {
			s.left++
			return
		}
		c = &collected{switches: true}
		s.places[p] = c
	}
	for len(c.values) <= n {
		c.values = append(c.values, math.NaN())
	}
	c.values[n] = number
	c.switches = c.switches && isSwitch
	s.steps = max(s.steps, n+1)
}

// Left returns how many samples belonged to places beyond MaxPlaces.
func (s *Samples) Left() int { return s.left }

// Found returns what each place looks like, in order of topic and pointer.
func (s *Samples) Found(system units.System) []Found {
	times := make([]time.Time, s.steps)
	for i := range times {
		times[i] = s.begun.Add(time.Duration(i) * s.step)
	}
	var all []Found
	for p, c := range s.places {
		for len(c.values) < s.steps {
			c.values = append(c.values, math.NaN())
		}
		if f, ok := Numbers(p, c.values, c.switches, system); ok {
			f.Time = s.stamps[p.Topic]
			all = append(all, f)
		}
	}
	slices.SortFunc(all, func(a, b Found) int {
		if c := strings.Compare(a.Topic, b.Topic); c != 0 {
			return c
		}
		return strings.Compare(a.Pointer, b.Pointer)
	})
	Movement(all, times)
	return all
}
