package register

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/units"
)

// SignalClass is the class of a loop current by NAMUR NE 43.
type SignalClass uint8

// Classes of a loop current.
const (
	FailureLow  SignalClass = iota // ≤ 3.6 mA
	Undefined                      // between measurement and failure: no meaning assigned
	UnderRange                     // 3.8 to 4 mA: still a measurement
	Normal                         // 4 to 20 mA
	OverRange                      // 20 to 20.5 mA: still a measurement
	FailureHigh                    // ≥ 21 mA
)

// Limits of NAMUR NE 43 in mA, and how long a failure signal must last.
const (
	failureLow  = 3.6
	measureLow  = 3.8
	measureHigh = 20.5
	failureHigh = 21.0

	// FailurePersists is how long a failure signal must last to count.
	FailurePersists = 4 * time.Second
)

// resolution forgives the rounding of scale×number at a limit.
const resolution = 1e-9

// ClassOf judges a loop current in mA after NAMUR NE 43.
func ClassOf(milliampere float64) SignalClass {
	switch i := milliampere; {
	case i <= failureLow+resolution:
		return FailureLow
	case i >= failureHigh-resolution:
		return FailureHigh
	case i < measureLow-resolution, i > measureHigh+resolution:
		return Undefined
	case i < 4-resolution:
		return UnderRange
	case i > 20+resolution:
		return OverRange
	}
	return Normal
}

// signal turns the electrical number into a value in Unit.
func (m *Mapping) signal(number float64) (float64, Fault) {
	switch m.Signal {
	case Plain:
		return number, Fault{}
	case Current:
		return m.span(number, (number-4)/16, "mA", ClassOf(number))
	case Ratiometric:
		return m.span(number, (number-0.1)/0.8, "of the supply", ratioClass(number))
	case Voltage:
		share := (number - m.LowVolt) / (m.HighVolt - m.LowVolt)
		// The limits of NE 43 as shares of the span: 1–5 V is 4–20 mA across 250 Ω.
		return m.span(number, share, "V", ClassOf(4+16*share))
	case Pt100:
		return m.thermometer(number, 100)
	case Pt1000:
		return m.thermometer(number, 1000)
	case NTC:
		return m.thermistor(number)
	}
	return math.NaN(), Fault{CodeMapping, "unknown signal"}
}

// ratioClass judges the share of the supply: a broken wire shows 0 or 1.
// Limits: common practice, no source.
func ratioClass(share float64) SignalClass {
	switch {
	case share <= 0.05:
		return FailureLow
	case share >= 0.95:
		return FailureHigh
	case share < 0.08-resolution, share > 0.92+resolution:
		return Undefined
	}
	return Normal
}

// span maps a share of the span to Low…High, or returns the failure.
func (m *Mapping) span(number, share float64, unit string, class SignalClass) (float64, Fault) {
	switch class {
	case FailureLow:
		return math.NaN(), Fault{CodeOpen, fmt.Sprintf("%s %s is a failure signal: broken wire, no supply, or the transmitter's alarm", short(number), unit)}
	case FailureHigh:
		return math.NaN(), Fault{CodeShort, fmt.Sprintf("%s %s is a failure signal: short circuit, or the transmitter's alarm", short(number), unit)}
	case Undefined:
		return math.NaN(), Fault{CodeNoData, fmt.Sprintf("%s %s lies between measurement and failure", short(number), unit)}
	}
	return m.Low + share*(m.High-m.Low), Fault{}
}

// Coefficients of IEC 60751.
const (
	ptA = 3.9083e-3
	ptB = -5.775e-7
	ptC = -4.183e-12
)

// PtResistance is the resistance in ohm of a platinum thermometer with r0 ohm
// at 0 °C (IEC 60751, −200 to 850 °C).
func PtResistance(t units.Celsius, r0 float64) float64 {
	c := float64(t)
	r := 1 + ptA*c + ptB*c*c
	if c < 0 {
		r += ptC * (c - 100) * c * c * c
	}
	return r0 * r
}

// PtTemperature inverts PtResistance. It fails outside the standard's range.
func PtTemperature(ohm, r0 float64) (units.Celsius, bool) {
	if !(ohm >= PtResistance(-200, r0)) || ohm > PtResistance(850, r0) {
		return units.Celsius(math.NaN()), false
	}
	ratio := ohm / r0
	c := (-ptA + math.Sqrt(ptA*ptA-4*ptB*(1-ratio))) / (2 * ptB)
	if ratio >= 1 {
		return units.Celsius(c), true
	}
	for range 6 { // Newton from the upper branch; five steps reach 1e-9 K at −200 °C
		f := 1 + ptA*c + ptB*c*c + ptC*(c-100)*c*c*c - ratio
		slope := ptA + 2*ptB*c + ptC*(4*c-300)*c*c
		c -= f / slope
	}
	return units.Celsius(c), true
}

