package sensorcheck

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

const second = int64(1e9)

// rack is an invented rack of three compressors; values are inventions, limits
// common practice, no source.
type rack struct {
	checker *Checker
	x       *frame.Frame
	pipes   [3]superheat.Signal
	suction superheat.Signal
	high    superheat.Signal
	rng     *rand.Rand
}

func newRack() *rack {
	r := &rack{rng: rand.New(rand.NewPCG(7, 7))}
	r.suction = superheat.NewSignal(reading.SuctionPressure, 0)
	r.high = superheat.NewSignal(reading.DischargePressure, 0)
	fluid, err := refrigerant.Lookup("R134a")
	if err != nil {
		panic(err)
	}
	g := Group{Fluid: fluid, Atmosphere: units.StandardAtmosphere, DischargePressure: Input{Point: 1, Signal: &r.high}}
	for i := range r.pipes {
		r.pipes[i] = superheat.NewSignal(reading.SuctionTemperature, 0)
		g.Compressors = append(g.Compressors, Compressor{Pressure: Input{Point: 0, Signal: &r.suction}, Temperature: Input{Point: 2 + i, Signal: &r.pipes[i]}})
	}
	r.checker = New(g)
	r.x = newFrame(3, 0)
	return r
}

// newFrame returns the frame of signalled compressors that run steadily and of
// circuits that refrigerate, with nothing else known.
func newFrame(compressors, circuits int) *frame.Frame {
	nan := math.NaN()
	x := &frame.Frame{Ambient: units.Celsius(nan), DischargePressure: units.Pascal(nan)}
	for range compressors {
		x.Compressors = append(x.Compressors, frame.Compressor{Signal: frame.Yes, Phase: frame.Steady, Discharge: units.Celsius(nan), Sump: units.Celsius(nan)})
	}
	for range circuits {
		x.Circuits = append(x.Circuits, frame.Circuit{Stage: frame.Refrigerating, CoilOutlet: units.Celsius(nan), Air: units.Celsius(nan)})
	}
	return x
}

// feed gives one sample of dew and pipe temperatures, noise and a 0.1 K display
// included, and returns the standing anomalies.
func (r *rack) feed(at int64, dew float64, pipes [3]float64, high float64) []Anomaly {
	good := func(x float64) *reading.Reading { return &reading.Reading{Value: x, Quality: reading.Good} }
	saturated, err := r.checker.group.Fluid.DewPressure(units.Celsius(dew))
	if err != nil {
		panic(err)
	}
	low := float64(saturated)
	r.suction.Take(at, good(math.Round(low/1000)*1000))
	r.high.Take(at, good(high+float64(at/second%7)*1000))
	r.x.Step, r.x.At = at-r.x.At, at
	r.x.DischargePressure = units.Pascal(high)
	for i, t := range pipes {
		r.pipes[i].Take(at, good(t))
		v, _, _ := r.pipes[i].Now(at)
		r.x.Compressors[i].Inlet = superheat.Value{Superheat: units.Kelvin(v - dew), DelayedDew: units.Celsius(dew), Dew: units.Celsius(dew),
			Pressure: units.Pascal(low), Temperature: units.Celsius(v), Uncertainty: 2.1, Quality: reading.Good}
	}
	return r.checker.Observe(r.x)
}

func (r *rack) pipe(dew, superheat float64) float64 {
	return math.Round((dew+superheat+0.15*r.rng.NormFloat64())*10) / 10
}

// run feeds hours of staging swings, changed by alter, and returns the codes seen by point.
func (r *rack) run(hours float64, alter func(sec float64, dew *float64, pipes *[3]float64, high *float64)) map[string]int64 {
	seen := map[string]int64{}
	for at := int64(0); at < int64(hours*3600)*second; at += 5 * second {
		sec := float64(at / second)
		dew := -10 + 2.5*math.Sin(sec/140) + 0.5*math.Sin(sec/37)
		var pipes [3]float64
		for i := range pipes {
			pipes[i] = r.pipe(dew, 11+float64(i)+1.5*math.Sin(sec/600))
		}
		high := 12e5
		alter(sec, &dew, &pipes, &high)
		for _, s := range r.feed(at, dew, pipes, high) {
			key := string(s.Code) + "@" + string(rune('0'+s.Point))
			if seen[key] == 0 {
				seen[key] = int64(sec)
			}
			if err := evidence.Check(*s.Message); err != nil {
				panic(err)
			}
		}
	}
	return seen
}

