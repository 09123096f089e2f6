package units

import (
	"fmt"
	"math"
	"strings"
)

// Quantity is what a unit measures.
type Quantity uint8

// Quantities that a Unit can measure, with the SI unit of Unit.SI.
const (
	NoQuantity            Quantity = iota
	AbsolutePressure               // Pa
	GaugePressure                  // Pa above the atmosphere of the place
	Temperature                    // °C
	TemperatureDifference          // K
	PressureDifference             // Pa; a pressure written without "a" or "g"
	Length                         // m
	Share                          // % of full
)

var quantityNames = [...]string{
	"no quantity", "absolute pressure", "gauge pressure", "temperature",
	"temperature difference", "pressure difference", "length", "share",
}

func (q Quantity) String() string {
	if int(q) < len(quantityNames) {
		return quantityNames[q]
	}
	return fmt.Sprintf("Quantity(%d)", uint8(q))
}

// Unit is a unit as written in recordings, configurations and command lines.
// The zero Unit is none, and converts to NaN.
type Unit struct {
	Name     string // canonical spelling, as the contract writes it: barg, psia, degC
	Quantity Quantity
	// SI value = (number + offset) × factor / divisor. Two numbers for the
	// scale keep 5/9 exact.
	offset, factor, divisor float64
}

// The factors are exact by definition (NIST SP 811, appendix B): the
// constants are evaluated exactly by the compiler and rounded once.
const (
	metresPerInch     = 0.0254
	metresPerFoot     = 0.3048
	standardGravity   = 9.80665 // m/s²
	pascalsPerPSI     = 0.45359237 * standardGravity / (metresPerInch * metresPerInch)
	mercury           = 13595.1 // kg/m³, conventional
	pascalsPerInHg    = mercury * standardGravity * metresPerInch
	pascalsPerMmHg    = mercury * standardGravity / 1000
	pascalsPerInWater = 1000 * standardGravity * metresPerInch // conventional
	kelvinAtZeroC     = 273.15
)

// pressureBases are the units that take "a" or "g", by canonical spelling. A
// base comes before any other that it starts with.
var pressureBases = []struct {
	name   string
	factor float64 // Pa
}{
	{"Pa", 1}, {"hPa", 100}, {"kPa", 1e3}, {"MPa", 1e6},
	{"mbar", 100}, {"bar", 1e5},
	{"psi", pascalsPerPSI},
	{"inHg", pascalsPerInHg}, {"mmHg", pascalsPerMmHg}, {"inH2O", pascalsPerInWater},
	{"kgf/cm2", standardGravity * 1e4}, {"kg/cm2", standardGravity * 1e4},
	{"Torr", 101325.0 / 760}, {"atm", 101325},
}

// plainUnits are all units other than pressures, under every spelling in
// lower case without spaces.
var plainUnits = []struct {
	spellings string
	unit      Unit
}{
	{"degc c °c celsius", degC},
	{"degf f °f fahrenheit", degF},
	{"k kelvin", Unit{"K", Temperature, -kelvinAtZeroC, 1, 1}},
	{"m metre metres meter meters", Unit{"m", Length, 0, 1, 1}},
	{"km", Unit{"km", Length, 0, 1000, 1}},
	{"% percent", Unit{"%", Share, 0, 1, 1}},
	{"ft foot feet", Unit{"ft", Length, 0, metresPerFoot, 1}},
}

var (
	degC = Unit{"degC", Temperature, 0, 1, 1}
	degF = Unit{"degF", Temperature, -32, 5, 9}

	kelvinDifference     = Unit{"K", TemperatureDifference, 0, 1, 1}
	fahrenheitDifference = Unit{"F", TemperatureDifference, 0, 5, 9}
)

// ParseUnit returns the unit of that name: the contract's spelling ("barg",
// "psia", "Paa", "degF") or a usual one ("kPa a", "bar(g)", "inHg vacuum",
// "°C", "psi gauge", "ft"). Capitals do not matter, except that MPa needs its
// M. K alone is a temperature here; see ParseDifference. A pressure without
// "a" or "g" is a PressureDifference.
func ParseUnit(name string) (Unit, error) {
	folded := foldUnit(name)
	for _, p := range plainUnits {
		for spelling := range strings.FieldsSeq(p.spellings) {
			if folded == spelling {
				return p.unit, nil
			}
		}
	}
	for _, base := range pressureBases {
		rest, found := strings.CutPrefix(folded, strings.ToLower(base.name))
		if !found || base.name == "MPa" && !strings.HasPrefix(strings.TrimSpace(name), "M") {
			continue
		}
		if base.name == "kg/cm2" {
			base.name = "kgf/cm2"
		}
		switch rest {
		case "":
			return Unit{base.name, PressureDifference, 0, base.factor, 1}, nil
		case "a", "abs", "absolute":
			return Unit{base.name + "a", AbsolutePressure, 0, base.factor, 1}, nil
		case "g", "gauge", "gage":
			return Unit{base.name + "g", GaugePressure, 0, base.factor, 1}, nil
		case "v", "vac", "vacuum":
			// Counted downwards from the atmosphere.
			return Unit{base.name + " vacuum", GaugePressure, 0, -base.factor, 1}, nil
		}
	}
	if folded == "" {
		return Unit{}, fmt.Errorf("no unit; known are %s", knownUnits)
	}
	return Unit{}, fmt.Errorf("unit %q is not known; known are %s", name, knownUnits)
}

// knownUnits is for error messages.
const knownUnits = "Paa, hPaa, kPaa, MPaa, mbara, bara, psia, inHga (absolute), the same with g (gauge), inHg vacuum, degC, degF, K, m, ft, %"

// foldUnit brings usual spellings of one unit together.
func foldUnit(name string) string {
	return strings.ToLower(unitFolder.Replace(name))
}

var unitFolder = strings.NewReplacer(" ", "", "\u00a0", "", "(", "", ")", "", "²", "2", "₂", "2", "º", "°", "℃", "°C", "℉", "°F")

// Known reports whether u is a unit at all.
func (u Unit) Known() bool { return u.Quantity != NoQuantity }

func (u Unit) String() string { return u.Name }

// IsPressure reports whether u measures absolute or gauge pressure.
func (u Unit) IsPressure() bool {
	return u.Quantity == AbsolutePressure || u.Quantity == GaugePressure
}

// SI returns number in the SI unit of u's quantity. Gauge stays gauge.
func (u Unit) SI(number float64) float64 {
	if !u.Known() {
		return math.NaN()
	}
	return (number + u.offset) * u.factor / u.divisor
}

// Number is the inverse of SI.
func (u Unit) Number(si float64) float64 {
	if !u.Known() {
		return math.NaN()
	}
	return si*u.divisor/u.factor - u.offset
}

// ToSI returns number as dewgap computes with it: Pa absolute, °C, K for a
// difference. A gauge pressure is above the given atmosphere, which no other
// quantity looks at.
func (u Unit) ToSI(number float64, atmosphere Pascal) float64 {
	if u.Quantity == GaugePressure {
		return u.SI(number) + float64(atmosphere)
	}
	return u.SI(number)
}

// FromSI is the inverse of ToSI.
func (u Unit) FromSI(si float64, atmosphere Pascal) float64 {
	if u.Quantity == GaugePressure {
		return u.Number(si - float64(atmosphere))
	}
	return u.Number(si)
}
