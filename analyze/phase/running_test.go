package phase

import (
	"math"
	"testing"

	"dewgap/analyze/units"

	"dewgap/analyze/frame"
)

// What a minute tells of a machine whose pipe is at −10 °C in a room of 20 °C,
// and of one whose discharge is at 70 °C. No number here has a source but that
// a pipe without gas relaxes towards its room (common practice).
func TestRatio(t *testing.T) {
	for name, c := range map[string]struct {
		move, at float64
		gas      band
		w        float64
		sign     float64 // 1: running, −1: standing
	}{
		"pipe away from the room":         {-2, -10, band{}, 1, 1},
		"pipe relaxing":                   {2, -10, band{}, 1, -1},
		"pipe too fast for metal":         {9, -10, band{}, 1, 1},
		"pipe as its gas":                 {2, -10, band{0, 2.5}, 1, 0},
		"pipe that does not move":         {0, -10, band{}, 2, 1},
		"discharge cooling":               {-3, 70, band{}, 1, -1},
		"discharge rising":                {2, 70, band{}, 1, 1},
		"discharge that does not cool":    {0, 70, band{}, 2, 1},
		"pipe at rest at the room's heat": {0, 20, band{}, 2, 0},
	} {
		e := moveRatio(c.move, c.gas, 16-c.at, 24-c.at, c.w)
		if c.sign != 0 && e*c.sign < 0.4 || c.sign == 0 && math.Abs(e) > 0.6 {
			t.Errorf("%s: %.2f nats for running", name, e)
		}
	}
}

// A lone machine's stops and starts by the two pressures (K a minute of dew and
// of condensing temperature), and what looks like them.
func TestStream(t *testing.T) {
	for name, c := range map[string]struct {
		dew, condensing float64
		want            float64 // nats in 5 s: at least, of its sign
	}{
		"stop":                         {8, -8, -1},
		"start":                        {-12, 8, 1},
		"stop, no discharge pressure":  {8, math.NaN(), -0.5},
		"start, no discharge pressure": {-12, math.NaN(), 0.5},
		"load rises":                   {8, 8, 0},
		"fans of the condenser":        {0, -8, 0},
		"nothing":                      {0, 0, 0},
	} {
		var f pressureEvidence
		x := frame.Frame{SuctionPressure: 3e5, DischargePressure: 12e5}
		for s := 0.0; s < 1230; s++ {
			after := max(s-1200, 0) / 60
			x.At, x.Dew, x.CondensingDew = int64(1e15+s*1e9), units.Celsius(-10+c.dew*after), units.Celsius(35+c.condensing*after)
			f.observe(&x, s < 1200, 1)
		}
		switch e := f.evidence; {
		case c.want == 0 && math.Abs(e) > 0.3, c.want > 0 && e < c.want, c.want < 0 && e > c.want:
			t.Errorf("%s: %.2f nats, want %g", name, e, c.want)
		}
	}
}

// Gas moves a pipe away from the room, or faster than metal relaxes.
func TestFlows(t *testing.T) {
	for rate, want := range map[float64]bool{-6: true, -1: false, 3: false, 15: true} { // K/min
		var s runEstimator
		x := frame.Frame{Ambient: 20}
		for at := 0.0; at < 65; at++ {
			x.At = int64(1e15 + at*1e9)
			s.pipe.Update(x.At, -10+rate*max(at-30, 0)/60)
		}
		if got := s.flows(&x); got != want {
			t.Errorf("%g K/min: %v", rate, got)
		}
	}
}

// A stop that is told late is dated back to within half a minute.
func TestStopIsDatedBack(t *testing.T) {
	st := store{level: -20, stop: []span{{hour, hour + 900}}}
	g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.Electric})
	x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	for at := 0.0; at < hour+600; at += 2 {
		st.fill(at, &x)
		x.At = int64(1e15 + at*1e9)
		g.Observe(&x)
		if c := &g.Compressors[0]; at > hour && c.Running() == frame.No {
			if ns, whole := c.For(x.At); !whole || math.Abs(at-hour-float64(ns)/1e9) > 30 {
				t.Errorf("told %.0f s after the stop, since %.0f s", at-hour, float64(ns)/1e9)
			}
			if at > hour+90 {
				t.Errorf("told only %.0f s after the stop", at-hour)
			}
			return
		}
	}
	t.Error("never told")
}

