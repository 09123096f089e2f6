package superheat_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// line is a suction line whose gas has 10 K of superheat whatever the dew does,
// with a sensor of a known time constant: any other superheat shown is an error
// of the measurement. R448A at −30 °C, where an error of pressure costs most.
type line struct {
	fluid *refrigerant.Fluid
	tau   float64
	felt  float64
	rng   *rand.Rand
}

const gasSuperheat = 10.0

// run feeds seconds of a dew temperature and returns, for each sample after
// from, the error of the superheat through the whole pressure path (median,
// dew, lag) and of the plain difference.
func (l *line) run(poll func() float64, seconds, from float64, dew func(sec float64) float64, noiseBar float64) (conditioned, plain []float64) {
	const second = int64(time.Second)
	suction := superheat.NewSuction(l.fluid, 0)
	pipe := superheat.NewSignal(reading.SuctionTemperature, 0)
	meter := superheat.NewMeter(l.fluid, superheat.Sensor{}, superheat.Sensor{Lag: time.Duration(l.tau * 1e9)})
	l.felt = dew(0) + gasSuperheat
	for now, last := 0.0, 0.0; now < seconds; now += poll() {
		for ; last+0.01 < now; last += 0.01 { // the sensor itself, finely
			l.felt += (dew(last) + gasSuperheat - l.felt) * 0.01 / l.tau
		}
		p, err := l.fluid.DewPressure(units.Celsius(dew(now)))
		if err != nil {
			panic(err)
		}
		raw := float64(p) + noiseBar*1e5*l.rng.NormFloat64()
		at := int64(now * float64(second))
		suction.Take(at, &reading.Reading{Value: raw, Quality: reading.Good})
		pipe.Take(at, &reading.Reading{Value: l.felt, Quality: reading.Good})
		var v superheat.Value
		meter.Observe(at, &suction, &pipe, &v)
		direct, err := l.fluid.Dew(units.Pascal(raw))
		if now < from || err != nil || v.Quality != reading.Good {
			continue
		}
		conditioned = append(conditioned, float64(v.Superheat)-gasSuperheat)
		plain = append(plain, l.felt-float64(direct)-gasSuperheat)
	}
	return conditioned, plain
}

func largest(errors []float64) (most float64) {
	for _, e := range errors {
		most = max(most, math.Abs(e))
	}
	return most
}

func deviation(errors []float64) float64 {
	sum := 0.0
	for _, e := range errors {
		sum += e * e
	}
	return math.Sqrt(sum / float64(len(errors)))
}

// TestTrap34Conditioning: a step of 5 K, a ramp of 10 K/min as after a defrost,
// and noise of 0.5 bar standard deviation, against the plain difference of the
// same readings: go test -v -run Conditioning ./analyze/superheat prints the
// table. The limits follow from the filters' own theory: a first-order lag is
// rate × τ behind a ramp; the median of n normal samples has π/2n of their
// variance (Kendall, Stuart, from memory), and the lag averages what is left.
func TestTrap34Conditioning(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	const tau = 30.0
	step := func(sec float64) float64 {
		if sec < 120 {
			return -30
		}
		return -35
	}
	ramp := func(sec float64) float64 { return -22 - min(max(sec-120, 0), 60)/6 }
	t.Logf("%-28s %-10s %22s %22s", "R448A at −30 °C, τ 30 s", "poll", "conditioned, K", "plain difference, K")
	for _, p := range []struct {
		name string
		poll float64
	}{{"1 s", 1}, {"5 s", 5}, {"10 s", 10}, {"1 to 5 s", 0}} {
		l := &line{fluid: fluid, tau: tau, rng: rand.New(rand.NewPCG(3, 4))}
		poll := func() float64 {
			if p.poll == 0 {
				return 1 + 4*l.rng.Float64()
			}
			return p.poll
		}
		between := max(p.poll, 5)
		tell := func(what string, conditioned, plain float64) {
			t.Logf("%-28s %-10s %22.2f %22.2f", what, p.name, conditioned, plain)
		}

		// The median sees a step some samples late, the lag as much sooner; what
		// a sample cannot tell is when between two polls the step was.
		c, r := l.run(poll, 600, 0, step, 0)
		tell("step of 5 K, largest error", largest(c), largest(r))
		if limit := 5 * (between + 5) / tau; largest(c) > limit || largest(r) < 4 {
			t.Errorf("%s: step: %.2f K conditioned (limit %.2f), %.2f K plain", p.name, largest(c), limit, largest(r))
		}
		c, r = l.run(poll, 600, 0, ramp, 0)
		tell("ramp 10 K/min, largest error", largest(c), largest(r))
		if plain := 10.0 / 60 * tau * (1 - math.Exp(-60/tau)); math.Abs(largest(r)-plain) > 0.35 || largest(c) > 0.7 {
			t.Errorf("%s: ramp: %.2f K conditioned, %.2f K plain, want less than 0.7 and %.2f", p.name, largest(c), largest(r), plain)
		}
		c, r = l.run(poll, 4*3600, 120, func(float64) float64 { return -30 }, 0.5)
		tell("noise 0.5 bar, deviation", deviation(c), deviation(r))
		n := map[float64]float64{1: 11, 5: 3, 10: 3, 0: 3}[p.poll]
		alone := 14.1 * 0.5 * math.Sqrt(math.Pi/2/n) // 14.1 K/bar: slope of R448A's dew line at −30 °C, as in testdata/gum.csv
		if deviation(c) > alone || deviation(r) < 6 {
			t.Errorf("%s: noise: %.2f K conditioned (the median alone leaves %.2f), %.2f K plain", p.name, deviation(c), alone, deviation(r))
		}
	}
}

// TestLagMatchingDoesNotDependOnTheRate: the same ramp sampled at any rate,
// evenly or not, gives the same superheat at the same instant.
func TestLagMatchingDoesNotDependOnTheRate(t *testing.T) {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	slow := func(sec float64) float64 { return -25 - 4*math.Sin(sec/120) }
	for _, poll := range []func(rng *rand.Rand) float64{
		func(*rand.Rand) float64 { return 0.5 },
		func(*rand.Rand) float64 { return 2 },
		func(*rand.Rand) float64 { return 10 },
		func(rng *rand.Rand) float64 { return 0.2 + 9*rng.Float64() },
	} {
		l := &line{fluid: fluid, tau: 40, rng: rand.New(rand.NewPCG(9, 9))}
		c, plain := l.run(func() float64 { return poll(l.rng) }, 1800, 120, slow, 0)
		if worst := largest(c); worst > 0.25 || largest(plain) < 1 {
			t.Errorf("%s", fmt.Sprintf("largest error %.2f K, plain %.2f K", worst, largest(plain)))
		}
	}
}
