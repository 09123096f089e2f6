package sensorcheck

import (
	"math"
	"slices"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// unit is an invented single unit; limits of the checks are common practice, no
// source. What is wrong in each case, and by how much, follows from physics and
// the reference tables.
type unit struct {
	t       *testing.T
	fluid   *refrigerant.Fluid
	group   Group
	checker *Checker
	x       *frame.Frame
	signals map[reading.Role]*superheat.Signal
	found   map[evidence.Code]*evidence.Item // the newest message by code
}

const (
	suctionPoint = iota
	dischargePoint
	pipePoint
	hotPoint
	coilPoint
	airPoint
)

func newUnit(t *testing.T, name string) *unit {
	fluid, err := refrigerant.Lookup(name)
	if err != nil {
		t.Fatal(err)
	}
	u := &unit{t: t, fluid: fluid, signals: map[reading.Role]*superheat.Signal{}, found: map[evidence.Code]*evidence.Item{}}
	in := func(point int, role reading.Role) Input {
		s := superheat.NewSignal(role, 0)
		u.signals[role] = &s
		return Input{Point: point, Signal: &s}
	}
	u.group = Group{
		Fluid: fluid, Atmosphere: units.StandardAtmosphere, DischargePressure: in(dischargePoint, reading.DischargePressure),
		Compressors: []Compressor{{Pressure: in(suctionPoint, reading.SuctionPressure), Temperature: in(pipePoint, reading.SuctionTemperature), Discharge: in(hotPoint, reading.DischargeTemperature)}},
		Circuits:    []Circuit{{CoilOutlet: in(coilPoint, reading.CoilOutletTemperature), Air: in(airPoint, reading.AirTemperature)}},
	}
	u.checker = New(u.group)
	u.x = newFrame(1, 1)
	return u
}

// shown is what the transmitters show: pressures in Pa, as the program takes
// them to be absolute, temperatures in °C.
type shown struct{ low, high, pipe, hot, coil, air float64 }

// saturated returns the pressure at which t is the dew temperature.
func (u *unit) saturated(t float64) float64 {
	p, err := u.fluid.DewPressure(units.Celsius(t))
	if err != nil {
		u.t.Fatal(err)
	}
	return float64(p)
}

// run feeds minutes, a sample each 5 s with some wobble, from minute from on.
func (u *unit) run(from, minutes float64, at func(minute float64) shown) {
	u.t.Helper()
	for sec := from * 60; sec < (from+minutes)*60; sec += 5 {
		x := at(sec / 60)
		wobble := 0.1 * math.Mod(sec/5, 3)
		now := int64(sec) * second
		take := func(role reading.Role, v float64) {
			if !math.IsNaN(v) {
				u.signals[role].Take(now, &reading.Reading{Value: v, Quality: reading.Good})
			}
		}
		x.low *= 1 + 0.002*wobble
		x.pipe += wobble
		take(reading.SuctionPressure, x.low)
		take(reading.DischargePressure, x.high*(1+0.002*wobble))
		take(reading.SuctionTemperature, x.pipe)
		take(reading.DischargeTemperature, x.hot+wobble)
		take(reading.CoilOutletTemperature, x.coil+wobble)
		take(reading.AirTemperature, x.air+wobble)
		dew, err := u.fluid.Dew(units.Pascal(x.low))
		v := superheat.Value{Pressure: units.Pascal(x.low), Temperature: units.Celsius(x.pipe), DelayedDew: dew, Dew: dew,
			Superheat: units.Celsius(x.pipe).Above(dew), Uncertainty: 2.1, Quality: reading.Good}
		if err != nil {
			v.Superheat = units.Kelvin(math.NaN())
		}
		k, circuit := &u.x.Compressors[0], &u.x.Circuits[0]
		u.x.Step, u.x.At, u.x.DischargePressure = now-u.x.At, now, units.Pascal(x.high)
		k.Inlet, k.Discharge = v, units.Celsius(x.hot)
		circuit.CoilOutlet, circuit.Air = units.Celsius(x.coil), units.Celsius(x.air)
		for _, s := range u.checker.Observe(u.x) {
			u.found[s.Code] = s.Message
		}
	}
}

// wants fails unless the code was found, with the parts of its sentence.
func (u *unit) wants(code evidence.Code, parts ...evidence.Code) {
	u.t.Helper()
	message, ok := u.found[code]
	if !ok {
		u.t.Errorf("want %s; found %v", code, u.found)
		return
	}
	if err := evidence.Check(*message); err != nil {
		u.t.Error(err)
	}
	for _, part := range parts {
		if !slices.ContainsFunc(message.Values, func(v evidence.Value) bool { return v.Word == string(part) }) {
			u.t.Errorf("want %s with %s; found %v", code, part, *message)
		}
	}
}

func (u *unit) wantsNothing() {
	u.t.Helper()
	if len(u.found) > 0 {
		u.t.Errorf("false alarm: %v", u.found)
	}
}

const oneAir = float64(units.StandardAtmosphere)

// TestTrap37StandingPressure: long stopped and equalised, the standing pressure
// is that of saturation between the coldest and the warmest place. A gauge
// reading taken for absolute lacks an atmosphere, an absolute one taken for
// gauge has one too many, psi taken for bar or another refrigerant than the
// configured one (trap 39, 40) show as well.
func TestTrap37StandingPressure(t *testing.T) {
	other, err := refrigerant.Lookup("R134a")
	if err != nil {
		t.Fatal(err)
	}
	r134a, err := other.DewPressure(20)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		show func(p float64) float64
		want evidence.Code
	}{
		{"right", func(p float64) float64 { return p }, ""},
		{"GaugeForAbsolute", func(p float64) float64 { return p - oneAir }, evidence.GaugeTakenForAbsolute},
		{"AbsoluteForGauge", func(p float64) float64 { return p + oneAir }, evidence.AbsoluteTakenForGauge},
		{"Trap40BarForPsi", func(p float64) float64 { return oneAir + (p-oneAir)*psi/1e5 }, evidence.BarTakenForPsi},
		{"Trap39AnotherRefrigerant", func(float64) float64 { return float64(r134a) }, evidence.StandingPressureOff},
	} {
		t.Run(c.name, func(t *testing.T) {
			u := newUnit(t, "R513A")
			if c.name == "Trap39AnotherRefrigerant" {
				u = newUnit(t, "R448A") // the plant was filled with R134a
			}
			u.x.Compressors[0].Phase, u.x.Ambient = frame.Off, 21
			p := c.show(u.saturated(20))
			high := p // equalised, as the transmitters show it
			u.run(0, 90, func(float64) shown { return shown{p, high, 20.5, 22, 19.5, 20} })
			if c.want == "" {
				u.wantsNothing()
				return
			}
			u.wants(evidence.NotEqualized, c.want)
		})
	}
}

