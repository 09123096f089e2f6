package floodback

import (
	"fmt"
	"math"

	"dewgap/analyze/phase"
)

// Limits of wetness. The shares of liquid are what is taken for harm: common
// practice, no source.
const (
	minorLiquid    = 0.005
	learnTau       = 3600.0 // s
	learnEnough    = 900.0  // s of dry steady running before the machine is known
	learnSuperheat = 4.0    // K above the wet edge and more counts as dry
	metalLag       = 60.0   // s; time constant of a discharge line and its sensor (shared trade notes: 1–5 min)
	wetEdgeLeast   = 1.2    // K; a wet line reads up to this much, the clamp being warmer than the gas
	contactShare   = 0.035  // of (room − pipe): an insulated clamp (shared trade notes: 0.02–0.05)
	sumpFall       = 1.0    // K/min (shared trade notes)
	sumpNear       = 10.0   // K over dew (shared trade notes)
	majorHolds     = 20e9   // ns
	minorHolds     = 15e9   // ns
)

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

// wetness tells how wet the gas is: from the discharge temperature against the
// machine's own efficiency where that is learned, else from the suction line
// sticking to dew and from the sump.
type wetness struct {
	line Vapour

	eta     smooth
	learned float64 // s
	hot     smooth  // discharge over 20 s
	hotSlow smooth  // discharge over 80 s: the two give the slope
	cold    smooth  // superheat over 10 s
	sump    smooth
	sumpOld smooth
	dewSlow smooth
	next    int64

	shown  float64 // liquid fraction by discharge; NaN when not known
	fell   float64 // K below what dry gas would give
	wetFor int64   // ns in which the line sat at dew
	over   int64   // ns with liquid above the major limit
	damp   int64   // ns with liquid above the minor limit
	oil    int64   // ns with the sump in danger
	slug   bool
	worst  Severity
}

const wetPeriod = int64(5e9)

func (w *wetness) rest() {
	w.wetFor, w.over, w.damp, w.oil, w.slug, w.worst, w.shown = 0, 0, 0, 0, false, NoSeverity, math.NaN()
}

// step takes the next moment of a running compressor.
func (w *wetness) step(m *Moment) {
	w.hot.take(m.DischargeTemperature, m.Step, 15)
	w.hotSlow.take(m.DischargeTemperature, m.Step, 60)
	w.cold.take(m.Superheat, m.Step, 8)
	w.sump.take(m.SumpTemperature, m.Step, 15)
	w.sumpOld.take(m.SumpTemperature, m.Step, 60)
	w.dewSlow.take(m.Dew, m.Step, 60)
	if m.At < w.next && w.next-m.At <= wetPeriod {
		w.tally(m)
		return
	}
	w.next = m.At + wetPeriod
	w.judge(m)
	w.tally(m)
}

// judge renews what the discharge temperature tells; every few seconds is enough.
func (w *wetness) judge(m *Moment) {
	w.shown, w.fell = math.NaN(), math.NaN()
	if !w.hot.known || m.RunningFor < 180e9 || math.IsNaN(m.DischargePressure) || math.IsNaN(m.Dew) {
		return
	}
	slope := (w.hot.value - w.hotSlow.value) / 45 // K/s; the two lags differ by 45 s
	if w.cold.value > learnSuperheat+w.edge(m) && m.RunningFor > 600e9 && math.Abs(slope) < 0.02 && m.Phase != phase.Start {
		if eta := efficiency(w.line, m.SuctionPressure, m.Dew+max(w.cold.value, 0.1), m.DischargePressure, w.hot.value); eta > 0.3 && eta < 1.3 {
			w.learned += 5
			w.eta.take(eta, wetPeriod, min(learnTau, max(w.learned, 60)))
		}
	}
	if w.learned < learnEnough || w.cold.value > w.edge(m)+3 {
		return
	}
	dry, perLiquid, ok := expected(w.line, m.SuctionPressure, m.Dew, m.DischargePressure, w.eta.value)
	if !ok {
		return
	}
	// What the metal will come to, if the gas stays as it is.
	gas := w.hot.value + metalLag*slope
	w.fell = dry - gas
	w.shown = max(0, w.fell/perLiquid)
}

// discharge tells whether the machine is known, and how far its discharge
// heads below dry gas.
func (w *wetness) discharge() (learned bool, shortfall float64) {
	if w.learned < learnEnough {
		return false, math.NaN()
	}
	if math.IsNaN(w.shown) {
		return true, math.NaN()
	}
	return true, w.fell
}

// edge is what a wet line may read above dew.
func (w *wetness) edge(m *Moment) float64 {
	e := wetEdgeLeast
	if !math.IsNaN(m.Ambient) {
		e = max(e, 0.6+contactShare*(m.Ambient-m.SuctionTemperature))
	} else {
		e = max(e, 0.6+contactShare*(24-m.SuctionTemperature))
	}
	return e
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
	count(&w.wetFor, w.cold.value < w.edge(m))
	count(&w.over, w.shown > majorLiquid(m.Kind))
	count(&w.damp, w.shown > minorLiquid+0.003)
	fall := (w.sumpOld.value - w.sump.value) / 45 * 60 // K/min
	count(&w.oil, w.sump.known && w.wetFor > 0 && (fall > 2*sumpFall || w.sump.value-m.Dew < sumpNear))
}

// severity grades the condition as far as it is known now.
func (w *wetness) severity(m *Moment) Severity {
	switch {
	case w.over >= majorHolds && w.wetFor > 0, w.oil >= 60e9:
		return Major
	case !math.IsNaN(w.shown):
		if w.damp >= minorHolds && w.wetFor > 0 {
			return Minor
		}
		return Risk
	case w.wetFor >= 240e9 && !w.hot.known:
		return Major
	case w.wetFor >= minorHolds:
		return Minor
	default:
		return Risk
	}
}

func (w *wetness) words(m *Moment) []string {
	var lines []string
	if w.wetFor > 0 {
		lines = append(lines, fmt.Sprintf("the suction line has been at dew for %.0f s: the gas is wet, how wet the superheat cannot tell", float64(w.wetFor)/1e9))
	}
	switch {
	case w.shown > 0:
		lines = append(lines, fmt.Sprintf("discharge heads for %.0f K below what dry gas gives on this machine: about %.1f %% of liquid by mass", w.fell, 100*w.shown))
	case !w.hot.known:
		lines = append(lines, "no discharge temperature: wetness is judged by the suction line alone")
	case w.learned < learnEnough:
		lines = append(lines, "the machine's efficiency is not learned yet: the discharge temperature cannot tell wetness")
	}
	if w.oil > 0 {
		lines = append(lines, fmt.Sprintf("the oil sump is %.0f K above dew and cooling", w.sump.value-m.Dew))
	}
	return lines
}
