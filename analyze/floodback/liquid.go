package floodback

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// liquidMeter estimates from the discharge temperature how much of what enters
// a compressor is liquid: an energy balance with the machine's own efficiency,
// freed of the lag of the discharge line.
//
// It measures what reaches the compression. Liquid that falls into the oil, or
// that a motor in the gas path dries, is missing from it.
type liquidMeter struct {
	vapour  Vapour
	machine machine

	hot     filter.Slope   // discharge temperature, °C
	dry     filter.Slope   // discharge temperature that dry gas of the measured superheat would give, °C
	delayed filter.LowPass // superheat, delayed as the discharge is, K
	ratio   filter.LowPass // of the pressures, delayed likewise
	share   filter.Slope   // of liquid
	next    int64          // time of the next estimate
	last    int64          // time of the last one

	// The newest estimate; NaN where there is none.
	liquid      float64 // share by mass
	uncertainty float64 // of it, either way, k = 2
	fell        float64 // K below the discharge of dry gas of that superheat
	superheat   float64 // K, that the estimate is for
	full        bool    // the discharge is at the condensing dew: at least that much
}

// Common practice, no source, where none is given.
const (
	estimateOften  = int64(5e9)        // ns between estimates
	estimateSeldom = int64(60e9)       // ns between them where superheat and discharge are quiet
	quietAbove     = 8.0               // K over the wet edge
	newRun         = int64(1200e9)     // ns of running with frequent estimates
	estimateAfter  = int64(120e9)      // ns of running before an estimate is given out
	settleAfter    = estimateAfter / 2 // ns of running before the filters are fed
	learnAfter     = int64(150e9)      // ns of running before the machine is learned
	drySuperheat   = 4.5               // K over the wet edge and more is dry gas; droplets ride in gas a few K warmer than dew
	secondLag      = 20.0              // s that the discharge is behind when its first lag is removed
	hotTau         = 15.0              // s; noise of a discharge sensor
	burstTau       = 10.0              // s
	burstLag       = 25.0              // s; the second lag of pipe and sensor, which a short burst shows
	lagShare       = 0.25              // uncertainty of what is added for the lag, share of it
	minRatio       = 1.2               // of the pressures, for a machine that compresses
	dischargeDew   = 1.0               // K over the condensing dew: the discharge itself is wet
	perSuperheat   = 1.1               // K that the discharge of dry gas falls for each K of superheat (from memory: 1.0–1.25)
	impliedKelvin  = 4.0               // K; the condensing temperature moves by that with weather and load
	maxStep        = 60.0              // s that one estimate stands for at most
	scatterFactor  = 2.5               // mean deviation of normal scatter to its expanded uncertainty (k = 2): 2·√(π/2)
)

func newLiquidMeter(v Vapour) liquidMeter {
	l := liquidMeter{vapour: v, hot: filter.Slope{Tau: hotTau}, dry: filter.Slope{Tau: hotTau}, share: filter.Slope{Tau: burstTau}}
	l.machine.implied = math.NaN()
	l.stop()
	return l
}

// stop resets everything but what was learned of the machine.
func (l *liquidMeter) stop() {
	l.hot.Reset()
	l.dry.Reset()
	l.share.Reset()
	l.delayed.Reset()
	l.ratio.Reset()
	l.next, l.last = 0, 0
	l.clear()
}

func (l *liquidMeter) clear() {
	l.liquid, l.uncertainty, l.fell, l.superheat, l.full = math.NaN(), math.NaN(), math.NaN(), math.NaN(), false
}

// step takes the next frame of a running compressor. gas is the superheat of
// the gas now, edge what a wet line would read, K.
func (l *liquidMeter) step(x *frame.Frame, c *frame.Compressor, gas, edge float64) {
	l.hot.Update(float64(c.Discharge), x.Step)
	if !l.hot.Known() { // no discharge temperature
		return
	}
	l.delayed.Update(max(gas, 0), x.Step, secondLag)
	l.ratio.Update(float64(x.DischargePressure/c.Inlet.Pressure), x.Step, secondLag)
	if x.At < l.next && l.next-x.At <= estimateSeldom {
		return
	}
	l.estimate(x, c, max(l.delayed.Value(), 0), edge)
	every := estimateSeldom
	if gas < edge+quietAbove || math.Abs(l.hot.PerSecond()) > lagSlope || c.RunningFor < newRun {
		every = estimateOften
	}
	l.next = x.At + every
}