// TestTrap37PumpedDown: a pumped-down unit stands far below saturation, and has
// no liquid that could show anything.
func TestTrap37PumpedDown(t *testing.T) {
	u := newUnit(t, "R513A")
	u.x.Compressors[0].Phase, u.x.Ambient = frame.Off, 21
	low, high := u.saturated(-25), u.saturated(24)
	u.run(0, 120, func(float64) shown { return shown{low, high, 20.5, 22, 3, 4} })
	u.wantsNothing()
}

// TestTrap37MeltingPlateau: while the ice of a standing single unit melts, its
// dew is at 0 °C; an atmosphere too few puts it far below, in each defrost.
func TestTrap37MeltingPlateau(t *testing.T) {
	for _, c := range []struct {
		name   string
		offset float64
		want   evidence.Code
	}{{"right", 0, ""}, {"GaugeForAbsolute", -oneAir, evidence.GaugeTakenForAbsolute}, {"AbsoluteForGauge", oneAir, evidence.AbsoluteTakenForGauge}} {
		t.Run(c.name, func(t *testing.T) {
			u := newUnit(t, "R134a")
			u.x.Compressors[0].Phase = frame.Off
			for day := range 2 {
				u.x.Circuits[0].Stage = frame.Defrosting
				u.run(float64(day)*60, 12, func(float64) shown {
					return shown{u.saturated(0) + c.offset, u.saturated(25), 12, 30, 0, 1}
				})
				u.x.Circuits[0].Stage = frame.Refrigerating
				u.run(float64(day)*60+12, 10, func(float64) shown {
					return shown{u.saturated(5) + c.offset, u.saturated(25), 12, 30, 6, 3}
				})
			}
			if c.want == "" {
				u.wantsNothing()
				return
			}
			u.wants(evidence.NotAtMeltingIce, c.want)
		})
	}
}

