package floodback

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/units"
)

// machine is what is learned of one compressor from its dry hours: its
// isentropic efficiency by pressure ratio, and how slowly its discharge line
// and the sensor on it follow. With it the discharge temperature shows how
// much of what enters is liquid.
//
// A machine with a drive or unloaded cylinders has another efficiency at part
// load, which no input shows: it appears as scatter, and the uncertainty grows
// with it.
type machine struct {
	bins    [ratioBins]efficiencyBin
	seconds float64        // of dry running that was learned from, at most learnTau
	scatter filter.LowPass // mean |deviation| of the discharge temperature in dry running, K

	implied float64 // Pa; discharge pressure that a usual machine would need for this one's discharge temperature; NaN: not learned

	lagNum, lagDen float64 // least squares of (dry − measured) over the measured slope
}

// efficiencyBin is what was learned at pressure ratios near each other.
type efficiencyBin struct {
	eta     float64
	seconds float64
}

const (
	ratioBins  = 18
	ratioWidth = 0.14 // in ln of the pressure ratio: 15 %
	minLnRatio = 0.4  // ln 1.5

	minEfficiency, maxEfficiency = 0.3, 1.2 // of a machine that works, heat losses folded in
	usualEfficiency              = 0.66     // common practice, no source: 0.65 is usual in worked examples
	usualEfficiencyShare         = 0.12     // uncertainty of it as a share; common practice, no source: 0.58 to 0.74
	farEfficiencyShare           = 0.12     // uncertainty for an e-fold of pressure ratio outside of what was seen; common practice, no source

	learnTau    = 3600.0 // s; an hour: a machine wears slowly; common practice, no source
	learnEnough = 900.0  // s of dry running before the machine is known; common practice, no source

	usualLag       = 100.0 // s; discharge line and sensor, from memory: 1–5 min
	minLag, maxLag = 30.0, 300.0
	lagPrior       = 400.0 * 0.05 * 0.05 // as if the usual lag had been seen for 400 s at 0.05 K/s; common practice, no source
	lagMemory      = 20 * lagPrior       // common practice, no source
	lagSlope       = 0.04                // K/s; slower movements show no lag; common practice, no source
	scatterTau     = 1800.0              // s; common practice, no source
	minScatter     = 0.5                 // K; common practice, no source

	minImpliedRatio, maxImpliedRatio = 1.3, 25.0 // pressure ratios that are searched
	impliedSteps                     = 12        // halvings of the range of ln ratio: to 0.07 % of the ratio
	minImpliedTau                    = 60.0      // s; a first guess is replaced no faster
)

// binOf returns where a pressure ratio lies on the scale of the bins.
func binOf(ratio float64) float64 {
	return min(max((math.Log(ratio)-minLnRatio)/ratioWidth, 0), ratioBins-1)
}

// known reports whether enough dry running was seen.
func (m *machine) known() bool { return m.seconds >= learnEnough }

// learn takes an efficiency seen in dry running for dt seconds.
func (m *machine) learn(ratio, eta, dt float64) {
	if !(eta > minEfficiency && eta < maxEfficiency && dt > 0) {
		return
	}
	b := &m.bins[int(binOf(ratio))]
	b.seconds = min(b.seconds+dt, learnTau)
	b.eta += (eta - b.eta) * dt / b.seconds
	m.seconds = min(m.seconds+dt, learnTau)
}

// learnImplied takes the discharge temperature td in °C, seen in dry running
// for dt seconds where no discharge pressure is measured: the pressure that a
// machine of usual efficiency would discharge against stands for both.
func (m *machine) learnImplied(v Vapour, ps units.Pascal, ts units.Celsius, td, dt float64) {
	low, high := minImpliedRatio, maxImpliedRatio
	for range impliedSteps { // the discharge temperature rises with the ratio
		ratio := math.Sqrt(low * high)
		pd := units.Pascal(float64(ps) * ratio)
		dry := math.Inf(1) // beyond the tables is hot
		if k, ok := compress(v, ps, ts, pd); ok {
			if t, _, ok := k.discharge(v, ps, pd, usualEfficiency); ok {
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
	p := float64(ps) * math.Sqrt(low*high)
	if math.IsNaN(m.implied) {
		m.implied = p
	}
	m.implied += (p - m.implied) * dt / max(m.seconds, dt, minImpliedTau)
}

// efficiency returns the efficiency at a pressure ratio, and the half-width of
// its uncertainty as a share of it: what is usual for any machine as long as
// this one is not known. Bins count by the time they were seen for, and less
// with the fourth power of their distance.
func (m *machine) efficiency(ratio float64) (eta, uncertainty float64) {
	if !m.known() {
		return usualEfficiency, usualEfficiencyShare
	}
	const near = 0.02       // keeps the weight of a bin at no distance finite
	x := binOf(ratio) - 0.5 // bins count as from their centres
	sum, weight, nearest := 0.0, 0.0, math.Inf(1)
	for i := range m.bins {
		b := &m.bins[i]
		if b.seconds == 0 {
			continue
		}
		d := math.Abs(float64(i) - x)
		nearest = min(nearest, d)
		w := b.seconds / (near + d*d*d*d)
		sum += w * b.eta
		weight += w
	}
	return sum / weight, farEfficiencyShare * max(0, nearest-0.5) * ratioWidth
}

// lag returns the time constant of the discharge line and its sensor, s.
func (m *machine) lag() float64 {
	return min(max((usualLag*lagPrior+m.lagNum)/(lagPrior+m.lagDen), minLag), maxLag)
}

// learnLag takes the discharge temperature that dry gas should give, the one
// measured and its slope in K/s: a first-order lag is their difference over
// the slope.
func (m *machine) learnLag(dry, measured, slope, dt float64) {
	if math.Abs(slope) < lagSlope {
		return
	}
	m.lagNum += (dry - measured) * slope * dt
	m.lagDen += slope * slope * dt
	if m.lagDen > lagMemory {
		m.lagNum *= lagMemory / m.lagDen
		m.lagDen = lagMemory
	}
}
