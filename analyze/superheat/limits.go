package superheat

import (
	"math"

	"dewgap/analyze/reading"
)

// limits are what no working sensor of a role can exceed. They are wide: they
// catch a wrong unit, an open wire and a sentinel, not a bad day. All values
// from memory of what plants do; common practice, no source.
type limits struct {
	low, high float64 // Pa absolute, °C, or 0/1
	jump      float64 // K; a change of more than jump + rate·dt needs confirming; 0: no such rule
	rate      float64 // K/s
	// Smallest sudden step worth remembering: step in K, or stepShare of a pressure.
	step, stepShare float64
}

func limitsOf(role reading.Role) limits {
	switch role {
	case reading.SuctionPressure, reading.DischargePressure:
		// Below 3 kPa absolute no compressor can pull; 16 MPa is above a
		// transcritical R744 discharge. Pressure has no jump rule: the median
		// deals with spikes, and a stage really is a step.
		return limits{low: 3e3, high: 16e6, stepShare: 0.06}
	case reading.SuctionTemperature:
		return limits{low: -100, high: 120, jump: 20, rate: 3, step: 2}
	case reading.DischargeTemperature:
		return limits{low: -80, high: 250, jump: 30, rate: 5, step: 2}
	case reading.SumpTemperature:
		return limits{low: -80, high: 180, jump: 20, rate: 3, step: 2}
	case reading.CoilOutletTemperature, reading.CoilInletTemperature:
		return limits{low: -100, high: 110, jump: 20, rate: 3, step: 2}
	case reading.AirTemperature, reading.AmbientTemperature:
		return limits{low: -70, high: 80, jump: 15, rate: 1, step: 2}
	case reading.Speed:
		return limits{low: 0, high: 300} // a drive may run above its nominal speed
	default: // switches
		return limits{low: 0, high: 1}
	}
}

// isSwitch reports whether the limits are those of an input that is 0 or 1.
func (l *limits) isSwitch() bool { return l.high == 1 }

// isSentinel reports whether x is a number inside the limits that controllers
// send for an open or short probe (from memory). A true −50.0 °C passes, because it is not reached by a jump.
func (l *limits) isSentinel(x float64) bool {
	if l.jump == 0 || x > 85.1 || (x > -49.9 && x < 84.9) {
		return false
	}
	for _, v := range [...]float64{-50, -60, -99, -99.9, 85} {
		if math.Abs(x-v) < 1e-6 {
			return true
		}
	}
	return false
}
