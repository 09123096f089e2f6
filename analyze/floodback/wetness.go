package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/phase"
)

// wetness tells how wet the gas is: from the discharge temperature against the
// machine's own efficiency where that is learned, else from the suction line
// sticking to dew and from the sump.
type wetness struct {
	line    Vapour
	machine machine

	cold      trend   // superheat
	superheat float64 // … as it is now behind the lag of its sensor
	hot       trend   // discharge temperature
	dry       trend   // what dry gas of the measured superheat would show there
	sump      trend
	ratio     smooth
	burst     trend // of liquid
	next      int64
	since     int64 // of the last judgement

	liquid           float64 // mass share by the discharge temperature; NaN when not known
	doubt            float64 // … of it, one way
	fell             float64 // K below what dry gas of the superheat judged would give
	judged, wetBelow float64 // that superheat, and where it is plainly above zero
	full             bool    // the discharge has met the condensing dew: at least that much

	atDew int64 // ns in which the line sat at dew
	near  int64 // ns in which it was so near that droplets ride along
	over  int64 // ns with liquid above the major limit
	damp  int64 // ns with liquid above the minor limit
	oil   int64 // ns with the sump in danger
}

const (
	judgeOften  = int64(5e9)
	judgeSeldom = int64(60e9)
)

func newWetness(v Vapour) wetness {
	w := wetness{line: v, cold: trend{tau: 5}, hot: trend{tau: 15}, dry: trend{tau: 15}, sump: trend{tau: 20}, burst: trend{tau: 10}}
	w.rest()
	w.stop()
	return w
}

// rest forgets what an episode gathered.
func (w *wetness) rest() { w.atDew, w.near, w.over, w.damp, w.oil = 0, 0, 0, 0, 0 }

// stop forgets what a stopped machine makes void; what was learned of it stays.
func (w *wetness) stop() {
	w.cold.forget()
	w.hot.forget()
	w.dry.forget()
	w.sump.forget()
	w.burst.forget()
	w.ratio = smooth{}
	w.next, w.since, w.superheat = 0, 0, math.NaN()
	w.liquid, w.doubt, w.fell, w.full = math.NaN(), math.NaN(), math.NaN(), false
}

// step takes the next moment of a running compressor.
func (w *wetness) step(m *Moment) {
	w.cold.take(m.Superheat, m.Step)
	w.superheat = w.cold.ahead(m.Lag)
	w.hot.take(m.DischargeTemperature, m.Step)
	w.sump.take(m.SumpTemperature, m.Step)
	w.ratio.take(m.DischargePressure/m.SuctionPressure, m.Step, 10)
	if m.At >= w.next || w.next-m.At > judgeSeldom {
		w.judge(m)
		every := judgeSeldom
		if w.superheat < w.edge(m)+8 || math.Abs(w.hot.slope()) > lagSlope || m.RunningFor < 1200e9 {
			every = judgeOften
		}
		w.next = m.At + every
	}
	w.tally(m)
}

// judge renews what the discharge temperature tells.
func (w *wetness) judge(m *Moment) {
	dt := 0.0
	if w.since != 0 && m.At > w.since {
		dt = min(float64(m.At-w.since)/1e9, 60)
	}
	w.since = m.At
	w.liquid, w.doubt, w.fell, w.full = math.NaN(), math.NaN(), math.NaN(), false
	superheat := max(w.superheat, 0)
	w.judged, w.wetBelow = superheat, w.edge(m)+3
	ratio := w.ratio.now()
	if !w.hot.known() || math.IsNaN(ratio) || math.IsNaN(superheat) || math.IsNaN(m.Dew) || ratio < 1.2 || m.RunningFor < 60e9 || m.Phase == phase.Start {
		return
	}
	ps, pd := m.SuctionPressure, m.SuctionPressure*ratio
	c, ok := compress(w.line, ps, m.Dew+superheat+0.01, pd)
	if !ok {
		return
	}
	gas := w.hot.ahead(w.machine.lag())
	slope := w.hot.slope()
	isDry := superheat > w.edge(m)+drySuperheat && m.RunningFor >= learnAfter
	if isDry {
		// A metal that is still warming or cooling tells less.
		calm := 1 / (1 + slope*slope/(lagSlope*lagSlope))
		w.machine.learn(ratio, c.efficiency(w.line, pd, gas), dt*calm)
	}
	eta, doubt := w.machine.efficiency(ratio)
	dry, perLiquid, ok := c.discharge(w.line, ps, pd, eta)
	if !ok {
		return
	}
	if w.machine.known() {
		w.dry.take(dry, int64(dt*1e9))
		if isDry {
			w.machine.learnLag(w.dry.near.now(), w.hot.near.now(), slope, dt)
			w.machine.scatter.take(math.Abs(dry-gas), int64(dt*1e9), scatterTau)
		}
	}
	if m.RunningFor < judgeAfter {
		return
	}
	if gas < m.CondensingDew+1 {
		gas, w.full = m.CondensingDew, true
	}
	w.fell = dry - gas
	w.liquid = max(0, w.fell/perLiquid)
	kelvin := doubt*(dry-float64(c.inlet.Temperature)) + lagDoubt*math.Abs(gas-w.hot.near.now())
	if w.machine.known() {
		kelvin += max(scatterLeast, 1.25*w.machine.scatter.now())
	}
	w.doubt = kelvin / perLiquid
	w.burst.take(w.liquid, int64(dt*1e9))
}

