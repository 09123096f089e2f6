package floodback

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/phase"
)

// liquidMeter tells from the discharge temperature how much of what enters a
// compressor is liquid: an energy balance with the machine's own efficiency,
// freed of the lag of the discharge line.
//
// It sees what reached the compression. Liquid that falls into the oil, or
// that a motor in the gas path dries, is missing from it.
type liquidMeter struct {
	vapour  Vapour
	machine machine

	hot   filter.Slope   // discharge temperature
	dry   filter.Slope   // what dry gas of the measured superheat would show there
	cold  filter.LowPass // superheat, delayed as what the discharge tells is
	ratio filter.LowPass
	share filter.Slope // of liquid
	next  int64
	since int64 // of the last judgement

	// What it tells, NaN where it cannot.
	liquid    float64 // share by mass
	doubt     float64 // of it, either way, k = 2
	fell      float64 // K below what dry gas of that superheat would give
	superheat float64 // K, that it was judged with
	full      bool    // the discharge has met the condensing dew: at least that much
}

// How the meter works. Common practice, no source, where none is given.
const (
	judgeOften   = int64(5e9)
	judgeSeldom  = int64(60e9)   // where superheat and discharge are quiet
	quietAbove   = 8.0           // K over the wet edge
	learnAfter   = int64(150e9)  // ns of running before the machine may be learned
	judgeAfter   = int64(120e9)  // … and judged
	newRun       = int64(1200e9) // ns of running in which it is judged often
	drySuperheat = 4.5           // K over the wet edge and more is dry gas; droplets ride in gas a few K warmer than dew
	behind       = 20.0          // s that the discharge is behind with its lag made up for: its second lag
	hotTau       = 15.0          // s; noise of a discharge sensor
	burstTau     = 10.0          // s
	burstLag     = 25.0          // s; the second lag of pipe and sensor, which a short burst shows
	lagDoubt     = 0.25          // of what is made up for the lag
	leastRatio   = 1.2           // of the pressures, for a machine that compresses
	dischargeDew = 1.0           // K over the condensing dew: the discharge is wet itself
	perSuperheat = 1.1           // K that the discharge of dry gas falls for each K of superheat (trade notes §8: 1.0–1.25)
	impliedDoubt = 4.0           // K; the condensing temperature moves by that with weather and load
)

func newLiquidMeter(v Vapour) liquidMeter {
	l := liquidMeter{vapour: v, hot: filter.Slope{Tau: hotTau}, dry: filter.Slope{Tau: hotTau}, share: filter.Slope{Tau: burstTau}}
	l.machine.implied = math.NaN()
	l.stop()
	return l
}

// stop forgets what a stopped machine makes void; what was learned stays.
func (l *liquidMeter) stop() {
	l.hot.Reset()
	l.dry.Reset()
	l.share.Reset()
	l.cold, l.ratio = filter.LowPass{}, filter.LowPass{}
	l.next, l.since = 0, 0
	l.cannotTell()
}

func (l *liquidMeter) cannotTell() {
	l.liquid, l.doubt, l.fell, l.superheat, l.full = math.NaN(), math.NaN(), math.NaN(), math.NaN(), false
}

// step takes the next moment of a running compressor, whose superheat is that
// of the gas now and whose wet line would read edge.
func (l *liquidMeter) step(m *Moment, superheat, edge float64) {
	l.hot.Update(m.DischargeTemperature, m.Step)
	if !l.hot.Known() { // no discharge temperature: nothing to judge
		return
	}
	l.cold.Update(max(superheat, 0), m.Step, behind)
	l.ratio.Update(m.DischargePressure/m.SuctionPressure, m.Step, behind)
	if m.At < l.next && l.next-m.At <= judgeSeldom {
		return
	}
	l.judge(m, max(l.cold.Value(), 0), edge)
	every := judgeSeldom
	if superheat < edge+quietAbove || math.Abs(l.hot.PerSecond()) > lagSlope || m.RunningFor < newRun {
		every = judgeOften
	}
	l.next = m.At + every
}

// judge renews what is told.
func (l *liquidMeter) judge(m *Moment, superheat, edge float64) {
	dt := 0.0
	if l.since != 0 && m.At > l.since {
		dt = min(float64(m.At-l.since)/1e9, 60)
	}
	l.since = m.At
	l.cannotTell()
	if math.IsNaN(superheat) || math.IsNaN(m.Dew) || m.RunningFor < judgeAfter/2 || m.Phase == phase.Start {
		return
	}
	isDry := superheat > edge+drySuperheat && m.RunningFor >= learnAfter
	gas := l.hot.Unlagged(l.machine.lag())
	slope := l.hot.PerSecond()
	calm := 1 / (1 + slope*slope/(lagSlope*lagSlope)) // a metal that is still warming or cooling tells less

	ps := m.SuctionPressure
	ratio := l.ratio.Value()
	measured := !math.IsNaN(ratio)
	if !measured {
		if isDry {
			l.machine.learnImplied(l.vapour, ps, m.Dew+superheat, gas, dt*calm)
		}
		ratio = l.machine.implied / ps
	}
	if !(ratio >= leastRatio) {
		return
	}
	pd := ps * ratio
	c, ok := compress(l.vapour, ps, m.Dew+superheat+0.01, pd)
	if !ok {
		return
	}
	if isDry && measured {
		l.machine.learn(ratio, c.efficiency(l.vapour, pd, gas), dt*calm)
	}
	eta, share := l.machine.efficiency(ratio)
	if !measured {
		eta, share = etaUsual, 0 // the implied pressure holds what is particular to the machine
	}
	dry, perLiquid, ok := c.discharge(l.vapour, ps, pd, eta)
	if !ok {
		return
	}
	kelvin := share*(dry-float64(c.inlet.Temperature)) + lagDoubt*math.Abs(gas-l.hot.Value())
	if !measured {
		kelvin += impliedDoubt
	}
	if l.machine.known() {
		l.dry.Update(dry, int64(dt*1e9))
		if isDry {
			l.machine.learnLag(l.dry.Value(), l.hot.Value(), slope, dt)
			l.machine.scatter.Update(math.Abs(dry-gas), int64(dt*1e9), scatterTau)
		}
		kelvin += max(scatterLeast, 2.5*l.machine.scatter.Value()) // k = 2 of the mean deviation
	}
	if m.RunningFor < judgeAfter {
		return
	}
	if gas < m.CondensingDew+dischargeDew {
		gas, l.full = m.CondensingDew, true
	}
	l.fell = dry - gas
	l.liquid = max(0, l.fell/perLiquid)
	l.doubt = kelvin / perLiquid
	l.superheat = superheat
	l.share.Update(l.liquid, int64(dt*1e9))
}

// least and burst are the share of liquid that is surely there, half of the
// doubt taken off: as it stands, and as a burst shorter than the lags of pipe
// and sensor would have it.
func (l *liquidMeter) least() float64 { return l.liquid - l.doubt/2 }

// atMost is the share that may be there, half of the doubt added.
func (l *liquidMeter) atMost() float64 { return l.liquid + l.doubt/2 }

func (l *liquidMeter) burst() float64 { return max(l.liquid, l.share.Unlagged(burstLag)) - l.doubt/2 }

// shortfall tells whether the machine is known, and how far its discharge
// heads below that of dry gas at 0 K of superheat: below zero for a machine
// that takes superheated gas, NaN where it is not known.
func (l *liquidMeter) shortfall() (learned bool, kelvin float64) {
	return l.machine.known(), l.fell - perSuperheat*l.superheat
}
