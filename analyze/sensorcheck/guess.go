package sensorcheck

import "dewgap/analyze/units"

// guess is one mistake of wiring or configuration, and what the readings would
// be without it.
type guess struct {
	pressure    units.Pascal
	pipe        units.Celsius
	says, check string
}

const psi = 6894.757 // Pa (NIST SP 811)

// guesses are the usual mistakes, the usual first, undone one at a time.
func (c *Checker) guesses(p units.Pascal, t units.Celsius) []guess {
	air := c.group.Atmosphere
	gauge := p - air
	return []guess{
		{p + air, t, "a gauge pressure taken for an absolute one", "check the transmitter's label and the unit in the configuration (barg or bara)"},
		{p - air, t, "an absolute pressure taken for a gauge one", "check the transmitter's label and the unit in the configuration (bara or barg)"},
		{air + gauge*1e5/psi, t, "bar taken for psi", "check the unit of the suction pressure"},
		{air + gauge*psi/1e5, t, "psi taken for bar", "check the unit of the suction pressure"},
		{p, (t - 32) / 1.8, "degrees Fahrenheit taken for Celsius", "check the unit of the suction-line temperature"},
		{p, t*1.8 + 32, "degrees Celsius taken for Fahrenheit", "check the unit of the suction-line temperature"},
	}
}
