package phase

import (
	"math"
	"testing"

	"dewgap/analyze/superheat"
	"dewgap/analyze/units"

	"dewgap/analyze/frame"
)

// store is a hand-made site of one machine and one circuit: undisturbed, a
// defrost with heat and drip, and the way back. Times in seconds. Shapes are
// common practice, no source.
type store struct {
	defrosts []span // heat
	drip     float64
	plateau  bool    // melting holds the coil at 0 °C
	level    float64 // °C of dew: −10 or −32
	pause    float64 // s of a thermostat's pause, every 1200 s; 0: none
	stop     []span  // of the machine
	signal   bool    // running signal
	flag     bool    // defrost signal
	noCoil   bool
	noAir    bool
	noise    func(t float64) float64 // K on dew
	stuck    float64                 // the defrost signal stays on from here; 0: never
}

type span struct{ from, to float64 }

func (s span) has(t float64) bool { return t >= s.from && t < s.to }

// since returns the seconds since the last end of a defrost and its drip.
func (s *store) since(t float64) float64 {
	ago := math.Inf(1)
	for _, d := range s.defrosts {
		if t >= d.to+s.drip {
			ago = min(ago, t-d.to-s.drip)
		}
	}
	return ago
}

func (s *store) fill(t float64, x *frame.Frame) {
	heat, into := false, 0.0
	for _, d := range s.defrosts {
		if t >= d.from && t < d.to+s.drip {
			heat, into = t < d.to, t-d.from
			if !heat {
				into = -1
			}
		}
	}
	dew := s.level
	air, coil := dew+12, dew+6
	ago := s.since(t)
	switch {
	case into > 0: // pump-down, then up to the plateau, then on
		air += min(into/150, 8)
		coil += min(into/20, 40)
		if s.plateau && into < 900 {
			coil = min(coil, 0.3)
		}
	case into < 0:
		air += 8
		coil = max(coil+40, 8) - 2
		if s.plateau {
			coil = 8
		}
	default: // the excess of air dies with 8 min; the coil is cold in a minute
		air += 8 * math.Exp(-ago/480)
		coil += (8 - coil) * math.Exp(-ago/25)
		if s.pause > 0 && ago > 3600 {
			if in := math.Mod(t, 1200); in < s.pause {
				coil += (air - coil) * (1 - math.Exp(-in/60))
			}
		}
	}
	pipe, hot := dew+12, 70.0
	running := true
	stands := 0.0 // K that the dew stands higher without the machine
	for _, p := range s.stop {
		if p.has(t) {
			running = false
			stands = 8 * (1 - math.Exp(-(t-p.from)/60))
			pipe += (20 - pipe) * (1 - math.Exp(-(t-p.from)/1200))
			hot += (25 - hot) * (1 - math.Exp(-(t-p.from)/900))
		}
		if a := t - p.to; a >= 0 {
			stands = 8 * (1 - math.Exp(-(p.to-p.from)/60)) * math.Exp(-a/20)
			warm, cool := dew+12+(8-dew)*(1-math.Exp(-(p.to-p.from)/1200)), 70+(25-70.0)*(1-math.Exp(-(p.to-p.from)/900))
			pipe += (warm - pipe) * math.Exp(-a/40)
			hot += (cool - hot) * math.Exp(-a/90)
		}
	}
	dew += stands
	if s.noise != nil {
		dew += s.noise(t)
	}
	x.SuctionPressure, x.DischargePressure, x.Dew, x.CondensingDew, x.Ambient = 2.5e5, 10e5, units.Celsius(dew), 35, 20
	c := &x.Compressors[0]
	*c = machine(dew, dew, pipe, hot)
	if s.signal {
		c.Signal = frame.Of(running)
	}
	k := &x.Circuits[0]
	*k = frame.Circuit{CoilOutlet: units.Celsius(coil), Air: units.Celsius(air)}
	if s.flag {
		k.Signal = frame.Of(heat || s.stuck > 0 && t >= s.stuck)
	}
	if s.noCoil {
		k.CoilOutlet = units.Celsius(math.NaN())
	}
	if s.noAir {
		k.Air = units.Celsius(math.NaN())
	}
}

// machine returns a compressor as the meter would fill it: suction dew, the dew
// delayed like the pipe's sensor, pipe and discharge, °C.
func machine(dew, delayed, pipe, discharge float64) frame.Compressor {
	return frame.Compressor{
		Inlet:     superheat.Value{Dew: units.Celsius(dew), DelayedDew: units.Celsius(delayed), Temperature: units.Celsius(pipe)},
		Discharge: units.Celsius(discharge), Sump: units.Celsius(math.NaN()),
	}
}

// play runs the store for a time and returns the phase at each whole second
// that is a multiple of step plus offset; elsewhere the one before holds.
func (s *store) play(length, step, offset float64) func(t float64) frame.Phase {
	g := NewGroup(Settings{}, 1, []frame.DefrostKind{frame.DefrostUnset})
	x := frame.Frame{Compressors: make([]frame.Compressor, 1), Circuits: make([]frame.Circuit, 1)}
	told := make([]frame.Phase, int(length)+1)
	last := frame.Unknown
	for t, next := 0.0, offset; t <= length; t++ {
		if t >= next {
			next += step
			s.fill(t, &x)
			x.At = int64(1e15 + t*1e9)
			last = g.Observe(&x)[0]
		}
		told[int(t)] = last
	}
	return func(t float64) frame.Phase { return told[int(t)] }
}

// want checks the phases at the given times.
func want(t *testing.T, told func(float64) frame.Phase, at map[float64]frame.Phase) {
	t.Helper()
	for s, p := range at {
		if got := told(s); got != p {
			t.Errorf("at %.0f s: %s, want %s", s, got, p)
		}
	}
}

// share returns which part of a span was told as p.
func share(told func(float64) frame.Phase, from, to float64, p frame.Phase) float64 {
	n := 0.0
	for t := from; t < to; t++ {
		if told(t) == p {
			n++
		}
	}
	return n / (to - from)
}