// TestPumpedDownCoilIsNoMistake: a pumped-down low side stands far below the
// melting ice in each defrost, and an atmosphere less would be no pressure at
// all: nothing explains it, so nothing is doubted.
func TestPumpedDownCoilIsNoMistake(t *testing.T) {
	for _, dew := range []float64{-43.3, -34} { // at −34 °C bar taken for psi would give 0 °C
		u := newUnit(t, "R448A")
		u.x.Compressors[0].Phase = frame.Off
		pumped := func(coil, air float64) func(float64) shown {
			return func(float64) shown { return shown{u.saturated(dew), u.saturated(25), 12, 30, coil, air} }
		}
		for day := range 3 {
			u.x.Circuits[0].Stage = frame.Defrosting
			u.run(float64(day)*60, 12, pumped(0, 1))
			u.x.Circuits[0].Stage = frame.Refrigerating
			u.run(float64(day)*60+12, 10, pumped(6, 3))
		}
		u.wantsNothing()
	}
}

// TestTrap37CoilsAndWork: running, an atmosphere too few makes every coil look
// starved though the air is held, and the discharge colder than any compressor
// could make it; one too many makes coils colder than wet gas. R448A at dew
// −26 °C: 19 K and 11 K (shared trade notes, §3, for −30 °C: 20.5 and 11.7 K).
func TestTrap37CoilsAndWork(t *testing.T) {
	state := func(u *unit, offset float64) func(float64) shown {
		return func(float64) shown {
			return shown{u.saturated(-26) + offset, u.saturated(35), -8, 84, -21, -14}
		}
	}
	u := newUnit(t, "R448A")
	u.run(0, 180, state(u, 0))
	u.wantsNothing()

	u = newUnit(t, "R448A")
	u.run(0, 180, state(u, -oneAir))
	u.wants(evidence.CoilsTooDry, evidence.GaugeTakenForAbsolute)
	u.wants(evidence.TooLittleWork, evidence.GaugeTakenForAbsolute)

	u = newUnit(t, "R448A")
	u.run(0, 180, state(u, oneAir))
	u.wants(evidence.CoilsTooWet, evidence.AbsoluteTakenForGauge)
}

// TestTrap37AllCoilsWetBeforeADryLine: one atmosphere too many, less than the
// coils' superheat and the glide can hide: all coils read some kelvin below dew,
// the line behind them is dry. Wet gas of all coils does not become dry on the
// way; one coil that floods before a dry line is no fault of a sensor.
func TestTrap37AllCoilsWetBeforeADryLine(t *testing.T) {
	for _, other := range []float64{-22, -18} { // the other coil's outlet, °C
		u := newUnit(t, "R448A")
		wet, dry := superheat.NewSignal(reading.CoilOutletTemperature, 0), Input{Point: 6, Signal: nil}
		dry.Signal = &wet
		u.group.Circuits = append(u.group.Circuits, Circuit{CoilOutlet: dry})
		u.checker = New(u.group)
		u.x.Circuits = newFrame(0, 2).Circuits
		u.run(0, 180, func(m float64) shown {
			outlet := other + 0.1*math.Mod(m, 3)
			wet.Take(int64(m*60)*second, &reading.Reading{Value: outlet, Quality: reading.Good})
			u.x.Circuits[1].CoilOutlet = units.Celsius(outlet)
			return shown{u.saturated(-33) + oneAir, u.saturated(35), -10, math.NaN(), -22, -16}
		})
		if other > -20 {
			u.wantsNothing()
			continue
		}
		u.wants(evidence.CoilsTooWet, evidence.AbsoluteTakenForGauge)
	}
}

