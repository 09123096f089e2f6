package sensorcheck

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"dewgap/analyze/phase"
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
	now     Now
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
	g := Group{Line: fluid, Atmosphere: units.StandardAtmosphere, DischargePressure: Input{1, &r.high}}
	for i := range r.pipes {
		r.pipes[i] = superheat.NewSignal(reading.SuctionTemperature, 0)
		g.Compressors = append(g.Compressors, Compressor{Pressure: Input{0, &r.suction}, Temperature: Input{2 + i, &r.pipes[i]}})
	}
	r.checker = New(g)
	r.now = Now{Ambient: math.NaN(), Phases: []phase.Phase{phase.Steady, phase.Steady, phase.Steady}, Superheat: make([]superheat.Value, 3), Told: []bool{true, true, true}}
	return r
}

// feed gives one sample of dew and pipe temperatures, noise and a 0.1 K display
// included, and returns the standing suspicions.
func (r *rack) feed(at int64, dew float64, pipes [3]float64, high float64) []Suspicion {
	good := func(x float64) *reading.Reading { return &reading.Reading{Value: x, Quality: reading.Good} }
	low := 3.5e5 * math.Exp((dew+10)/25)
	r.suction.Take(at, good(math.Round(low/1000)*1000))
	r.high.Take(at, good(high+float64(at/second%7)*1000))
	r.now.At = at
	for i, t := range pipes {
		r.pipes[i].Take(at, good(t))
		v, _, _ := r.pipes[i].Now(at)
		r.now.Superheat[i] = superheat.Value{Superheat: units.Kelvin(v - dew), DelayedDew: units.Celsius(dew), Dew: units.Celsius(dew),
			Pressure: units.Pascal(low), Temperature: units.Celsius(v), Uncertainty: 2.1, Quality: reading.Good}
	}
	return r.checker.Observe(&r.now)
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
			key := s.Code.String() + "@" + string(rune('0'+s.Point))
			if seen[key] == 0 {
				seen[key] = int64(sec)
			}
			if !strings.Contains(s.Says.Text, "this looks like") || !strings.Contains(s.Says.Text, "check") && !strings.Contains(s.Says.Text, "compare") {
				panic("no advice: " + s.Says.Text)
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
		{"Trap42ColderThanWet", "below-saturation@2", 600, func(_ float64, _ *float64, p *[3]float64, _ *float64) { p[0] -= 17 }},
		{"Trap37AbsoluteForGauge", "below-saturation@0", 600, func(_ float64, dew *float64, _ *[3]float64, _ *float64) {
			*dew += 18 // an atmosphere counted twice at low temperature (trade notes, §3: 6.9 to 11.7 K)
		}},
		{"Trap40FahrenheitDivided", "below-saturation@3", 600, func(_ float64, _ *float64, p *[3]float64, _ *float64) {
			p[1] = (p[1] - 32) / 1.8 // °C taken for °F
		}},
		{"DischargeInWrongUnit", "discharge-below-suction@1", 600, func(_ float64, _ *float64, _ *[3]float64, high *float64) { *high /= 14.5 }},
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
		if _, q, why := r.pipes[0].Now(int64(sec) * second); sec > 4200 && sec < 5300 && (q != reading.Suspect || !strings.Contains(why.Text, "this looks like")) {
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
	r.now.Ambient = 21
	r.now.Phases = []phase.Phase{phase.Off, phase.Off, phase.Off}
	seen := r.run(2, func(sec float64, dew *float64, p *[3]float64, _ *float64) {
		p[0], p[1], p[2] = 21.4, 70-0.1*math.Mod(sec, 3), 20.1 // one reads °F as °C
	})
	if len(seen) != 1 || seen["not-at-ambient@3"] == 0 {
		t.Errorf("%v", seen)
	}
}

func TestTrap36ClampReadsTheRoom(t *testing.T) {
	r := newRack()
	r.now.Ambient = 22
	seen := r.run(2, func(sec float64, dew *float64, p *[3]float64, _ *float64) {
		p[2] = math.Round((22+0.3*math.Sin(sec/200))*10) / 10
	})
	if seen["loose-clamp@4"] == 0 {
		t.Errorf("%v", seen)
	}
}

func BenchmarkObserve(b *testing.B) {
	r := newRack()
	b.ReportAllocs()
	at := int64(0)
	for b.Loop() {
		at += 5 * second
		r.now.At = at
		r.checker.Observe(&r.now)
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
		{"one comes to read low", -7, []string{"drifted@3"}, []string{"below-saturation@3"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := newRack()
			r.checker.group.Circuits = make([]Circuit, 1)
			r.checker.frosting = make([]bool, 1)
			alter := func(sec float64, dew *float64, p *[3]float64, _ *float64) {
				r.now.Defrosting = []bool{math.Mod(sec, 360) < 180}
				for i := range p {
					p[i] = r.pipe(*dew, 14)
				}
				if sec > 3*3600 {
					p[1] += tt.off * min((sec-3*3600)/1800, 1)
				}
			}
			seen := r.run(9, alter)
			if got := slices.Collect(maps.Keys(seen)); !slices.Equal(got, tt.want) {
				t.Errorf("suspicions %v, want %v", seen, tt.want)
			}
			var flooded []string
			for at := 9 * 3600 * second; at < 10*3600*second; at += 5 * second {
				pipes := [3]float64{-10, -10 + tt.off, -10}
				flooded = flooded[:0]
				for _, s := range r.feed(at, -10, pipes, 12e5) {
					flooded = append(flooded, s.Code.String()+"@"+string(rune('0'+s.Point)))
				}
			}
			if !slices.Equal(flooded, tt.wet) && len(flooded)+len(tt.wet) > 0 {
				t.Errorf("all flooded: suspicions %v, want %v", flooded, tt.wet)
			}
		})
	}
}
