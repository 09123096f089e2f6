package units

import (
	"fmt"
	"math"
)

// The lowest layer of the standard atmosphere, ISO 2533:1975: 15 °C at sea
// level, falling by 6.5 K/km of geopotential altitude.
const (
	seaLevelKelvin  = 288.15
	lapseRate       = -0.0065   // K/m
	airGasConstant  = 287.05287 // J/(kg K)
	airExponent     = -standardGravity / (lapseRate * airGasConstant)
	lowestAltitude  = Metre(-2000)
	highestAltitude = Metre(6000) // above the highest town on earth
)

// Atmosphere returns the pressure of the standard atmosphere (ISO 2533) at an
// altitude of -2000 to 6000 m.
func Atmosphere(altitude Metre) (Pascal, error) {
	if !(altitude >= lowestAltitude && altitude <= highestAltitude) {
		return Pascal(math.NaN()), fmt.Errorf("altitude %.0f m: want %.0f to %.0f m", altitude, lowestAltitude, highestAltitude)
	}
	return StandardAtmosphere * Pascal(math.Pow(1+lapseRate/seaLevelKelvin*float64(altitude), airExponent)), nil
}

// Altitude is the inverse of Atmosphere: where the standard atmosphere has
// that pressure.
func Altitude(air Pascal) (Metre, error) {
	altitude := Metre(seaLevelKelvin / lapseRate * (math.Pow(float64(air/StandardAtmosphere), 1/airExponent) - 1))
	// Rounding must not shut out the ends.
	const slack = 1e-6
	if !(altitude >= lowestAltitude-slack && altitude <= highestAltitude+slack) {
		return Metre(math.NaN()), fmt.Errorf("air pressure %.1f hPa is not of an altitude of %.0f to %.0f m", float64(air)/100, lowestAltitude, highestAltitude)
	}
	return altitude, nil
}