// TestTrap37DeeperThanPlantsRun: R507A at −30 °C is 2.1 bar absolute; read
// without its atmosphere, the dew would be at −45 °C, at −36 °C below −60 °C. R23
// runs as deep, but not in vacuum (reference tables).
func TestTrap37DeeperThanPlantsRun(t *testing.T) {
	deep := func(name string, dew, offset float64) *unit {
		u := newUnit(t, name)
		u.run(0, 60, func(float64) shown {
			return shown{u.saturated(dew) + offset, math.NaN(), dew + 15, math.NaN(), math.NaN(), math.NaN()}
		})
		return u
	}
	deep("R507A", -36, -oneAir).wants(evidence.SuctionTooDeep, evidence.GaugeTakenForAbsolute)
	deep("R507A", -36, 0).wantsNothing()
	deep("R23", -60, 0).wantsNothing()
}

// TestTrap37StepOfOneAtmosphere: a transmitter or gateway set anew from gauge to
// absolute; no pipe follows.
func TestTrap37StepOfOneAtmosphere(t *testing.T) {
	u := newUnit(t, "R448A")
	u.run(0, 120, func(m float64) shown {
		s := shown{u.saturated(-10), u.saturated(35), 2, 75, -5, 2}
		if m > 60 {
			s.low += oneAir
		}
		return s
	})
	u.wants(evidence.PressureStepped, evidence.GaugeAndAbsoluteSwap)
}

// TestTrap40Units: a pipe in a room of 21 °C that reads 70 is in °F; a running
// pipe far below dew was read as °F though it is in °C.
func TestTrap40Units(t *testing.T) {
	u := newUnit(t, "R513A")
	u.x.Compressors[0].Phase, u.x.Ambient = frame.Off, 21
	u.run(0, 90, func(float64) shown { return shown{u.saturated(20), u.saturated(20), 69.8, 22, 19.5, 20} })
	u.wants(evidence.NotAtAmbient, evidence.FahrenheitTakenForCelsius)

	u = newUnit(t, "R513A")
	u.run(0, 30, func(float64) shown {
		return shown{u.saturated(-10), u.saturated(35), (1.0 - 32) / 1.8, math.NaN(), -5, 2}
	})
	u.wants(evidence.BelowSaturation, evidence.CelsiusTakenForFahrenheit)
}

// TestTrap36ClampThatLosesContact: the pipe's temperature steps up by 8 K, and
// the superheat with it; its anomaly is that it reads high.
func TestTrap36ClampThatLosesContact(t *testing.T) {
	u := newUnit(t, "R448A")
	u.run(0, 80, func(m float64) shown {
		s := shown{u.saturated(-10), u.saturated(35), 2, 75, -5, 2}
		if m > 60 {
			s.pipe += 8
		}
		return s
	})
	u.wants(evidence.Moved)
	for _, s := range u.checker.standing {
		if s.Bias != superheat.ReadsHigh || s.Point != pipePoint {
			t.Errorf("%+v", s)
		}
	}
}

// TestTrap42TheDischargeDecides: the pipe falls to dew between two samples. With
// the discharge where it was, it is the sensor; when the discharge falls with
// it, it was wet gas, and the doubt that might have hidden it is gone.
func TestTrap42TheDischargeDecides(t *testing.T) {
	for _, wet := range []bool{false, true} {
		u := newUnit(t, "R513A")
		standing := 0
		u.run(0, 90, func(m float64) shown {
			s := shown{u.saturated(-10), u.saturated(35), 12, 75, -5, 2}
			if m > 60 {
				s.pipe = -9.5
				if wet {
					s.hot -= 30 * (1 - math.Exp(-(m-60)/3))
				}
			}
			standing = len(u.checker.standing)
			return s
		})
		if (standing == 0) != wet {
			t.Errorf("wet %v: %d anomalies stand 30 min later: %v", wet, standing, u.found)
		}
	}
}