func (m *Mapping) thermometer(ohm, r0 float64) (float64, Fault) {
	t, ok := PtTemperature(ohm, r0)
	switch {
	case ok:
		return m.fromCelsius(t)
	case ohm > r0:
		return math.NaN(), Fault{CodeOpen, short(ohm) + " ohm: sensor or wire open"}
	}
	return math.NaN(), Fault{CodeShort, short(ohm) + " ohm: sensor or wire shorted"}
}

// Where a thermistor's reading is no temperature but a fault of its wire: an
// open one reads very cold, a shorted one very hot. Common practice, no source.
const (
	thermistorOpen  units.Celsius = -60
	thermistorShort units.Celsius = 180
)

func (m *Mapping) thermistor(ohm float64) (float64, Fault) {
	if !(ohm > 0) {
		return math.NaN(), Fault{CodeShort, short(ohm) + " ohm: sensor or wire shorted"}
	}
	t, inside, ok := m.Curve.temperature(ohm)
	switch {
	case !ok:
		return math.NaN(), Fault{CodeMapping, "the thermistor has neither R25 and B nor a table"}
	case t < thermistorOpen:
		return math.NaN(), Fault{CodeOpen, short(ohm) + " ohm: sensor or wire open"}
	case t > thermistorShort:
		return math.NaN(), Fault{CodeShort, short(ohm) + " ohm: sensor or wire shorted"}
	case !inside:
		return math.NaN(), Fault{CodeOutOfRange, short(ohm) + " ohm is outside the thermistor's table"}
	}
	return m.fromCelsius(t)
}

const zeroCelsius = 273.15 // K, exact by definition

// temperature of the thermistor; inside is false when a table had to be
// extrapolated. Between rows ln R is linear in 1/T, as the B equation has it.
func (c *NTCCurve) temperature(ohm float64) (t units.Celsius, inside, ok bool) {
	if len(c.Table) >= 2 {
		i := 1
		for i < len(c.Table)-1 && ohm < c.Table[i].Ohm {
			i++
		}
		cold, hot := c.Table[i-1], c.Table[i]
		y := math.Log(ohm/cold.Ohm) / math.Log(hot.Ohm/cold.Ohm)
		x0, x1 := 1/(float64(cold.Celsius)+zeroCelsius), 1/(float64(hot.Celsius)+zeroCelsius)
		inverse := x0 + y*(x1-x0)
		if inverse <= 0 { // far beyond the hot end
			return thermistorShort + 1, false, true
		}
		return units.Celsius(1/inverse - zeroCelsius), y >= 0 && y <= 1, true
	}
	if !(c.R25 > 0 && c.B > 0) {
		return units.Celsius(math.NaN()), false, false
	}
	inverse := 1/(25+zeroCelsius) + math.Log(ohm/c.R25)/c.B
	if inverse <= 0 {
		return thermistorShort + 1, false, true
	}
	return units.Celsius(1/inverse - zeroCelsius), true, true
}

// fromCelsius gives the temperature as a number in Unit.
func (m *Mapping) fromCelsius(t units.Celsius) (float64, Fault) {
	if m.Unit.Quantity != units.Temperature {
		return math.NaN(), Fault{CodeMapping, "a thermometer needs a unit of temperature"}
	}
	return m.Unit.Number(float64(t)), Fault{}
}

// Persistence keeps the time since when a loop has shown a failure. NAMUR NE 43 lets a failure count after 4 s; until then
// the fault is no-data, which leaves the last value standing. One for each
// point; the zero value is ready.
type Persistence struct{ since time.Time }

// Judge passes fault on, or softens a failure signal that is too young.
func (p *Persistence) Judge(m *Mapping, at time.Time, fault Fault) Fault {
	if m.Signal != Current || fault.Code != CodeOpen && fault.Code != CodeShort {
		p.since = time.Time{}
		return fault
	}
	if p.since.IsZero() || at.Before(p.since) {
		p.since = at
	}
	if at.Sub(p.since) < FailurePersists {
		return Fault{CodeNoData, fault.Detail + " (counts after 4 s)"}
	}
	return fault
}