func TestHealthyRackIsLeftAlone(t *testing.T) {
	seen := newRack().run(72, func(sec float64, dew *float64, pipes *[3]float64, high *float64) {
		if math.Mod(sec, 7200) < 300 { // a wet dip of all, landing on dew at once
			for i := range pipes {
				pipes[i] = math.Round(*dew*10) / 10
			}
		}
	})
	if len(seen) != 0 {
		t.Errorf("false alarms in 9 compressor-days: %v", seen)
	}
}

func TestFaultsAreFound(t *testing.T) {
	const from = 4 * 3600.0
	stuck := math.NaN()
	for _, c := range []struct {
		name  string
		want  string
		after float64 // s, at the latest
		alter func(sec float64, dew *float64, pipes *[3]float64, high *float64)
	}{
		{"Trap15Frozen", "frozen@3", 900, func(sec float64, _ *float64, p *[3]float64, _ *float64) {
			if math.IsNaN(stuck) {
				stuck = p[1]
			}
			p[1] = stuck
		}},
		{"Trap36ClampComesLoose", "moved@2", 600, func(_ float64, _ *float64, p *[3]float64, _ *float64) { p[0] += 8 }},
		{"Trap36ClampDrifts", "drifted@4", 4 * 3600, func(sec float64, _ *float64, p *[3]float64, _ *float64) {
			p[2] += min((sec-from)/3600*4, 8)
		}},
		{"Trap42ColderThanWet", "below_saturation@2", 600, func(_ float64, _ *float64, p *[3]float64, _ *float64) { p[0] -= 17 }},
		{"Trap37AbsoluteForGauge", "all_below_saturation@0", 600, func(_ float64, dew *float64, _ *[3]float64, _ *float64) {
			*dew += 18 // an atmosphere counted twice at low temperature (trade notes, §3: 6.9 to 11.7 K)
		}},
		{"Trap40FahrenheitDivided", "below_saturation@3", 600, func(_ float64, _ *float64, p *[3]float64, _ *float64) {
			p[1] = (p[1] - 32) / 1.8 // °C taken for °F
		}},
		{"DischargeInWrongUnit", "discharge_below_suction@1", 600, func(_ float64, _ *float64, _ *[3]float64, high *float64) { *high /= 14.5 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			seen := newRack().run(9, func(sec float64, dew *float64, p *[3]float64, high *float64) {
				if sec >= from {
					c.alter(sec, dew, p, high)
				}
			})
			at, ok := seen[c.want]
			if !ok || float64(at) < from || float64(at) > from+c.after {
				t.Errorf("want %s within %g s of %g; got %v", c.want, c.after, from, seen)
			}
		})
	}
}

func TestDoubtReachesTheSignalAndLeavesIt(t *testing.T) {
	r := newRack()
	r.run(2, func(sec float64, _ *float64, p *[3]float64, _ *float64) {
		if sec > 3600 && sec < 5400 {
			p[0] -= 17
		}
		if _, q, why := r.pipes[0].Now(int64(sec) * second); sec > 4200 && sec < 5300 && (q != reading.Suspect || why.Code != evidence.Moved && why.Code != evidence.BelowSaturation) {
			t.Fatalf("at %g s: %v %v", sec, q, why)
		}
	})
	if _, q, _ := r.pipes[0].Now(7195 * second); q != reading.Good {
		t.Errorf("after it was mended: %v", q)
	}
}

