package plant_test

import (
	"testing"

	"dewgap/simulators/plant"
)

// Discharge temperatures at a condensing dew of 40 °C with 11 K and with 0 K of
// superheat, and the K lost for each 1 % of liquid: computed with an open
// reference equation of state for an isentropic efficiency of 0.65 and no heat
// lost. A real machine loses some to the room and is less efficient far from its
// best pressure ratio; common practice, no source: within 8 K of that.
func TestDischargeTemperatureAgainstAReference(t *testing.T) {
	for _, c := range []struct {
		refrigerant         string
		dew, dry11, dry0, k float64
	}{
		{"R134a", -10, 75, 63, 2.6},
		{"R448A", -10, 83, 71, 2.5},
		{"R404A", -30, 81, 69, 2.3},
		{"R290", -10, 74, 62, 2.4},
		{"R448A", -30, 103, 90, 3.2},
		{"R407F", -30, 113, 99, 3.5},
	} {
		at := func(superheat, liquid float64) float64 {
			v, err := plant.Discharge(c.refrigerant, "air_cooled_semi_hermetic", c.dew, 40, superheat, liquid)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		near := func(what string, v, want, within float64) {
			t.Helper()
			if v < want-within || v > want+within {
				t.Errorf("%s at %g °C, %s: %.1f, want %g ± %g", c.refrigerant, c.dew, what, v, want, within)
			}
		}
		near("dry 11 K", at(11, 0), c.dry11, 8)
		near("dry 0 K", at(0, 0), c.dry0, 8)
		// nine tenths of it reach the cylinders of an air-cooled machine
		near("K for 1 %", (at(0, 0)-at(0, 0.04))/4, c.k*0.9, 0.25*c.k)
	}
}

// The gas of a header that mixes with 1 % of liquid loses 2.2–2.7 K: latent heat
// over the heat capacity of gas (reference equation of state); and up to 0.4 K
// more, because what boils is warmed as well.
func TestSuperheatThatOnePercentOfLiquidCosts(t *testing.T) {
	for _, c := range []struct {
		refrigerant string
		dew         float64
	}{{"R448A", -30}, {"R448A", -10}, {"R404A", -30}, {"R134a", -10}, {"R513A", -10}} {
		k, err := plant.CostOfLiquid(c.refrigerant, c.dew)
		if err != nil {
			t.Fatal(err)
		}
		if k < 2.2 || k > 2.7+0.4 {
			t.Errorf("%s at %g °C: %.2f K for 1 %%, want 2.2 to 3.1", c.refrigerant, c.dew, k)
		}
	}
}
