package superheat

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// Value is the superheat of one compressor at one instant. What is not known
// is NaN.
type Value struct {
	Superheat   units.Kelvin  // temperature − dew, both with the same lag
	DelayedDew  units.Celsius // dew temperature delayed like the pipe's sensor: what was subtracted
	Dew         units.Celsius // dew temperature of Pressure, not delayed
	Pressure    units.Pascal  // absolute, median
	Temperature units.Celsius // of the suction line
	Uncertainty units.Kelvin  // expanded, k = 2
	Quality     reading.Quality
	Reason      *evidence.Item // why it is not good
	// Bias is, of a Suspect superheat, which way it is believed to be wrong.
	// One that reads high hides floodback and never fakes it.
	Bias Bias
}

var unknown = Value{
	Superheat: units.Kelvin(math.NaN()), DelayedDew: units.Celsius(math.NaN()), Dew: units.Celsius(math.NaN()),
	Pressure: units.Pascal(math.NaN()), Temperature: units.Celsius(math.NaN()), Uncertainty: units.Kelvin(math.NaN()),
}

// Meter subtracts dew from pipe temperature for one compressor. It delays the
// dew by the same first-order lag as the temperature sensor has, so that a
// fast change of pressure neither fakes superheat nor its loss.
type Meter struct {
	terms Terms
	fixed float64 // K²; variance of what does not depend on the pressure
	slope float64 // the slope that variance is for, K/Pa
	vary  float64 // K²; fixed and the parts that scale with the slope

	lag    filter.Lag // of the dew temperature
	at     int64      // time of the pressure sample that lag holds
	primed bool       // lag holds a sample
	rampU  float64    // standard uncertainty for each K that the delayed dew lags behind
}

// NewMeter returns the meter of one compressor with what is stated of its two
// sensors (the group's settings already applied) and its refrigerant.
func NewMeter(line DewLine, pressure, temperature Sensor) Meter {
	m := Meter{terms: NewTerms(line, pressure, temperature)}
	m.fixed = m.terms.fixedVariance()
	m.slope = math.NaN()
	m.SetLag(m.terms.Lag, m.terms.LagSpread, 0)
	return m
}

// SetLag replaces the sensor's time constant, as learned from so many fits,
// with its spread: the half-width as a share of it.
func (m *Meter) SetLag(tau time.Duration, spread float64, fits int) {
	m.terms.Lag, m.terms.LagSpread, m.rampU = tau, spread, Rectangular(spread)
	m.terms.LagFits = fits
	m.terms.LagAssumed = m.terms.LagAssumed && fits == 0
}

// Lag returns the sensor's time constant in use.
func (m *Meter) Lag() time.Duration { return m.terms.Lag }

// LagAssumed reports whether the time constant was neither stated nor learned.
func (m *Meter) LagAssumed() bool { return m.terms.LagAssumed }

// Observe writes the superheat at the given time from the two inputs into v.
// Call it for each row: the lag follows each new sample of the pressure.
func (m *Meter) Observe(now int64, p *Suction, t *Signal, v *Value) {
	tv, tq, twhy := t.Now(now)
	_, pq, pwhy := p.Now(now)
	haveT, haveP := tq == reading.Good || tq == reading.Suspect, pq == reading.Good || pq == reading.Suspect
	if !haveT || !haveP || p.noDew {
		*v = unknown
	}
	if haveT {
		v.Temperature = units.Celsius(tv)
	}
	if !haveP {
		m.primed = false
		v.Quality, v.Reason = worse(pq, pwhy, tq, twhy)
		return
	}
	v.Pressure = p.pressure
	if p.noDew {
		m.primed = false
		v.Quality, v.Reason = worse(reading.Bad, ReasonNoDew, tq, twhy)
		return
	}
	m.follow(p)
	v.DelayedDew, v.Dew = units.Celsius(m.lag.Out), p.dew
	v.Quality, v.Reason = worse(tq, twhy, pq, pwhy)
	if !haveT {
		return
	}
	v.Superheat = v.Temperature.Above(v.DelayedDew)
	v.Uncertainty = m.uncertainty(p.slope)
	v.Bias = 0
	if v.Quality == reading.Suspect {
		v.Bias = biasOf(pq, p.suspectBias(), tq, t.suspectBias())
	}
}

func (m *Meter) follow(p *Suction) {
	if m.primed && m.at == p.at {
		return
	}
	dt := time.Duration(p.at - m.at)
	if !m.primed || int64(dt) > p.continuous() || dt < 0 {
		m.lag.Reset(float64(p.dew))
	} else {
		// What the median delays already need not be delayed again.
		m.lag.Update(float64(p.dew), dt, m.terms.Lag-p.Delay())
	}
	m.primed, m.at = true, p.at
}

func (m *Meter) uncertainty(slope float64) units.Kelvin {
	if slope != m.slope {
		m.slope, m.vary = slope, m.fixed+m.terms.slopeVariance(slope)
	}
	// Behind a first-order lag, input − output is rate × τ; a share of τ that is
	// not known is that share of the difference.
	ramp := m.rampU * (m.lag.In - m.lag.Out)
	return units.Kelvin(2 * math.Sqrt(m.vary+ramp*ramp))
}

// Budget returns the parts of the present uncertainty, largest first.
func (m *Meter) Budget(p *Suction) Budget {
	return m.terms.Budget(p.slope, units.Kelvin(m.lag.In-m.lag.Out))
}

// biasOf returns which way a superheat is wrong whose pressure or temperature
// is suspect: a pressure that reads high makes it read low.
func biasOf(pq reading.Quality, pressure Bias, tq reading.Quality, temperature Bias) Bias {
	switch {
	case pq != reading.Suspect:
		return temperature
	case tq != reading.Suspect || temperature == -pressure:
		return -pressure
	}
	return 0
}

// rank orders qualities from the best to the worst.
var rank = [...]uint8{reading.Good: 0, reading.Suspect: 1, reading.Stale: 2, reading.Missing: 3, reading.Bad: 4}

// worse returns the worse of two qualities with its reason; the first where equal.
func worse(q reading.Quality, why *evidence.Item, r reading.Quality, because *evidence.Item) (reading.Quality, *evidence.Item) {
	if rank[r] > rank[q] {
		return r, because
	}
	return q, why
}
