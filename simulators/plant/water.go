package plant

import "math"

func sqrt(v float64) float64 { return math.Sqrt(v) } // exactly rounded on every machine

const (
	airHeat     = 1006.0  // J/(kg K), dry air, from memory
	vapourHeat  = 2.501e6 // J/kg, water at 0 °C, from memory
	atmosphere  = 101325.0
	frostGrain  = 200.0 // kg/m³, frost on a coil (common practice: 100–300)
	thinFrost   = 0.15  // kg/m², what no longer covers the fins while it melts (no source)
	frostThread = 0.15  // W/(m K), frost of that density (common practice: 0.1–0.2)
)

// humidity is the humidity ratio of saturated air over its temperature, kg/kg:
// over ice below 0 °C. Formula of Magnus with the coefficients of Sonntag
// (1990), from memory; within 0.5 % of the tables here.
type humidity struct{ rows [221]float64 } // −60 … 50 °C by 0.5 K

func newHumidity() *humidity {
	h := &humidity{}
	for i := range h.rows {
		t := -60 + float64(0.5*float64(i))
		p := float64(611.2 * math.Exp(17.62*t/(243.12+t)))
		if t < 0 {
			p = float64(611.2 * math.Exp(22.46*t/(272.62+t)))
		}
		h.rows[i] = nineDigits(0.622 * p / (atmosphere - p))
	}
	return h
}

func (h *humidity) at(t float64) float64 {
	x := min(max(float64((t+60)*2), 0), 219.5)
	i := int(x)
	return h.rows[i] + float64((x-float64(i))*(h.rows[i+1]-h.rows[i]))
}
