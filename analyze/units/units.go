// Package units holds the quantities that dewgap computes with, as types, so
// that a gauge pressure cannot be passed for an absolute one, nor a
// temperature for a difference of temperatures; and their way from and to text.
//
// It may import only the standard library's pure packages (math, strconv,
// strings, errors, fmt, time for Duration). Anything that reads a file, a
// clock or a socket must never come in: analysis and the simulators both stand
// on this package.
package units

// Pascal is an absolute pressure in Pa.
type Pascal float64

// GaugePascal is a pressure above the atmosphere of the place, in Pa.
type GaugePascal float64

// Celsius is a temperature in °C (ITS-90).
type Celsius float64

// Kelvin is a difference of two temperatures in K; superheat is one.
type Kelvin float64

// Metre is a geopotential altitude in m. Geometric altitude, as on a map, is
// larger by 0.02 % at 1000 m, which is 10 Pa of air pressure and never matters here.
type Metre float64

// StandardAtmosphere is the pressure of the standard atmosphere at sea level,
// exact by definition (ISO 2533).
const StandardAtmosphere Pascal = 101325

// Absolute returns the absolute pressure of g where the air has pressure
// atmosphere.
func (g GaugePascal) Absolute(atmosphere Pascal) Pascal { return Pascal(g) + atmosphere }

// Gauge returns p as a transmitter open to air of pressure atmosphere shows it.
func (p Pascal) Gauge(atmosphere Pascal) GaugePascal { return GaugePascal(p - atmosphere) }

// Above returns the difference t − base in K.
func (t Celsius) Above(base Celsius) Kelvin { return Kelvin(t - base) }

// Plus returns the temperature d above t.
func (t Celsius) Plus(d Kelvin) Celsius { return t + Celsius(d) }
