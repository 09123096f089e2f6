package floodback

import (
	"math"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

// Vapour is what wetness needs of a refrigerant.
type Vapour interface {
	Vapour(p units.Pascal, t units.Celsius) (refrigerant.State, error)
	TemperatureAtEntropy(p units.Pascal, entropy float64) (units.Celsius, error)
	TemperatureAtEnthalpy(p units.Pascal, enthalpy float64) (units.Celsius, error)
	LatentHeat(p units.Pascal) (float64, error)
}

// ideal returns the enthalpy and entropy of the gas that enters, and of an
// isentropic compression to pd.
func ideal(v Vapour, ps float64, ts, pd float64) (h1, s1, h2s, t2s float64, ok bool) {
	in, err := v.Vapour(units.Pascal(ps), units.Celsius(ts))
	if err != nil {
		return
	}
	t, err := v.TemperatureAtEntropy(units.Pascal(pd), in.Entropy)
	if err != nil {
		return
	}
	out, err := v.Vapour(units.Pascal(pd), t)
	if err != nil {
		return
	}
	return in.Enthalpy, in.Entropy, out.Enthalpy, float64(t), true
}

// efficiency returns the isentropic efficiency that explains discharge
// temperature td, heat losses folded in; NaN where the tables do not reach.
func efficiency(v Vapour, ps, ts, pd, td float64) float64 {
	h1, _, h2s, _, ok := ideal(v, ps, ts, pd)
	out, err := v.Vapour(units.Pascal(pd), units.Celsius(td))
	if !ok || err != nil || out.Enthalpy <= h1 {
		return math.NaN()
	}
	return (h2s - h1) / (out.Enthalpy - h1)
}

// expected returns the discharge temperature of dry saturated gas at suction
// dew, and by how many K it falls for each unit of liquid mass fraction, for a
// machine of efficiency eta. Liquid lowers the enthalpy that enters by the
// latent heat, and the work by the entropy that goes with it.
func expected(v Vapour, ps, dew, pd, eta float64) (dry, perLiquid float64, ok bool) {
	h1, _, h2s, t2s, ok := ideal(v, ps, dew+0.01, pd)
	latent, err := v.LatentHeat(units.Pascal(ps))
	if !ok || err != nil {
		return 0, 0, false
	}
	h2 := h1 + (h2s-h1)/eta
	t, err := v.TemperatureAtEnthalpy(units.Pascal(pd), h2)
	if err != nil {
		return 0, 0, false
	}
	t1, err := v.TemperatureAtEnthalpy(units.Pascal(pd), h2-3000)
	if err != nil {
		return 0, 0, false
	}
	cp := 3000 / max(float64(t-t1), 0.5)
	ratio := (t2s + 273.15) / (dew + 273.15)
	return float64(t), latent * (1 + (ratio-1)/eta) / cp, true
}
