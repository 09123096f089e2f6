package plant

import (
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// tables answers from the daemon's reference tables.
type tables struct{ fluid *refrigerant.Fluid }

func lookup(name string) (properties, error) {
	f, err := refrigerant.Lookup(name)
	if err != nil {
		return nil, err
	}
	return tables{f}, nil
}

func (t tables) saturated(dew float64) (s saturation, err error) {
	p, err := t.fluid.DewPressure(units.Celsius(dew))
	if err != nil {
		return s, err
	}
	bubble, err := t.fluid.Bubble(p)
	if err != nil {
		return s, err
	}
	liquid, err := t.fluid.SaturatedLiquid(bubble)
	if err != nil {
		return s, err
	}
	gas, err := t.fluid.SaturatedVapour(units.Celsius(dew))
	if err != nil {
		return s, err
	}
	s.pressure, s.glide = float64(p), max(dew-float64(bubble), 0)
	s.hLiquid, s.rhoLiq, s.rhoGas = liquid.Enthalpy, liquid.Density, gas.Density
	return s, nil
}

func (t tables) gas(dew, superheat float64) (h, s float64, err error) {
	if superheat == 0 {
		state, err := t.fluid.SaturatedVapour(units.Celsius(dew))
		return state.Enthalpy, state.Entropy, err
	}
	p, err := t.fluid.DewPressure(units.Celsius(dew))
	if err != nil {
		return 0, 0, err
	}
	state, err := t.fluid.Vapour(p, units.Celsius(dew+superheat))
	return state.Enthalpy, state.Entropy, err
}
