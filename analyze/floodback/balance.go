package floodback

import (
	"math"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// Vapour is what the energy balance needs of a refrigerant.
type Vapour interface {
	Vapour(p units.Pascal, t units.Celsius) (refrigerant.State, error)
	TemperatureAtEntropy(p units.Pascal, entropy float64) (units.Celsius, error)
	TemperatureAtEnthalpy(p units.Pascal, enthalpy float64) (units.Celsius, error)
	LatentHeat(p units.Pascal) (float64, error)
}

// compression is an isentropic compression of dry gas, the yardstick that a
// machine's efficiency is measured against.
type compression struct {
	inlet refrigerant.State
	end   units.Celsius // where an isentropic compression ends
	work  float64       // J/kg, isentropic
}

// compress returns the isentropic compression from suction pressure ps and
// temperature ts to discharge pressure pd; false where the tables do not reach.
func compress(v Vapour, ps units.Pascal, ts units.Celsius, pd units.Pascal) (c compression, ok bool) {
	var err error
	if c.inlet, err = v.Vapour(ps, ts); err != nil {
		return c, false
	}
	if c.end, err = v.TemperatureAtEntropy(pd, c.inlet.Entropy); err != nil {
		return c, false
	}
	out, err := v.Vapour(pd, c.end)
	if err != nil {
		return c, false
	}
	c.work = out.Enthalpy - c.inlet.Enthalpy
	return c, c.work > 0
}

// efficiency returns the isentropic efficiency that explains discharge
// temperature td, heat losses folded in; NaN where the tables do not reach.
func (c *compression) efficiency(v Vapour, pd units.Pascal, td units.Celsius) float64 {
	out, err := v.Vapour(pd, td)
	if err != nil || out.Enthalpy <= c.inlet.Enthalpy {
		return math.NaN()
	}
	return c.work / (out.Enthalpy - c.inlet.Enthalpy)
}

const (
	// smallShare is the share of liquid that the loss of discharge temperature is
	// worked out for; it is not quite proportional, since gas takes up more heat
	// a kelvin the nearer it is to its dew.
	smallShare = 0.05
	// insideTable is added to a temperature that may be the dew temperature
	// itself, K: the tables of the vapour end there.
	insideTable = 0.01
	zeroCelsius = 273.15 // K
)

// discharge returns the temperature in °C that a machine of efficiency eta
// discharges at when what enters is dry, and by how many K that falls for each
// unit of liquid, by mass, in what enters. Liquid lowers the enthalpy that
// enters by its heat of evaporation Δh, and with it the entropy by Δh/T₁, which
// lowers the isentropic work by Δh·(T₂/T₁ − 1).
func (c *compression) discharge(v Vapour, ps, pd units.Pascal, eta float64) (dry, perLiquid float64, ok bool) {
	latent, err := v.LatentHeat(ps)
	if err != nil {
		return 0, 0, false
	}
	leaving := c.inlet.Enthalpy + c.work/eta
	t, err := v.TemperatureAtEnthalpy(pd, leaving)
	if err != nil {
		return 0, 0, false
	}
	toBoil := latent + c.inlet.Cp*float64(c.inlet.Superheat)
	lessWork := ((float64(c.end)+zeroCelsius)/(float64(c.inlet.Temperature)+zeroCelsius) - 1) / eta
	wet, err := v.TemperatureAtEnthalpy(pd, leaving-smallShare*toBoil*(1+lessWork))
	if err != nil { // it would come out wet: as far as the dew line, then
		dew, saturated := v.Vapour(pd, t)
		if saturated != nil {
			return 0, 0, false
		}
		return float64(t), toBoil * (1 + lessWork) / dew.Cp, true
	}
	return float64(t), float64(t-wet) / smallShare, true
}
