package floodback

import (
	"fmt"
	"math"
	"testing"
	"time"

	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// meterRig steps a liquidMeter of R134a between dew −10 °C and condensing
// 40 °C, whose discharge temperatures are published: see PublishedBalances.
type meterRig struct {
	liquidMeter
	x    frame.Frame
	c    *frame.Compressor
	gas  float64 // K
	edge float64 // K
}

var rigCase = PublishedBalances[0]

func newRig(t *testing.T) *meterRig {
	t.Helper()
	fluid, err := refrigerant.Lookup(rigCase.Fluid)
	if err != nil {
		t.Fatal(err)
	}
	r := &meterRig{liquidMeter: newLiquidMeter(fluid), gas: 11, edge: 1.2}
	ps, _ := fluid.DewPressure(units.Celsius(rigCase.Dew))
	pd, _ := fluid.DewPressure(units.Celsius(rigCase.Condensing))
	r.x = frame.Frame{At: int64(time.Hour), CondensingDew: units.Celsius(rigCase.Condensing), DischargePressure: pd,
		Compressors: []frame.Compressor{{Phase: frame.Steady, Running: frame.Yes, RunningFor: int64(time.Hour),
			Inlet:     superheat.Value{Pressure: ps, Dew: units.Celsius(rigCase.Dew), Quality: reading.Good},
			Discharge: units.Celsius(rigCase.At11)}}}
	r.c = &r.x.Compressors[0]
	return r
}

// run steps each second for d, the discharge moving by slope K/s.
func (r *meterRig) run(d time.Duration, slope float64) {
	for range int(d / time.Second) {
		r.x.At += 1e9
		r.x.Step = 1e9
		r.c.RunningFor += 1e9
		r.c.Discharge += units.Celsius(slope)
		r.step(&r.x, r.c, r.gas, r.edge)
	}
}

// wet makes the gas wet and the discharge that of a share of liquid, settled.
func (r *meterRig) wet(share float64) {
	r.gas = 0
	r.run(20*time.Second, 0) // a discharge does not fall at once
	r.c.Discharge = units.Celsius(rigCase.At0 - 100*share*rigCase.Loses)
	r.run(5*time.Minute, 0)
}

// A machine is known after a quarter of an hour of dry running, from two
// minutes and a half after its start; metal that warms counts less.
func TestWhenAMachineIsKnown(t *testing.T) {
	for _, tc := range []struct {
		name    string
		gas     float64
		running time.Duration // at the beginning
		slope   float64       // K/s
		lasts   time.Duration
		want    bool
	}{
		{"running, 14.5 min", 11, time.Hour, 0, 870 * time.Second, false},
		{"running, 15.5 min", 11, time.Hour, 0, 930 * time.Second, true},
		{"from the start, 17 min", 11, 0, 0, 1025 * time.Second, false},
		{"from the start, 18 min", 11, 0, 0, 1075 * time.Second, true},
		{"near the wet edge", 5.6, time.Hour, 0, time.Hour, false},
		{"over the wet edge by more than droplets are", 5.8, time.Hour, 0, time.Hour, true},
		{"warms by 0.04 K/s, 28 min", 11, time.Hour, 0.04, 1700 * time.Second, false},
		{"warms by 0.04 K/s, 33 min", 11, time.Hour, 0.04, 1960 * time.Second, true},
	} {
		r := newRig(t)
		r.gas, r.c.RunningFor = tc.gas, int64(tc.running)
		if tc.slope != 0 {
			r.c.Discharge = 55
		}
		r.run(tc.lasts, tc.slope)
		if r.machine.known() != tc.want {
			t.Errorf("%s: known %v after %.0f s of learning, want %v", tc.name, r.machine.known(), r.machine.seconds, tc.want)
		}
	}
	// A hole in the data is no dry running.
	r := newRig(t)
	r.run(2*time.Second, 0)
	r.x.At += int64(10 * time.Minute)
	r.run(2*time.Second, 0)
	if r.machine.seconds > 61 {
		t.Errorf("%.0f s learned from a hole", r.machine.seconds)
	}
}

// Nothing is estimated in the first two minutes of running, nor where the
// pressures are too near each other for a machine that compresses.
func TestWhenThereIsAnEstimate(t *testing.T) {
	for _, tc := range []struct {
		name    string
		running time.Duration
		ratio   float64
		phase   frame.Phase
		want    bool
	}{
		{"105 s", 95 * time.Second, 0, frame.Steady, false},
		{"135 s", 125 * time.Second, 0, frame.Steady, true},
		{"start phase", time.Hour, 0, frame.Start, false},
		{"ratio 1.17", time.Hour, 1.17, frame.Steady, false},
		{"ratio 1.23", time.Hour, 1.23, frame.Steady, true},
	} {
		r := newRig(t)
		r.c.RunningFor, r.c.Phase = int64(tc.running), tc.phase
		if tc.ratio != 0 {
			r.x.DischargePressure = units.Pascal(tc.ratio * float64(r.c.Inlet.Pressure))
			r.x.CondensingDew = -5
		}
		r.run(10*time.Second, 0)
		if got := !math.IsNaN(r.liquid); got != tc.want {
			t.Errorf("%s: estimate %v (%.3f), want %v", tc.name, got, r.liquid, tc.want)
		}
	}
}

// TestUncertaintyOfLiquid: what is not known of the machine and of the discharge
// in K, over the published loss for each unit of liquid.
func TestUncertaintyOfLiquid(t *testing.T) {
	per := 100 * rigCase.Loses // K for each unit
	learned := func(t *testing.T) *meterRig {
		r := newRig(t)
		r.run(20*time.Minute, 0)
		return r
	}
	for _, tc := range []struct {
		name string
		rig  func(t *testing.T) *meterRig
		want float64 // K
	}{
		{"not known: 12 % of the rise in the machine", func(t *testing.T) *meterRig {
			r := newRig(t)
			r.wet(0.03)
			return r
		}, 0.12 * (rigCase.At0 - rigCase.Dew)},
		{"known, no scatter: half a kelvin", func(t *testing.T) *meterRig {
			r := learned(t)
			r.wet(0.03)
			return r
		}, 0.5},
		{"known, scatters by 2 K on average: 2.5 times that", func(t *testing.T) *meterRig {
			r := learned(t)
			r.machine.scatter.Set(2)
			r.wet(0.03)
			return r
		}, 5},
		{"no discharge pressure: 4 K more", func(t *testing.T) *meterRig {
			r := newRig(t)
			r.x.DischargePressure, r.x.CondensingDew = units.Pascal(math.NaN()), units.Celsius(math.NaN())
			r.run(20*time.Minute, 0)
			r.wet(0.03)
			return r
		}, 4.5},
		{"discharge falls by 0.03 K/s: a quarter of what 100 s of lag make of it", func(t *testing.T) *meterRig {
			r := learned(t)
			r.wet(0.03)
			r.run(3*time.Minute, -0.03)
			return r
		}, 0.5 + 0.25*0.03*100},
	} {
		r := tc.rig(t)
		if got := r.uncertainty * per; math.Abs(got-tc.want) > 0.1*tc.want {
			t.Errorf("%s: ± %.2f K, want ± %.2f K", tc.name, got, tc.want)
		}
		if l, m := r.atLeast(), r.atMost(); math.Abs(m-l-r.uncertainty) > 1e-9 || math.Abs((m+l)/2-r.liquid) > 1e-9 {
			t.Errorf("%s: %.4f to %.4f of %.4f ± %.4f", tc.name, l, m, r.liquid, r.uncertainty)
		}
	}
}

// A discharge within a kelvin of the condensing dew is wet itself: the estimate
// is what brings it there, at least.
func TestDischargeAtCondensing(t *testing.T) {
	for _, tc := range []struct {
		over float64
		want bool
	}{{0.8, true}, {1.2, false}} {
		r := newRig(t)
		r.run(20*time.Minute, 0)
		r.gas = 0
		r.c.Discharge = units.Celsius(rigCase.Condensing + tc.over)
		r.run(10*time.Minute, 0)
		if r.full != tc.want {
			t.Errorf("%.1f K over the condensing dew: full %v, want %v", tc.over, r.full, tc.want)
		}
		if want := rigCase.At0 - rigCase.Condensing; tc.want && math.Abs(r.fell-want) > 1 {
			t.Errorf("fell by %.1f K, want %.1f K", r.fell, want)
		}
	}
}

// Estimates come each minute while all is quiet, and each 5 s near the wet edge,
// while the discharge moves and in the first twenty minutes of a run.
func TestHowOftenIsEstimated(t *testing.T) {
	for _, tc := range []struct {
		name    string
		gas     float64
		slope   float64
		running time.Duration
		want    int // in five minutes
	}{
		{"quiet", 11, 0, time.Hour, 5},
		{"within 8 K of the wet edge", 9, 0, time.Hour, 60},
		{"beyond 8 K", 9.4, 0, time.Hour, 5},
		{"discharge moves by 0.05 K/s", 11, 0.05, time.Hour, 60},
		{"discharge moves by 0.035 K/s", 11, 0.035, time.Hour, 5},
		{"running for 14 to 19 min", 11, 0, 14 * time.Minute, 60},
		{"running for 20 to 25 min", 11, 0, 20 * time.Minute, 5},
	} {
		r := newRig(t)
		r.gas, r.c.RunningFor = tc.gas, int64(tc.running)-int64(2*time.Minute)
		r.run(2*time.Minute, tc.slope)
		n, last := 0, r.last
		for range 300 {
			r.run(time.Second, tc.slope)
			if r.last != last {
				n, last = n+1, r.last
			}
		}
		if d := n - tc.want; d < -1 || d > 1 {
			t.Errorf("%s: %d estimates in five minutes, want %d", tc.name, n, tc.want)
		}
	}
}

// The share in a burst is that behind a second lag of 25 s undone.
func TestBurst(t *testing.T) {
	var l liquidMeter
	l.share.Tau = burstTau
	for s := range 300 {
		l.liquid = 0.0004 * float64(s)
		l.share.Update(l.liquid, 1e9)
	}
	// Behind a ramp both low-passes lag by their 10 s: the near one by 10 s, and
	// what is added is slope × 25 s.
	if got, want := l.burst(), 0.0004*(299-10+25); math.Abs(got-want) > 0.0003 {
		t.Errorf("burst of %.4f, want %.4f", got, want)
	}
	l.uncertainty = 0.02
	if got, want := l.burst(), 0.0004*(299-10+25)-0.01; math.Abs(got-want) > 0.0003 {
		t.Errorf("burst of %.4f with half of the uncertainty taken off, want %.4f", got, want)
	}
}

// The superheat is delayed by the 20 s that the discharge is behind with its
// first lag removed.
func TestSuperheatIsDelayed(t *testing.T) {
	r := newRig(t)
	r.run(time.Minute, 0)
	r.gas = 1
	r.run(20*time.Second, 0)
	if got, want := r.delayed.Value(), 1+10*math.Exp(-1); math.Abs(got-want) > 0.3 {
		t.Errorf("%.2f K 20 s after a step from 11 to 1 K, want %.2f K", got, want)
	}
}

// What cannot be the efficiency of a machine is not learned, and the newest hour
// counts.
func TestLearnedEfficiency(t *testing.T) {
	for eta, want := range map[float64]bool{0.29: false, 0.31: true, 1.19: true, 1.21: false} {
		var m machine
		m.learn(4, eta, 100)
		if got := m.seconds > 0; got != want {
			t.Errorf("efficiency %.2f learned %v, want %v", eta, got, want)
		}
	}
	var m machine
	for range 7200 {
		m.learn(4, 0.7, 1)
	}
	for range 3600 {
		m.learn(4, 0.6, 1)
	}
	if got, _ := m.efficiency(4); math.Abs(got-(0.6+0.1*math.Exp(-1))) > 0.003 {
		t.Errorf("efficiency %.4f after an hour at 0.6, want the old 0.7 to count by 1/e", got)
	}
	// Uncertainty away from what was seen: 12 % for an e-fold of the ratio.
	var far machine
	far.learn(2, 0.7, 2000)
	_, near := far.efficiency(2 * math.E)
	_, further := far.efficiency(2 * math.E * math.E)
	if math.Abs(further-near-0.12) > 0.001 || math.Abs(near-0.12) > 0.02 {
		t.Errorf("uncertainty %.3f and %.3f one and two e-folds away, want 0.12 and 0.24", near, further)
	}
	if eta, share := new(machine).efficiency(4); eta != 0.66 || share != 0.12 {
		t.Errorf("a machine that is not known has %.2f ± %.2f, want 0.66 ± 0.12", eta, share)
	}
	// Near what was learned, that counts for nearly all.
	var two machine
	middle := func(bin float64) float64 { return math.Exp(0.4 + 0.14*(bin+0.5)) } // ratio
	two.learn(middle(4), 0.6, 1000)
	two.learn(middle(10), 0.8, 1000)
	for bin, want := range map[float64]float64{4: 0.6, 10: 0.8, 7: 0.7, 5: 0.6, 9: 0.8} {
		ratio := middle(bin)
		if got, _ := two.efficiency(ratio); math.Abs(got-want) > 0.003 {
			t.Errorf("efficiency %.3f at a ratio of %.1f, want %.2f", got, ratio, want)
		}
	}
}

// The implied discharge pressure is the one that a usual machine's discharge
// temperature comes from.
func TestImpliedPressure(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	ps, _ := fluid.DewPressure(-10)
	for _, ratio := range []float64{1.6, 3, 5} {
		pd := units.Pascal(ratio * float64(ps))
		k, ok := compress(fluid, ps, 1, pd)
		if !ok {
			t.Fatalf("ratio %.1f: beyond the tables", ratio)
		}
		td, _, ok := k.discharge(fluid, ps, pd, usualEfficiency)
		if !ok {
			t.Fatalf("ratio %.1f: beyond the tables", ratio)
		}
		m := machine{implied: math.NaN()}
		m.learnImplied(fluid, ps, 1, td, 10)
		if got := m.implied / float64(ps); math.Abs(got-ratio) > 0.002*ratio {
			t.Errorf("implied ratio %.3f, want %.1f", got, ratio)
		}
	}
}

// Of a lag, a slope of 0.04 K/s and more counts, the usual lag as much as 400 s
// at 0.05 K/s, and the newest twenty times as much as that.
func TestLagLimits(t *testing.T) {
	for _, tc := range []struct {
		name       string
		lag, slope float64
		seconds    float64
		want       float64
	}{
		{"slow movement", 200, 0.039, 1e4, 100},
		{"as much as the usual lag", 200, 0.05, 400, 150},
		{"at the slope that counts", 200, 0.041, 400 * 0.05 * 0.05 / (0.041 * 0.041), 150},
		{"for long", 200, 0.05, 8000, 195.2},
		{"longer than any", 1000, 0.05, 1e5, 300},
		{"shorter than any", 1, 0.05, 1e5, 30},
	} {
		var m machine
		m.learnLag(60+tc.lag*tc.slope, 60, tc.slope, tc.seconds)
		if got := m.lag(); math.Abs(got-tc.want) > 0.5 {
			t.Errorf("%s: %.1f s, want %.1f s", tc.name, got, tc.want)
		}
	}
	// After much at 200 s, twice the memory at 100 s leaves little of it.
	var m machine
	for range 100 {
		m.learnLag(70, 60, 0.05, 400)
	}
	for range 20 {
		m.learnLag(65, 60, 0.05, 400)
	}
	if got := m.lag(); got < 125 || got > 145 {
		t.Errorf("%.0f s, want about 100 s and 1/e of the 100 s more", got)
	}
}

// Settings that are not stated take the defaults; those that are stay.
func TestWithDefaults(t *testing.T) {
	if got := (Settings{}).WithDefaults(); got != DefaultSettings() {
		t.Errorf("of nothing stated: %+v", got)
	}
	stated := DefaultSettings()
	stated.ClearMargin, stated.Floor.Steady, stated.Floor.Pulldown = 0, 5, 7
	stated.Wet.MinorLiquid, stated.Oil.Fall, stated.Hunting.Cycles, stated.High.Critical = 0.01, 6, 5, 20
	if got := stated.WithDefaults(); got != stated {
		t.Errorf("stated settings became %+v", got)
	}
	for _, tc := range []struct{ steady, want units.Kelvin }{{5, 5}, {12, 8}} {
		s := Settings{Floor: ByPhase[units.Kelvin]{Steady: tc.steady}}.WithDefaults()
		if s.Floor.Pulldown != tc.want {
			t.Errorf("steady floor %v: pulldown floor %v, want %v", tc.steady, s.Floor.Pulldown, tc.want)
		}
	}
	if s := (Settings{ClearHold: time.Minute}).WithDefaults(); s.ClearMargin != 0 {
		t.Errorf("a clear hold alone: clear margin %v, want the stated 0", s.ClearMargin)
	}
	if s := (Settings{ClearMargin: 1}).WithDefaults(); s.ClearMargin != 1 || s.ClearHold != 2*time.Minute {
		t.Errorf("a clear margin alone: %v and %v", s.ClearMargin, s.ClearHold)
	}
}

// The words that event files hold.
func TestNames(t *testing.T) {
	got := fmt.Sprint(Floodback, FloodedStart, Hunting, HighSuperheat, SensorFault, NoData, Risk, Minor, Major, Notice, Warning, Critical)
	want := "floodback flooded_start hunting high_superheat sensor_fault no_data risk minor major notice warning critical"
	if got != want {
		t.Errorf("%s, want %s", got, want)
	}
}
