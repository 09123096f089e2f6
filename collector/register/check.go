package register

import (
	"errors"
	"fmt"
	"math"

	"dewgap/analyze/units"
)

// Check returns every fault that keeps the mapping from working, each with what
// would be right; nil when it can work. onWire is true when the number comes in
// Modbus words, which need a type, and false for numbers in text.
func (m *Mapping) Check(onWire bool) error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }

	if onWire {
		m.checkWords(fault)
	}
	for _, x := range []struct {
		name  string
		value float64
	}{{"scale", m.Scale}, {"offset", m.Offset}, {"gain", m.Gain}, {"zero", m.Zero}, {"threshold", m.Threshold}, {"low", m.Low}, {"high", m.High}} {
		if math.IsNaN(x.value) || math.IsInf(x.value, 0) {
			fault("%s is not a finite number", x.name)
		}
	}
	switch q := m.Unit.Quantity; {
	case q == units.PressureDifference:
		fault("unit %s does not say what the pressure is measured from; write %sg (gauge) or %sa (absolute)", m.Unit.Name, m.Unit.Name, m.Unit.Name)
	case q != units.NoQuantity && q != units.Temperature && q != units.Share && !m.Unit.IsPressure():
		fault("unit %s is a %s; an input needs a pressure or a temperature, or %% for a share", m.Unit.Name, q)
	case m.thermal() && q != units.Temperature:
		fault("a thermometer's resistance needs a unit of temperature, such as degC")
	}
	m.checkSignal(fault)
	if m.Valid != (Range{}) && !(m.Valid.Min < m.Valid.Max) {
		fault("valid range %g to %g is empty; the lower limit comes first", m.Valid.Min, m.Valid.Max)
	}
	if a := m.Atmosphere; a != 0 && !(a > 30e3 && a < 120e3) {
		fault("atmosphere %g Pa does not occur; it lies between 30000 and 120000 Pa", float64(a))
	}
	return errors.Join(faults...)
}

func (m *Mapping) checkWords(fault func(string, ...any)) {
	switch {
	case m.Type < Int16 || m.Type > Bit:
		fault("no type; one of int16, uint16, int32, uint32, float32, bit")
	case m.Type.Words() == 2 && (m.Order < ABCD || m.Order > DCBA):
		fault("%s needs a byte order: ABCD, BADC, CDAB or DCBA; `check --live` shows which fits", m.Type)
	case m.Type.Words() == 1 && m.Order != NoOrder:
		fault("%s takes one register and no byte order", m.Type)
	case m.Type == Bit && m.Unit.Quantity != units.NoQuantity:
		fault("a bit has no unit")
	}
}

func (m *Mapping) checkSignal(fault func(string, ...any)) {
	switch m.Signal {
	case Current, Ratiometric, Voltage:
		if m.Low == m.High {
			fault("the signal needs the ends of its span, low and high, in the point's unit")
		}
		if m.Signal == Voltage && !(m.LowVolt < m.HighVolt) {
			fault("voltage %g to %g V is no span; 0 to 10 V or 1 to 5 V are usual", m.LowVolt, m.HighVolt)
		}
	case NTC:
		m.Curve.check(fault)
	}
}

func (c *NTCCurve) check(fault func(string, ...any)) {
	if len(c.Table) == 0 {
		if !(c.R25 > 0) || !(c.B > 0) {
			fault("the thermistor needs R25 and B, or a table")
		}
		return
	}
	if len(c.Table) == 1 {
		fault("the thermistor's table needs two rows at least")
	}
	for i, row := range c.Table {
		if !(row.Ohm > 0) || !(row.Celsius > -zeroCelsius) {
			fault("row %d of the thermistor's table: %g °C, %g ohm is impossible", i+1, float64(row.Celsius), row.Ohm)
		}
		if i > 0 && !(row.Celsius > c.Table[i-1].Celsius && row.Ohm < c.Table[i-1].Ohm) {
			fault("row %d of the thermistor's table: temperature must rise and resistance fall from row to row", i+1)
		}
	}
}

func (m *Mapping) thermal() bool { return m.Signal == Pt100 || m.Signal == Pt1000 || m.Signal == NTC }
