package history

import (
	"fmt"
	"math"
	"time"
)

// MaxSteps is the most steps of one answer, MaxSpan the longest span.
const (
	MaxSteps = 3000
	MaxSpan  = 400 * 24 * time.Hour
	// usualSteps is about how many steps an answer has where nobody asks for a width.
	usualSteps = 720
)

// Answer is a span of history in steps.
type Answer struct {
	From   time.Time       `json:"from"` // of the first step
	Step   float64         `json:"step_seconds"`
	Steps  int             `json:"steps"`
	Rows   []int           `json:"rows"` // in each step; 0: nothing was recorded
	Values []SeriesColumns `json:"values"`
	Tracks []TrackColumns  `json:"tracks"`
}

// SeriesColumns is one quantity; null where it was not known.
type SeriesColumns struct {
	Series
	Min  []*float64 `json:"min"`
	Mean []*float64 `json:"mean"`
	Max  []*float64 `json:"max"`
}

// TrackColumns are the seconds of each phase or stage in each step.
type TrackColumns struct {
	Track
	Seconds [][]float64 `json:"seconds"` // by kind
}

// StepFor returns the width of step for a span: the narrowest usual one that gives
// about as many steps as a screen shows.
func StepFor(span time.Duration) time.Duration {
	for _, step := range []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour} {
		if span <= usualSteps*step {
			return step
		}
	}
	return 24 * time.Hour
}

// Check returns an error that says what would be right where a span cannot be
// answered.
func Check(from, to time.Time, step time.Duration) error {
	span := to.Sub(from)
	switch {
	case span <= 0:
		return fmt.Errorf("to (%s) is not after from (%s)", to.Format(time.RFC3339), from.Format(time.RFC3339))
	case span > MaxSpan:
		return fmt.Errorf("the span is %d days; %d are the most in one answer", int(span.Hours()/24), int(MaxSpan.Hours()/24))
	case step < time.Minute || step%time.Minute != 0:
		return fmt.Errorf("a step is a whole number of minutes")
	case step > 24*time.Hour || (24*time.Hour)%step != 0:
		return fmt.Errorf("a step divides a day: 1m, 5m, 15m, 1h, 24h")
	case span/step > MaxSteps:
		return fmt.Errorf("%d steps are asked for; %d are the most in one answer, so a step of %s or a shorter span", span/step, MaxSteps, StepFor(span))
	}
	return nil
}

// Query returns the history from from until before to. Steps begin at whole
// multiples of step in UTC. group leaves out all others; empty: none.
func (s *Store) Query(from, to time.Time, step time.Duration, group string) (*Answer, error) {
	if err := Check(from, to, step); err != nil {
		return nil, err
	}
	from = from.UTC().Truncate(step)
	level := 0
	for i := range levels {
		if step%levels[i].step == 0 {
			level = i
		}
	}
	steps := int((to.Sub(from) + step - 1) / step)
	out := newBlock(layout{}, from, step)
	out.Steps = steps
	out.rows = make([]float32, steps)
	series, tracks := map[Series]int{}, map[string]int{}
	err := s.each(level, from, to, func(b *block) {
		place := make([]int, b.Steps) // of each step of b in the answer; −1: outside
		for i := range place {
			at := b.From.Add(time.Duration(i) * b.Step)
			place[i] = -1
			if n := int(at.Sub(from) / step); !at.Before(from) && n < steps {
				place[i] = n
				out.rows[n] += b.rows[i]
			}
		}
		for i, name := range b.Series {
			if group != "" && name.Group != group {
				continue
			}
			to, ok := series[name]
			if !ok {
				to = len(out.values)
				series[name] = to
				out.Series, out.values = append(out.Series, name), append(out.values, newColumn(steps))
			}
			c := &b.values[i]
			for n, at := range place {
				if at >= 0 && c.count[n] > 0 {
					out.values[to].merge(at, c.min[n], c.max[n], c.sum[n], c.count[n])
				}
			}
		}
		for i, track := range b.Tracks {
			if group != "" && track.Group != group {
				continue
			}
			name := fmt.Sprintf("%q", []string{track.Group, track.Compressor, track.Circuit})
			to, ok := tracks[name]
			if !ok {
				to = len(out.seconds)
				tracks[name] = to
				columns := make([][]float32, len(track.Kinds))
				for k := range columns {
					columns[k] = make([]float32, steps)
				}
				out.Tracks, out.seconds = append(out.Tracks, track), append(out.seconds, columns)
			}
			for k := range min(len(track.Kinds), len(out.seconds[to])) {
				for n, at := range place {
					if at >= 0 {
						out.seconds[to][k][at] += b.seconds[i][k][n]
					}
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return answerOf(out), nil
}

func answerOf(b *block) *Answer {
	a := &Answer{From: b.From, Step: b.Step.Seconds(), Steps: b.Steps, Rows: make([]int, b.Steps), Values: []SeriesColumns{}, Tracks: []TrackColumns{}}
	for i, n := range b.rows {
		a.Rows[i] = int(n)
	}
	for i, name := range b.Series {
		c := SeriesColumns{name, make([]*float64, b.Steps), make([]*float64, b.Steps), make([]*float64, b.Steps)}
		per := 100.0 // hundredths of a kelvin
		if name.Unit == "Pa" {
			per = 0.1
		}
		round := func(v float32) *float64 {
			r := math.Round(float64(v)*per) / per
			return &r
		}
		v := &b.values[i]
		for n := range b.Steps {
			if v.count[n] > 0 {
				c.Min[n], c.Mean[n], c.Max[n] = round(v.min[n]), round(v.sum[n]/v.count[n]), round(v.max[n])
			}
		}
		a.Values = append(a.Values, c)
	}
	for i, track := range b.Tracks {
		t := TrackColumns{Track: track, Seconds: make([][]float64, len(track.Kinds))}
		for k := range t.Seconds {
			t.Seconds[k] = make([]float64, b.Steps)
			for n, v := range b.seconds[i][k] {
				t.Seconds[k][n] = math.Round(float64(v)*10) / 10
			}
		}
		a.Tracks = append(a.Tracks, t)
	}
	return a
}
