package units

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// System is the system of units that people are shown. Machines always get SI.
type System uint8

// Systems of units. The zero System is SI.
const (
	SI System = iota
	US
)

// ParseSystem reads "si" or "us".
func ParseSystem(text string) (System, error) {
	switch text {
	case "si":
		return SI, nil
	case "us":
		return US, nil
	}
	return SI, fmt.Errorf("units %q: want \"si\" or \"us\"", text)
}

func (s System) String() string {
	if s == US {
		return "us"
	}
	return "si"
}

var (
	barAbsolute = Unit{"bara", AbsolutePressure, 0, 1e5, 1}
	barGauge    = Unit{"barg", GaugePressure, 0, 1e5, 1}
	psiAbsolute = Unit{"psia", AbsolutePressure, 0, pascalsPerPSI, 1}
	psiGauge    = Unit{"psig", GaugePressure, 0, pascalsPerPSI, 1}
	inHgVacuum  = Unit{"inHg vacuum", GaugePressure, 0, -pascalsPerInHg, 1}
)

// TemperatureUnit, DifferenceUnit, GaugeUnit and AbsoluteUnit are the units
// that people of this system are shown.
func (s System) TemperatureUnit() Unit { return choose(s, degC, degF) }

// DifferenceUnit is of differences of temperature.
func (s System) DifferenceUnit() Unit { return choose(s, kelvinDifference, fahrenheitDifference) }

// GaugeUnit is of pressures above the atmosphere.
func (s System) GaugeUnit() Unit { return choose(s, barGauge, psiGauge) }

// AbsoluteUnit is of absolute pressures.
func (s System) AbsoluteUnit() Unit { return choose(s, barAbsolute, psiAbsolute) }

func choose(s System, si, us Unit) Unit {
	if s == US {
		return us
	}
	return si
}

// unknown is what people are shown for a value that is not known.
const unknown = "unknown"

// Temperature writes t: "-6.0 °C", "21.2 °F".
func (s System) Temperature(t Celsius) string { return s.TemperatureTo(t, 1) }

// TemperatureTo writes t with so many decimals.
func (s System) TemperatureTo(t Celsius, digits int) string {
	return format(s.TemperatureUnit().Number(float64(t)), digits, choose(s, Unit{Name: "°C"}, Unit{Name: "°F"}).Name)
}

// Difference writes d: "11.0 K", "19.8 °F".
func (s System) Difference(d Kelvin) string { return s.DifferenceTo(d, 1) }

// DifferenceTo writes d with so many decimals.
func (s System) DifferenceTo(d Kelvin, digits int) string {
	return format(s.DifferenceUnit().Number(float64(d)), digits, choose(s, Unit{Name: "K"}, Unit{Name: "°F"}).Name)
}

// GaugePressure writes p above the atmosphere: "1.80 barg", "26.1 psig"; in
// the US below the atmosphere "10.0 inHg vacuum".
func (s System) GaugePressure(p, atmosphere Pascal) string {
	unit := s.GaugeUnit()
	if s == US && p < atmosphere {
		unit = inHgVacuum
	}
	return format(unit.FromSI(float64(p), atmosphere), s.pressureDigits(), unit.Name)
}

// AbsolutePressure writes p: "2.81 bara", "40.8 psia".
func (s System) AbsolutePressure(p Pascal) string {
	return format(s.AbsoluteUnit().Number(float64(p)), s.pressureDigits(), s.AbsoluteUnit().Name)
}

// PressureIn writes p in a unit of gauge or absolute pressure, as the gauge or
// the transmitter itself shows it: "182 kPag", "2.81 bara". Below the
// atmosphere psig becomes inches of mercury of vacuum in the US. A unit of
// anything else, or none, gives GaugePressure.
func (s System) PressureIn(u Unit, p, atmosphere Pascal) string {
	if !u.IsPressure() || u.factor < 0 || s == US && u.Name == psiGauge.Name {
		return s.GaugePressure(p, atmosphere)
	}
	digits := max(0, math.Ceil(math.Log10(u.factor/u.divisor/pressureResolution)))
	return format(u.FromSI(float64(p), atmosphere), int(digits), u.Name)
}

// pressureResolution in Pa is what the last digit of a pressure in a unit that
// no system of units chose is worth at most: 0.01 bar.
const pressureResolution = 1000

// PressureDifference writes a difference of pressures: "0.25 bar", "3.6 psi".
func (s System) PressureDifference(p Pascal) string {
	return format(s.AbsoluteUnit().Number(float64(p)), s.pressureDigits(), choose(s, Unit{Name: "bar"}, Unit{Name: "psi"}).Name)
}

func (s System) pressureDigits() int {
	if s == US {
		return 1
	}
	return 2
}

// Length writes m: "120 m", "394 ft".
func (s System) Length(m Metre) string {
	if s == US {
		return format(float64(m)/metresPerFoot, 0, "ft")
	}
	return format(float64(m), 0, "m")
}

// Span writes a length of time as people write it: "45 s", "9 min 20 s",
// "12 min", "2 h 05 min", "4 days". Beyond ten minutes seconds are rounded away.
func Span(d time.Duration) string {
	seconds := int64(d.Round(time.Second) / time.Second)
	minutes := int64(d.Round(time.Minute) / time.Minute)
	switch {
	case seconds < 120:
		return strconv.FormatInt(seconds, 10) + " s"
	case seconds < 600 && seconds%60 != 0:
		return fmt.Sprintf("%d min %02d s", seconds/60, seconds%60)
	case minutes < 120:
		return strconv.FormatInt(minutes, 10) + " min"
	case minutes < 48*60:
		return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
	}
	return strconv.FormatFloat(d.Hours()/24, 'f', 0, 64) + " days"
}

func format(number float64, digits int, unit string) string {
	if math.IsNaN(number) {
		return unknown
	}
	text := strconv.FormatFloat(number, 'f', digits, 64)
	if zero := strconv.FormatFloat(0, 'f', digits, 64); text == "-"+zero {
		text = zero // people read "-0.0" as a mistake
	}
	return text + " " + unit
}
