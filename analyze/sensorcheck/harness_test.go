package sensorcheck

import (
	"math"
	"testing"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// harness is an invented group of which everything is measured and nothing is
// wrong, to be changed by a test: signalled compressors that run steadily at a
// dew of −10 °C with 12 K of superheat, condensing at 35 °C, coils with 6 K.
type harness struct {
	t       *testing.T
	fluid   *refrigerant.Fluid
	checker *Checker
	x       *frame.Frame
	signals map[int]*superheat.Signal
	still   map[int]bool // points that repeat their value bit for bit
	noise   map[int]float64
	steps   int
}

// Points of the harness; those of members count up.
const (
	suctionAt   = 0
	highAt      = 1
	lineAt      = 100
	dischargeAt = 200
	sumpAt      = 300
	coilAt      = 400
	airAt       = 500
)

type setUp struct {
	fluid                 string
	compressors, circuits int
	ownPressures          bool // each compressor has a transmitter of its own
	noDischarge, noCoils  bool
}

func newHarness(t *testing.T, s setUp) *harness {
	t.Helper()
	if s.fluid == "" {
		s.fluid = "R134a"
	}
	fluid, err := refrigerant.Lookup(s.fluid)
	if err != nil {
		t.Fatal(err)
	}
	h := &harness{t: t, fluid: fluid, x: newFrame(s.compressors, s.circuits), signals: map[int]*superheat.Signal{}, still: map[int]bool{}, noise: map[int]float64{}}
	in := func(point int, role reading.Role) Input {
		if h.signals[point] == nil {
			signal := superheat.NewSignal(role, 0)
			h.signals[point] = &signal
		}
		return Input{Point: point, Signal: h.signals[point]}
	}
	g := Group{Fluid: fluid, Atmosphere: units.StandardAtmosphere, DischargePressure: in(highAt, reading.DischargePressure)}
	for i := range s.compressors {
		k := Compressor{Pressure: in(suctionAt, reading.SuctionPressure), Temperature: in(lineAt+i, reading.SuctionTemperature), Sump: in(sumpAt+i, reading.SumpTemperature)}
		if s.ownPressures {
			k.Pressure = in(suctionAt+2+i, reading.SuctionPressure)
		}
		if !s.noDischarge {
			k.Discharge = in(dischargeAt+i, reading.DischargeTemperature)
			h.x.Compressors[i].Discharge = 70
		}
		g.Compressors = append(g.Compressors, k)
		h.suction(i, -10, 12)
	}
	for i := range s.circuits {
		k := Circuit{}
		if !s.noCoils {
			k = Circuit{CoilOutlet: in(coilAt+i, reading.CoilOutletTemperature), Air: in(airAt+i, reading.AirTemperature)}
			h.x.Circuits[i].CoilOutlet, h.x.Circuits[i].Air = -4, 1
		}
		g.Circuits = append(g.Circuits, k)
	}
	h.x.DischargePressure = h.saturated(35)
	h.x.At = int64(24 * time.Hour)
	h.checker = New(g)
	return h
}

func (h *harness) saturated(dew units.Celsius) units.Pascal {
	p, err := h.fluid.DewPressure(dew)
	if err != nil {
		h.t.Fatal(err)
	}
	return p
}

// suction sets dew and superheat of a compressor.
func (h *harness) suction(i int, dew units.Celsius, over units.Kelvin) {
	h.x.Compressors[i].Inlet = superheat.Value{Pressure: h.saturated(dew), Dew: dew, DelayedDew: dew, Temperature: dew.Plus(over),
		Superheat: over, Uncertainty: 2, Quality: reading.Good}
}

// suctions sets dew and superheat of all compressors.
func (h *harness) suctions(dew units.Celsius, over units.Kelvin) {
	for i := range h.x.Compressors {
		h.suction(i, dew, over)
	}
}

// phase sets the phase of all compressors.
func (h *harness) phase(p frame.Phase) {
	for i := range h.x.Compressors {
		h.x.Compressors[i].Phase = p
	}
}

// unsignalled takes the running signals away.
func (h *harness) unsignalled() {
	for i := range h.x.Compressors {
		h.x.Compressors[i].Signal = frame.Unset
	}
}

// run feeds the frame as it is for so many minutes, at the pace given. Signals
// change in the last bit from row to row, the frame does not.
func (h *harness) run(minutes float64, pace time.Duration) {
	for until := h.x.At + int64(minutes*float64(time.Minute)); h.x.At < until; {
		h.x.At, h.x.Step = h.x.At+int64(pace), int64(pace)
		h.steps++
		for i := range h.x.Compressors {
			k := &h.x.Compressors[i]
			point := suctionAt
			if h.signals[point] == nil {
				point = suctionAt + 2 + i
			}
			if i == 0 || point != suctionAt {
				h.take(point, float64(k.Inlet.Pressure))
			}
			h.take(lineAt+i, float64(k.Inlet.Temperature))
			h.take(dischargeAt+i, float64(k.Discharge))
			h.take(sumpAt+i, float64(k.Sump))
		}
		h.take(highAt, float64(h.x.DischargePressure))
		for i := range h.x.Circuits {
			h.take(coilAt+i, float64(h.x.Circuits[i].CoilOutlet))
			h.take(airAt+i, float64(h.x.Circuits[i].Air))
		}
		for _, a := range h.checker.Observe(h.x) {
			if err := evidence.Check(*a.Message); err != nil {
				h.t.Error(err)
			}
			if a.Since > h.x.At {
				h.t.Errorf("%s begins %v after it is found", a.Code, time.Duration(a.Since-h.x.At))
			}
		}
	}
}

// take enters a value into a signal, where both exist.
func (h *harness) take(point int, value float64) {
	if h.signals[point] == nil || math.IsNaN(value) {
		return
	}
	if !h.still[point] {
		value *= 1 + 1e-9*float64(h.steps%2)
	}
	value += h.noise[point] * noiseOf(h.steps)
	h.signals[point].Take(h.x.At, &reading.Reading{Value: value, Quality: reading.Good})
}

// noiseOf is +a, −a, … with the mean second difference (4a) that white noise of
// deviation 1 has: √6·√(2/π).
func noiseOf(step int) float64 {
	a := math.Sqrt(6) * math.Sqrt(2/math.Pi) / 4
	return a * float64(1-2*(step%2))
}

// anomaly returns the standing anomaly of that code; nil where there is none.
func (h *harness) anomaly(code evidence.Code) *Anomaly {
	for i := range h.checker.standing {
		if h.checker.standing[i].Code == code {
			return &h.checker.standing[i]
		}
	}
	return nil
}

func (h *harness) has(code evidence.Code) bool { return h.anomaly(code) != nil }

// limit is one threshold of a check: at quiet the anomaly does not stand, at
// loud it does.
type limit struct {
	name        string
	quiet, loud float64
	found       func(t *testing.T, v float64) bool
}

func checkLimits(t *testing.T, limits []limit) {
	for _, l := range limits {
		t.Run(l.name, func(t *testing.T) {
			if l.found(t, l.quiet) {
				t.Errorf("at %g it stands", l.quiet)
			}
			if !l.found(t, l.loud) {
				t.Errorf("at %g it does not stand", l.loud)
			}
		})
	}
}