// TestTwinsOnOneHeader: two transmitters of one header that differ by 0.5 bar
// are both doubted, each the other way.
func TestTwinsOnOneHeader(t *testing.T) {
	fluid, err := refrigerant.Lookup("R134a")
	if err != nil {
		t.Fatal(err)
	}
	for _, off := range []float64{0, 10_000, 50_000} {
		var p, pipes [2]superheat.Signal
		g := Group{Fluid: fluid, Atmosphere: units.StandardAtmosphere}
		for i := range p {
			p[i], pipes[i] = superheat.NewSignal(reading.SuctionPressure, 0), superheat.NewSignal(reading.SuctionTemperature, 0)
			g.Compressors = append(g.Compressors, Compressor{Pressure: Input{Point: i, Signal: &p[i]}, Temperature: Input{Point: 2 + i, Signal: &pipes[i]}})
		}
		c := New(g)
		x := newFrame(2, 0)
		var standing []Anomaly
		for sec := range int64(1800) {
			x.Step, x.At = sec*second-x.At, sec*second
			for i := range p {
				shown := 200_000 + off*float64(i) + 100*float64(sec%5)
				p[i].Take(x.At, &reading.Reading{Value: shown, Quality: reading.Good})
				x.Compressors[i].Inlet = superheat.Value{Pressure: units.Pascal(shown), Temperature: 2, DelayedDew: -10, Dew: -10, Superheat: 12, Uncertainty: 2, Quality: reading.Good}
			}
			standing = c.Observe(x)
		}
		switch {
		case off < 25_000 && len(standing) != 0:
			t.Errorf("%g Pa apart: %+v", off, standing)
		case off > 25_000 && (len(standing) != 2 || standing[0].Bias != superheat.ReadsLow || standing[1].Bias != superheat.ReadsHigh):
			t.Errorf("%g Pa apart: %+v", off, standing)
		}
	}
}

// TestTrap34NoiseIsDoubtedOnlyWhenItIsWild: jitter of 0.1 bar is a compressor's
// (shared trade notes: 0.05 to 0.2 bar), 0.6 bar is a loose contact; at the
// discharge that is pulsation, 1.8 bar is not.
func TestTrap34NoiseIsDoubtedOnlyWhenItIsWild(t *testing.T) {
	for _, c := range []struct {
		bar, discharge float64
		want           bool
	}{{0.1, 0, false}, {0.6, 0, true}, {0, 0.6, false}, {0, 1.8, true}} {
		u := newUnit(t, "R134a")
		i := 0.0
		u.run(0, 40, func(float64) shown {
			i++
			s := shown{u.saturated(0), u.saturated(35), 12, 70, 5, 8}
			noise := 1e5 * math.Sqrt2 * math.Sin(i*i) // like noise: √2·sin has deviation 1
			s.low, s.high = s.low+c.bar*noise, s.high+c.discharge*noise
			return s
		})
		if _, found := u.found[evidence.NoisyPressure]; found != c.want {
			t.Errorf("%g bar, %g bar at the discharge: %v", c.bar, c.discharge, u.found)
		}
	}
}

// TestColdOilTakesUpWhatWouldBoil: a unit whose oil is nearly as cold as its
// coldest place stands below the saturation there, for its liquid is dissolved;
// one with warm oil that stands as low reads a gauge pressure for an absolute
// one. That oil lowers the pressure is from memory, how cold it must be common
// practice, no source.
func TestColdOilTakesUpWhatWouldBoil(t *testing.T) {
	for _, tt := range []struct {
		name string
		sump float64
		want evidence.Code
	}{
		{"cold oil", 8, ""},
		{"warm oil", 35, evidence.GaugeTakenForAbsolute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			u := newUnit(t, "R404A")
			sump := superheat.NewSignal(reading.SumpTemperature, 0)
			u.group.Compressors[0].Sump = Input{Point: suctionPoint, Signal: &sump}
			u.checker = New(u.group)
			u.x.Compressors[0].Phase, u.x.Ambient = frame.Off, 3
			p := u.saturated(2) - oneAir
			u.run(0, 90, func(minute float64) shown {
				sump.Take(int64(minute*60)*second, &reading.Reading{Value: tt.sump, Quality: reading.Good})
				u.x.Compressors[0].Sump = units.Celsius(tt.sump)
				return shown{p, p, 3, 4, 2, 2.5}
			})
			if tt.want == "" {
				u.wantsNothing()
				return
			}
			u.wants(evidence.NotEqualized, tt.want)
		})
	}
}
