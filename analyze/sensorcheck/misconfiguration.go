package sensorcheck

import (
	"math"

	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// misconfiguration is one mistake of wiring or configuration, and what a suction
// is with it put right.
type misconfiguration struct {
	code     evidence.Code
	pressure units.Pascal
	dew      units.Celsius // of that pressure; NaN where the refrigerant has none
	line     units.Celsius
}

const psi = 6894.757 // Pa (NIST SP 811)

// pressureMisconfigurations are the usual mistakes about a suction pressure p,
// the commonest first, put right one at a time; t is the line temperature.
func (c *Checker) pressureMisconfigurations(p units.Pascal, t units.Celsius) [4]misconfiguration {
	air := c.group.Atmosphere
	gauge := p - air
	all := [4]misconfiguration{
		{code: evidence.GaugeTakenForAbsolute, pressure: p + air},
		{code: evidence.AbsoluteTakenForGauge, pressure: p - air},
		{code: evidence.BarTakenForPsi, pressure: air + gauge*1e5/psi},
		{code: evidence.PsiTakenForBar, pressure: air + gauge*psi/1e5},
	}
	for i := range all {
		all[i].dew, all[i].line = c.dewOf(all[i].pressure), t
	}
	return all
}

// lineMisconfigurations are the usual mistakes about a line temperature t, put
// right one at a time; p is the suction pressure.
func (c *Checker) lineMisconfigurations(p units.Pascal, t units.Celsius) [2]misconfiguration {
	dew := c.dewOf(p)
	return [2]misconfiguration{
		{evidence.FahrenheitTakenForCelsius, p, dew, (t - 32) / 1.8},
		{evidence.CelsiusTakenForFahrenheit, p, dew, t*1.8 + 32},
	}
}

// superheat returns the superheat with the mistake put right, in K.
func (m *misconfiguration) superheat() float64 { return float64(m.line.Above(m.dew)) }

// isOfAtmosphere reports whether the mistake is gauge for absolute or absolute
// for gauge.
func (m *misconfiguration) isOfAtmosphere() bool {
	return m.code == evidence.GaugeTakenForAbsolute || m.code == evidence.AbsoluteTakenForGauge
}

// isOfLine reports whether the mistake is about the line temperature.
func (m *misconfiguration) isOfLine() bool {
	return m.code == evidence.FahrenheitTakenForCelsius || m.code == evidence.CelsiusTakenForFahrenheit
}

// as returns the mistake as a part of evidence, with the corrected reading.
func (m *misconfiguration) as(part string) []evidence.Value {
	corrected := evidence.Temperature("corrected_dew", m.dew)
	if m.isOfLine() {
		corrected = evidence.Temperature("corrected_line", m.line)
	}
	return []evidence.Value{evidence.Part(part, m.code), corrected}
}

// first returns the first of candidates that fits; nil where none does.
func first(candidates []misconfiguration, fits func(*misconfiguration) bool) *misconfiguration {
	for i := range candidates {
		if fits(&candidates[i]) {
			return &candidates[i]
		}
	}
	return nil
}

// explain returns m as a part of evidence; where there is none, otherwise.
func explain(part string, m *misconfiguration, otherwise evidence.Code) []evidence.Value {
	if m == nil {
		return []evidence.Value{evidence.Part(part, otherwise)}
	}
	return m.as(part)
}

// dewOf returns the dew temperature of p; NaN where the refrigerant has none.
func (c *Checker) dewOf(p units.Pascal) units.Celsius {
	t, err := c.group.Fluid.Dew(p)
	if err != nil {
		return units.Celsius(math.NaN())
	}
	return t
}

// Superheat of a running compressor usually lies between these. Common
// practice, no source.
const (
	minUsualSuperheat = 3.0  // K
	maxUsualSuperheat = 25.0 // K
)

// isUsual reports whether a running compressor has a usual superheat with the
// mistake put right.
func (m *misconfiguration) isUsual() bool {
	return m.superheat() > minUsualSuperheat && m.superheat() < maxUsualSuperheat
}