// TestTrap42WetBlendIsNotTheSensor: a wet high-glide blend may read down to its
// glide below dew for minutes.
func TestTrap42WetBlendIsNotTheSensor(t *testing.T) {
	r := newRack()
	r.checker.glide = 6.2 // R448A at −10 °C (trade notes, §2)
	seen := r.run(2, func(sec float64, dew *float64, p *[3]float64, _ *float64) {
		if in := math.Mod(sec, 3600); in < 600 {
			p[0] = math.Round((*dew-4+15*math.Exp(-in/10))*10) / 10
		}
	})
	if len(seen) != 0 {
		t.Errorf("%v", seen)
	}
}

func TestTrap37StoppedPipeIsAtAmbient(t *testing.T) {
	r := newRack()
	r.x.Ambient = 21
	for i := range r.x.Compressors {
		r.x.Compressors[i].Phase = frame.Off
	}
	seen := r.run(2, func(sec float64, dew *float64, p *[3]float64, _ *float64) {
		p[0], p[1], p[2] = 21.4, 70-0.1*math.Mod(sec, 3), 20.1 // one reads °F as °C
	})
	if len(seen) != 1 || seen["not_at_ambient@3"] == 0 {
		t.Errorf("%v", seen)
	}
}

func TestTrap36ClampReadsTheRoom(t *testing.T) {
	r := newRack()
	r.x.Ambient = 22
	seen := r.run(2, func(sec float64, dew *float64, p *[3]float64, _ *float64) {
		p[2] = math.Round((22+0.3*math.Sin(sec/200))*10) / 10
	})
	if seen["loose_clamp@4"] == 0 {
		t.Errorf("%v", seen)
	}
}

func BenchmarkObserve(b *testing.B) {
	r := newRack()
	b.ReportAllocs()
	at := int64(0)
	for b.Loop() {
		at += 5 * second
		r.x.At = at
		r.checker.Observe(r.x)
	}
}

// TestABusyRackComparesItsTwins: a defrost begins or ends every three minutes,
// so that the group is never calm, and one probe comes to read 7 K lower, still
// dry. Only that one is blamed, and none where nothing is wrong.
func TestABusyRackComparesItsTwins(t *testing.T) {
	for _, tt := range []struct {
		name string
		off  float64 // K
		want []string
		wet  []string // in the last hour, when all are flooded
	}{
		{"nothing is wrong", 0, nil, nil},
		{"one comes to read low", -7, []string{"drifted@3"}, []string{"below_saturation@3"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := newRack()
			r.checker.group.Circuits = make([]Circuit, 1)
			r.checker.defrosting = make([]bool, 1)
			r.checker.coils = coilMeans{}
			r.checker.coils.reset(1)
			r.x.Circuits = newFrame(0, 1).Circuits
			alter := func(sec float64, dew *float64, p *[3]float64, _ *float64) {
				r.x.Circuits[0].Stage = frame.Refrigerating
				if math.Mod(sec, 360) < 180 {
					r.x.Circuits[0].Stage = frame.Defrosting
				}
				for i := range p {
					p[i] = r.pipe(*dew, 14)
				}
				if sec > 3*3600 {
					p[1] += tt.off * min((sec-3*3600)/1800, 1)
				}
			}
			seen := r.run(9, alter)
			if got := slices.Collect(maps.Keys(seen)); !slices.Equal(got, tt.want) {
				t.Errorf("anomalies %v, want %v", seen, tt.want)
			}
			var flooded []string
			for at := 9 * 3600 * second; at < 10*3600*second; at += 5 * second {
				pipes := [3]float64{-10, -10 + tt.off, -10}
				flooded = flooded[:0]
				for _, s := range r.feed(at, -10, pipes, 12e5) {
					flooded = append(flooded, string(s.Code)+"@"+string(rune('0'+s.Point)))
				}
			}
			if !slices.Equal(flooded, tt.wet) && len(flooded)+len(tt.wet) > 0 {
				t.Errorf("all flooded: anomalies %v, want %v", flooded, tt.wet)
			}
		})
	}
}