// estimate renews the estimate, and learns the machine from dry gas.
func (l *liquidMeter) estimate(x *frame.Frame, c *frame.Compressor, superheat, edge float64) {
	dt := 0.0
	if l.last != 0 && x.At > l.last {
		dt = min(float64(x.At-l.last)/1e9, maxStep)
	}
	l.last = x.At
	l.clear()
	dew := float64(c.Inlet.Dew)
	if math.IsNaN(superheat) || math.IsNaN(dew) || c.RunningFor < settleAfter || c.Phase == frame.Start {
		return
	}
	isDry := superheat > edge+drySuperheat && c.RunningFor >= learnAfter
	hot := l.hot.Unlagged(l.machine.lag())
	slope := l.hot.PerSecond()
	calm := 1 / (1 + slope*slope/(lagSlope*lagSlope)) // a metal that still warms or cools counts less

	ps := c.Inlet.Pressure
	ratio := l.ratio.Value()
	measured := !math.IsNaN(ratio)
	if !measured {
		if isDry {
			l.machine.learnImplied(l.vapour, ps, units.Celsius(dew+superheat), hot, dt*calm)
		}
		ratio = l.machine.implied / float64(ps)
	}
	if !(ratio >= minRatio) {
		return
	}
	pd := units.Pascal(float64(ps) * ratio)
	k, ok := compress(l.vapour, ps, units.Celsius(dew+superheat+insideTable), pd)
	if !ok {
		return
	}
	if isDry && measured {
		l.machine.learn(ratio, k.efficiency(l.vapour, pd, units.Celsius(hot)), dt*calm)
	}
	eta, share := l.machine.efficiency(ratio)
	if !measured {
		eta, share = usualEfficiency, 0 // the implied pressure holds what is particular to the machine
	}
	dry, perLiquid, ok := k.discharge(l.vapour, ps, pd, eta)
	if !ok {
		return
	}
	kelvin := share*(dry-float64(k.inlet.Temperature)) + lagShare*math.Abs(hot-l.hot.Value())
	if !measured {
		kelvin += impliedKelvin
	}
	if l.machine.known() {
		l.dry.Update(dry, int64(dt*1e9))
		if isDry {
			l.machine.learnLag(l.dry.Value(), l.hot.Value(), slope, dt)
			l.machine.scatter.Update(math.Abs(dry-hot), int64(dt*1e9), scatterTau)
		}
		kelvin += max(minScatter, scatterFactor*l.machine.scatter.Value())
	}
	if c.RunningFor < estimateAfter {
		return
	}
	if condensing := float64(x.CondensingDew); hot < condensing+dischargeDew {
		hot, l.full = condensing, true
	}
	l.fell = dry - hot
	l.liquid = max(0, l.fell/perLiquid)
	l.uncertainty = kelvin / perLiquid
	l.superheat = superheat
	l.share.Update(l.liquid, int64(dt*1e9))
}

// atLeast returns the share of liquid that is surely there: half of the
// uncertainty is taken off.
func (l *liquidMeter) atLeast() float64 { return l.liquid - l.uncertainty/2 }

// atMost returns the share that may be there: half of the uncertainty added.
func (l *liquidMeter) atMost() float64 { return l.liquid + l.uncertainty/2 }

// burst returns the share that is surely there in a burst shorter than the
// lags of pipe and sensor.
func (l *liquidMeter) burst() float64 {
	return max(l.liquid, l.share.Unlagged(burstLag)) - l.uncertainty/2
}

// shortfall returns whether the machine is known, and by how many K its
// discharge heads below that of dry gas at 0 K of superheat: below zero for a
// machine that takes superheated gas, NaN where it is not known.
func (l *liquidMeter) shortfall() (learned bool, kelvin float64) {
	return l.machine.known(), l.fell - perSuperheat*l.superheat
}
