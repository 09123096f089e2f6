package floodback

import (
	"math"

	"dewgap/analyze/filter"
)

// machine is what is learned of one compressor from its dry hours: its
// isentropic efficiency by pressure ratio, and how slowly its discharge line
// and the sensor on it follow. With it the discharge temperature tells how
// much of what enters is liquid.
//
// A machine with a drive or unloaded cylinders has another efficiency at part
// load, which no input tells: it shows as scatter, and the doubt grows with it.
type machine struct {
	at      [ratioBins]learned
	seconds float64
	scatter filter.LowPass // mean |deviation| of the discharge temperature in dry running, K

	implied float64 // Pa; discharge pressure that a usual machine would need for this one's discharge temperature; NaN: not learned

	lagNum, lagDen float64 // least squares of (dry − shown) over the slope shown
}

type learned struct {
	eta     float64
	seconds float64
}

const (
	ratioBins  = 18
	ratioWidth = 0.14 // in ln of the pressure ratio: 15 %
	ratioLeast = 0.4  // ln 1.5

	etaLeast, etaMost = 0.3, 1.2 // what can be the efficiency of a machine that works
	etaUsual          = 0.66     // trade notes, §8, work their table with 0.65
	etaUsualDoubt     = 0.12     // common practice, no source: 0.58 to 0.74
	etaFar            = 0.12     // of doubt for an e-fold of pressure ratio outside of what was seen

	learnTau    = 3600.0 // s; an hour: a machine wears slowly
	learnEnough = 900.0  // s of dry running before the machine is known

	lagUsual          = 100.0 // s; discharge line and sensor: trade notes 1–5 min
	lagLeast, lagMost = 30.0, 300.0
	lagPrior          = 400.0 * 0.05 * 0.05 // as if the usual had been seen in 400 s at 0.05 K/s
	lagMemory         = 20 * lagPrior
	lagSlope          = 0.04 // K/s; slower movements tell nothing of a lag
	scatterTau        = 1800.0
	scatterLeast      = 0.5 // K
	farK              = 12  // K of doubt for an e-fold of pressure ratio outside of what was seen
)

func bin(ratio float64) (int, float64) {
	x := (math.Log(ratio) - ratioLeast) / ratioWidth
	x = min(max(x, 0), ratioBins-1)
	return int(x), x
}

// known tells whether enough dry running was seen.
func (m *machine) known() bool { return m.seconds >= learnEnough }

// learn takes an efficiency seen in dry steady running for dt seconds.
func (m *machine) learn(ratio, eta, dt float64) {
	if !(eta > etaLeast && eta < etaMost && dt > 0) {
		return
	}
	i, _ := bin(ratio)
	b := &m.at[i]
	b.seconds = min(b.seconds+dt, learnTau)
	b.eta += (eta - b.eta) * dt / b.seconds
	m.seconds = min(m.seconds+dt, learnTau)
}

// learnImplied takes the discharge temperature seen in dry running for dt
// seconds where no discharge pressure is measured: the pressure that a machine
// of usual efficiency would discharge against stands for both.
func (m *machine) learnImplied(v Vapour, ps, ts, td, dt float64) {
	low, high := 1.3, 25.0
	for range 12 { // to 0.4 % of the ratio; the discharge rises with it
		ratio := math.Sqrt(low * high)
		c, ok := compress(v, ps, ts, ps*ratio)
		dry := math.Inf(1) // beyond the tables is hot
		if ok {
			if t, _, ok := c.discharge(v, ps, ps*ratio, etaUsual); ok {
				dry = t
			}
		}
		if dry < td {
			low = ratio
		} else {
			high = ratio
		}
	}
	m.seconds = min(m.seconds+dt, learnTau)
	p := ps * math.Sqrt(low*high)
	if math.IsNaN(m.implied) {
		m.implied = p
	}
	m.implied += (p - m.implied) * dt / max(m.seconds, dt, 60)
}

// efficiency returns the efficiency at a pressure ratio, and the half-width of
// the doubt about it as a share of it: what is usual for any machine as long as
// this one is not known.
func (m *machine) efficiency(ratio float64) (eta, doubt float64) {
	if !m.known() {
		return etaUsual, etaUsualDoubt
	}
	_, x := bin(ratio)
	x -= 0.5 // centres
	sum, weight, nearest := 0.0, 0.0, math.Inf(1)
	for i := range m.at {
		b := &m.at[i]
		if b.seconds == 0 {
			continue
		}
		d := math.Abs(float64(i) - x)
		nearest = min(nearest, d)
		w := b.seconds / (0.02 + d*d*d*d)
		sum += w * b.eta
		weight += w
	}
	return sum / weight, etaFar * max(0, nearest-0.5) * ratioWidth
}

// lag returns the time constant of the discharge line and its sensor, s.
func (m *machine) lag() float64 {
	return min(max((lagUsual*lagPrior+m.lagNum)/(lagPrior+m.lagDen), lagLeast), lagMost)
}

// learnLag takes what dry gas should show, what is shown and its slope: a
// first-order lag is their difference over the slope.
func (m *machine) learnLag(dry, shown, slope, dt float64) {
	if math.Abs(slope) < lagSlope {
		return
	}
	m.lagNum += (dry - shown) * slope * dt
	m.lagDen += slope * slope * dt
	if m.lagDen > lagMemory {
		m.lagNum *= lagMemory / m.lagDen
		m.lagDen = lagMemory
	}
}