const (
	learnAfter = int64(150e9) // ns of running before the machine may be learned
	judgeAfter = int64(120e9) // … and judged
	lagDoubt   = 0.25         // of what is made up for the lag of the discharge line
	sumpAfter  = int64(600e9) // ns of running before a falling sump is not that of a warm start
	sumpFall   = 2.0          // K/min; trade notes 1
	sumpNear   = 10.0         // K over dew
)

// drySuperheat is by how much the superheat must lie above the wet edge to be
// taken as that of dry gas: droplets can ride in gas that is a few K warmer.
const drySuperheat = 4.5

// edge is what a wet line may read above dew: the room warms the clamp.
func (w *wetness) edge(m *Moment) float64 {
	room := m.Ambient
	if math.IsNaN(room) {
		room = 24
	}
	return max(1.2, 0.6+0.035*(room-m.SuctionTemperature))
}

// tally counts how long each sign has lasted.
func (w *wetness) tally(m *Moment) {
	count := func(x *int64, on bool) {
		if on {
			*x += m.Step
		} else {
			*x = max(0, *x-2*m.Step)
		}
	}
	superheat := w.superheat
	edge := w.edge(m)
	count(&w.atDew, superheat < edge)
	count(&w.near, superheat < edge+nearDew)
	count(&w.over, max(w.liquid, w.burst.ahead(25))-w.doubt/2 > majorLiquid(m.Kind) && superheat < edge+8)
	count(&w.damp, w.liquid-w.doubt/2 > minorLiquid && superheat < edge+6)
	count(&w.oil, w.sump.known() && superheat < edge && m.RunningFor > sumpAfter &&
		(w.sump.slope() < -sumpFall/60 || w.sump.near.now()-m.Dew < sumpNear))
}

const minorLiquid = 0.005

// majorLiquid is the share of liquid that harms each kind of machine.
func majorLiquid(k CompressorKind) float64 {
	switch k {
	case AirCooledSemiHermetic:
		return 0.03 // straight into the cylinders
	case RefrigerantCooledSemiHermetic:
		return 0.06 // the motor boils some
	default:
		return 0.05
	}
}

// severity grades the condition as far as it is known now.
func (w *wetness) severity(m *Moment) Severity {
	blind := math.IsNaN(w.liquid)
	dry := !blind && w.machine.known() && w.liquid+w.doubt/2 < minorLiquid
	switch {
	case w.over >= 25e9, w.oil >= 60e9 && !dry, blind && w.atDew >= stuckMajor(m.Kind):
		return Major
	case w.damp >= 15e9, w.near >= 12e9 && !dry:
		return Minor
	}
	return Risk
}

const nearDew = 2.5 // K above the wet edge

// stuckMajor is how long a line sits at dew before that alone is major, where
// no discharge temperature tells more: a film that wets the pipe all round is
// several per cent of the flow.
func stuckMajor(k CompressorKind) int64 { return int64(majorLiquid(k) * 1500e9) }

// discharge tells whether the machine is known, and how far its discharge
// heads below that of dry gas at 0 K of superheat; NaN where that is not known
// or the superheat is plainly above zero.
func (w *wetness) discharge() (learned bool, shortfall float64) {
	if !(w.judged < w.wetBelow) {
		return w.machine.known(), math.NaN()
	}
	return w.machine.known(), w.fell - dischargePerKelvin*w.judged
}

// dischargePerKelvin is what the discharge of dry gas falls for each K of
// superheat: 1.0 to 1.25 (trade notes, §8, computed with a reference library).
const dischargePerKelvin = 1.1

func (w *wetness) words(m *Moment) []string {
	var lines []string
	if w.atDew > 0 {
		lines = append(lines, fmt.Sprintf("the suction line has been at dew for %.0f s: the gas is wet, how wet the superheat cannot tell", float64(w.atDew)/1e9))
	}
	switch {
	case w.liquid > 0:
		lines = append(lines, fmt.Sprintf("discharge heads for %.0f K below what dry gas gives on this machine: about %.1f %% of liquid by mass", w.fell, 100*w.liquid))
	case !w.hot.known():
		lines = append(lines, "no discharge temperature: wetness is judged by the suction line alone")
	case !w.machine.known():
		lines = append(lines, "the machine's efficiency is not learned yet: the discharge temperature cannot tell wetness")
	}
	if w.oil > 0 {
		lines = append(lines, fmt.Sprintf("the oil sump is %.0f K above dew and cooling", w.sump.near.now()-m.Dew))
	}
	return lines
}
