package superheat

import (
	"errors"
	"math"

	"dewgap/analyze/units"
)

// chart is a dew line through two points of ln p against T, near enough to
// R448A to test filters with; its values are invented, not a refrigerant's.
type chart struct{}

const (
	chartRef   = 159_000.0 // Pa at −30 °C
	chartSlope = 24.6      // K for each unit of ln p
)

func (chart) Dew(p units.Pascal) (units.Celsius, error) {
	if p < 10_000 || p > 3e6 {
		return units.Celsius(math.NaN()), errors.New("outside the chart")
	}
	return units.Celsius(-30 + chartSlope*math.Log(float64(p)/chartRef)), nil
}
func (chart) DewSlope(p units.Pascal) (float64, error) {
	return chartSlope / float64(p), nil
}
func (chart) Uncertainty() units.Kelvin { return 0.1 }