// A slow clamp goes on cooling for a while after a stop, as gas would make it:
// where suction rises and discharge falls at once, the pressures speak first.
func TestPressuresSpeakBeforeASlowClamp(t *testing.T) {
	nan := math.NaN()
	x := frame.Frame{Ambient: units.Celsius(nan), SuctionPressure: 4e5, DischargePressure: 12e5, Dew: -5, CondensingDew: 42}
	play := func(group float64) (stopped float64) {
		var s runEstimator
		pipe := 12.0
		for at := 0.0; at < 900; at += 10 {
			x.At = int64(1e15 + at*1e9)
			g := 0.0
			if at >= 600 && at < 630 {
				g = group
			}
			if at > 540 && at < 640 {
				pipe -= 0.25 // too slow for gas in a pipe, against the way of metal
			}
			c := machine(-5, pipe-15, pipe, 60)
			if known, _ := s.observe(&x, &c, g, singleShare, unmoved, math.NaN()); known == frame.No && stopped == 0 {
				stopped = at
			}
		}
		return stopped
	}
	if at := play(0); at != 0 {
		t.Errorf("without a word from the pressures it stands after %.0f s", at)
	}
	if at := play(-0.5); at < 600 || at > 660 {
		t.Errorf("the pressures broke at 600 s, told at %.0f s", at)
	}
}

// TestAStandingPipeIsAsWarmAsTheRoom: of two machines on one header and without
// signals, the one whose pipe is as warm as the room while the other's is cold
// stands, although nothing of it moves. Two cold ones run. Common practice, no
// source.
func TestAStandingPipeIsAsWarmAsTheRoom(t *testing.T) {
	for _, tt := range []struct {
		name       string
		cold, pipe float64
		wants      frame.Tristate
	}{
		{"as warm as the room", 8, 18.5, frame.No},
		{"a few K warmer than its neighbour", 8, 12, frame.Yes},
		{"far warmer, and colder than any room", -6, 6, frame.Yes},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g := NewGroup(Settings{}, 2, nil)
			nan := math.NaN()
			for at := int64(5e9); at < 900e9; at += 5e9 {
				wave := math.Sin(float64(at) / 60e9)
				c := machine(-10+wave, -10+wave/2, nan, nan)
				cold, other := c, c
				cold.Inlet.Temperature = units.Celsius(tt.cold + wave/2)
				other.Inlet.Temperature = units.Celsius(tt.pipe)
				if tt.wants == frame.Yes {
					other.Inlet.Temperature += units.Celsius(wave / 2)
				}
				g.Observe(&frame.Frame{At: at, Dew: c.Inlet.Dew, SuctionPressure: 2e5, DischargePressure: 10e5, CondensingDew: units.Celsius(40 - wave),
					Ambient: units.Celsius(nan), Compressors: []frame.Compressor{cold, other}})
			}
			if got := g.Compressors[0].Running(); got != frame.Yes {
				t.Errorf("the cold one: running %v, want yes", got)
			}
			if got := g.Compressors[1].Running(); got != tt.wants {
				t.Errorf("the other: running %v, want %v", got, tt.wants)
			}
		})
	}
}

// All machines of a rack stop within half a minute: nothing draws any more, and
// the dew jumps while condensing sinks. Pipes that stay warm do not outweigh it.
// A dew that rises as fast because more gas comes makes condensing rise with it.
func TestARackThatStops(t *testing.T) {
	nan := math.NaN()
	for _, tt := range []struct {
		name       string
		condensing float64 // K in a minute
		wants      frame.Tristate
	}{
		{"condensing sinks", -1, frame.No},
		{"condensing rises too", 3, frame.Yes},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g := NewGroup(Settings{}, 3, nil)
			for at := int64(5e9); at < 1900e9; at += 5e9 {
				since := max(float64(at-1800e9)/60e9, 0) // minutes
				wave := math.Sin(float64(at) / 40e9)
				dew := -10 + 20*since + wave/2
				x := frame.Frame{At: at, Dew: units.Celsius(dew), SuctionPressure: 3e5, DischargePressure: 12e5, CondensingDew: units.Celsius(40 + tt.condensing*since - wave/4),
					Ambient: units.Celsius(nan), Compressors: make([]frame.Compressor, 3)}
				for i := range x.Compressors {
					x.Compressors[i] = machine(dew, dew, 10+wave/2+since/2, nan)
				}
				g.Observe(&x)
			}
			for i := range g.Compressors {
				if got := g.Compressors[i].Running(); got != tt.wants {
					t.Errorf("machine %d: running %v, want %v", i, got, tt.wants)
				}
			}
		})
	}
}
