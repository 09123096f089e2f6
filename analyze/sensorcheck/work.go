package sensorcheck

import (
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// The work of compression checks suction against discharge without any
// learning. How much hotter the discharge is than an ideal (isentropic)
// compression makes it, as a share of the ideal rise, is 1/efficiency − 1: about
// 0.3 to 1.0 for a healthy machine, less what the discharge line loses to the
// room. Below zero the gas is compressed with less work than possible; far
// above, with several times as much. Limits: common practice, no source.
const (
	workTau          = 1200.0                 // s
	workSettle       = int64(8 * time.Minute) // of running; the discharge line is slow
	workHold         = 30 * time.Minute
	minOverIdeal     = -0.10 // below: impossible; small machines with a long bare line come to −0.09
	maxOverIdeal     = 1.3   // above: not this gas
	minWorkSuperheat = 6.0   // K shown; at dew, wet gas cools the discharge for good reason
	maxWorkSuperheat = 8.0   // K shown; a discharge that is too hot matters where superheat shows little
	minIdealRise     = 10.0  // K; of less than that a share is noise
	vapourFrom       = -50.0 // °C; the vapour tables begin at this dew
)

// A misconfiguration explains the work when with it put right the discharge and
// the superheat are those of a healthy machine. Common practice, no source.
const (
	minHealthyOverIdeal = 0.1
	maxHealthyOverIdeal = 1.0
	maxRunningSuperheat = 35.0 // K, of a machine with a long suction line
)

// Vapour is what the work of compression needs of a refrigerant.
type Vapour interface {
	Vapour(units.Pascal, units.Celsius) (refrigerant.State, error)
	TemperatureAtEntropy(p units.Pascal, entropy float64) (units.Celsius, error)
}

// work follows the work of one compressor.
type work struct {
	from      int64          // ns; since when it can be judged; 0: it cannot
	overIdeal filter.LowPass // share of the ideal rise
	low, high timer
	discharge units.Celsius // when judged last
	superheat float64       // K shown; when judged last
}

// checkWork finds suctions from which no compressor reaches its discharge.
func (c *Checker) checkWork(x *frame.Frame, dt int64) {
	if c.vapour == nil {
		return
	}
	for i := range c.compressors {
		w, k := &c.compressors[i].work, &x.Compressors[i]
		share, ok := c.overIdealNow(x, k)
		if !ok {
			w.from = 0 // what was judged before the stop still counts
			c.retainWork(i)
			continue
		}
		if w.from == 0 {
			w.from = x.At
		}
		if x.At-w.from < workSettle {
			c.retainWork(i)
			continue
		}
		w.overIdeal.Update(share, dt, workTau)
		w.discharge, w.superheat = k.Discharge, float64(k.Inlet.Superheat)
		w.low.update(w.isTooLittle(), dt)
		w.high.update(w.isTooMuch(), dt)
		c.judgeWork(i, x)
	}
}

func (w *work) isTooLittle() bool {
	return w.overIdeal.Value() < minOverIdeal && w.superheat > minWorkSuperheat
}

func (w *work) isTooMuch() bool {
	return w.overIdeal.Value() > maxOverIdeal && w.superheat < maxWorkSuperheat
}

// retainWork keeps standing what stands while a compressor cannot be judged.
func (c *Checker) retainWork(i int) {
	for _, point := range []int{c.group.Compressors[i].Temperature.Point, c.group.Compressors[i].Pressure.Point} {
		c.retain(evidence.TooLittleWork, point)
		c.retain(evidence.TooMuchWork, point)
	}
}

// overIdealNow returns the work of a compressor above the ideal, as a share.
func (c *Checker) overIdealNow(x *frame.Frame, k *frame.Compressor) (float64, bool) {
	if k.Phase == frame.Off || k.Phase == frame.Start || !(float64(k.Discharge-k.Inlet.Temperature) > hotBy) || !isKnown(float64(x.DischargePressure)) {
		return 0, false
	}
	return c.overIdeal(k.Inlet.Pressure, k.Inlet.Temperature, x.DischargePressure, k.Discharge)
}

// overIdeal returns by how much the rise of temperature from a suction to a
// discharge exceeds the ideal one, as a share of it. Below the tables it takes
// their lowest pressure: a higher suction needs less work, which is cautious.
func (c *Checker) overIdeal(low units.Pascal, line units.Celsius, high units.Pascal, hot units.Celsius) (float64, bool) {
	dew := c.dewOf(low)
	switch {
	case !isKnown(float64(line)) || !isKnown(float64(dew)):
		return 0, false
	case dew < vapourFrom:
		var err error
		if low, err = c.group.Fluid.DewPressure(vapourFrom); err != nil {
			return 0, false
		}
	case line < dew:
		line = dew
	}
	s, err := c.vapour.Vapour(low, line)
	if err != nil {
		return 0, false
	}
	ideal, err := c.vapour.TemperatureAtEntropy(high, s.Entropy)
	if err != nil || float64(ideal-line) < minIdealRise {
		return 0, false
	}
	return float64((hot - ideal) / (ideal - line)), true
}

// judgeWork raises what stands against a compressor's suction. Where its
// pressure is suspect already, that is reason enough.
func (c *Checker) judgeWork(i int, x *frame.Frame) {
	w, k := &c.compressors[i].work, &c.group.Compressors[i]
	tooLittle, tooMuch := time.Duration(w.low.held) >= workHold, time.Duration(w.high.held) >= workHold
	switch {
	case !tooLittle && !tooMuch:
		if w.isTooLittle() || w.isTooMuch() {
			c.retainWork(i)
		}
		return
	case c.suspect(k.Pressure.Point), c.isMute(k.Pressure.Point):
		c.retainWork(i)
		return
	}
	code, point, b, held, otherwise := evidence.TooLittleWork, k.Temperature.Point, superheat.ReadsHigh, w.low.held, evidence.LiquidInjected
	if tooMuch {
		code, b, held, otherwise = evidence.TooMuchWork, superheat.ReadsLow, w.high.held, evidence.MachineFailing
	}
	found := c.explainWork(i, x)
	if found != nil && !found.isOfLine() {
		point, b = k.Pressure.Point, -b
	}
	if a := c.raise(code, point, b, x.At-held); a != nil {
		a.describe([]evidence.Value{evidence.Difference("superheat", units.Kelvin(w.superheat)), evidence.Temperature("discharge", w.discharge),
			evidence.Share("over_ideal", w.overIdeal.Value())}, explain("likely", found, otherwise)...)
	}
}

// explainWork returns the misconfiguration with which the compressor would be
// healthy; nil where there is none.
func (c *Checker) explainWork(i int, x *frame.Frame) *misconfiguration {
	v, hot := &x.Compressors[i].Inlet, c.compressors[i].work.discharge
	ofPressure, ofLine := c.pressureMisconfigurations(v.Pressure, v.Temperature), c.lineMisconfigurations(v.Pressure, v.Temperature)
	return first(append(ofPressure[:], ofLine[:]...), func(m *misconfiguration) bool {
		share, ok := c.overIdeal(m.pressure, m.line, x.DischargePressure, hot)
		return ok && share > minHealthyOverIdeal && share < maxHealthyOverIdeal &&
			m.superheat() > minUsualSuperheat && m.superheat() < maxRunningSuperheat
	})
}
