package sensorcheck

import (
	"math"

	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

// Remedy is the change of one key of the site file that puts an input right.
type Remedy struct {
	Key   string // key of the input in the site file: unit, scale, type; refrigerant of its group
	Value string // what it is to become; empty where only the direction is known
	// Factor is what the configured scale is to be multiplied by; 0 where scale
	// stays as it is.
	Factor float64
}

// Misconfiguration is a mistake of configuration or wiring that explains an
// input which cannot be right as it is read.
type Misconfiguration struct {
	Point  int           // index of the input in the site's points
	Other  int           // the input that it was exchanged with; −1 where none was
	Kind   evidence.Code // the mistake
	Remedy Remedy
	Share  float64 // of the likelihood of all mistakes that explain the input, 0 to 1
	Shown  float64 // what the input reads, in SI
	Right  float64 // what it reads with the mistake put right, in SI
	Bias   bias    // which way the input reads wrong
}

// noOther is the index of an input that a mistake does not concern.
const noOther = -1

// hypothesis is one mistake about one input, as a ledger follows it. It is
// refuted once and for good: a unit cannot be wrong only sometimes.
type hypothesis struct {
	mistake
	target  target
	wrong   float64 // mean violation of the laws that the input is in, as it is read
	right   float64 // the same with the mistake put right
	strange float64 // mean distance from what is most usual, with the mistake put right
	weight  int64   // ns of evidence behind both
	against int64   // ns in which with the mistake put right something was impossible
	refuted bool
}

// target is the quantity that a hypothesis changes.
type target struct {
	point int
	kind  inputKind
	index int // of the compressor or circuit; anyCompressor for the group's
	in    Input
}

// mistake is what is wrong, and how often it is made.
type mistake struct {
	code   evidence.Code
	remap  func(shown float64) float64 // SI to SI; nil where two inputs are exchanged
	other  int                         // position of the other input among the targets; −1: none
	remedy Remedy
	prior  float64 // natural logarithm of how much rarer it is than the commonest; common practice, no source
}

// Priors of mistakes: natural logarithms, larger is rarer. Common practice, no
// source.
const (
	commonMistake = 0.0
	usualMistake  = 0.3
	rareMistake   = 1.0
	rarerMistake  = 1.6
)

// pressureMistakes returns the usual mistakes about a pressure that the site
// file reads in the given unit; where that is not known, about one in bar or psi.
func pressureMistakes(configured units.Unit, air units.Pascal) []mistake {
	if !configured.IsPressure() {
		bar, psi := unitNamed("barg"), unitNamed("psig")
		return []mistake{
			{code: evidence.GaugeTakenForAbsolute, other: noOther, remap: func(p float64) float64 { return p + float64(air) }, remedy: Remedy{Key: "unit", Value: "gauge"}, prior: commonMistake},
			{code: evidence.AbsoluteTakenForGauge, other: noOther, remap: func(p float64) float64 { return p - float64(air) }, remedy: Remedy{Key: "unit", Value: "absolute"}, prior: commonMistake},
			{code: evidence.PsiTakenForBar, other: noOther, remap: reread(bar, psi, air), remedy: Remedy{Key: "unit", Value: "psig"}, prior: usualMistake},
			{code: evidence.BarTakenForPsi, other: noOther, remap: reread(psi, bar, air), remedy: Remedy{Key: "unit", Value: "barg"}, prior: usualMistake},
			{code: evidence.KilopascalTakenForBar, other: noOther, remap: reread(bar, unitNamed("kPag"), air), remedy: Remedy{Key: "unit", Value: "kPag"}, prior: usualMistake},
			{code: evidence.PressureTooLarge, other: noOther, remap: scaled(bar, 0.1, air), remedy: Remedy{Key: "scale", Factor: 0.1}, prior: rareMistake},
			{code: evidence.PressureTooSmall, other: noOther, remap: scaled(bar, 10, air), remedy: Remedy{Key: "scale", Factor: 10}, prior: rareMistake},
		}
	}
	family, reference := configured.Name[:len(configured.Name)-1], configured.Name[len(configured.Name)-1:]
	otherReference, code := "g", evidence.GaugeTakenForAbsolute
	if reference == "g" {
		otherReference, code = "a", evidence.AbsoluteTakenForGauge
	}
	all := []mistake{{code: code, other: noOther, remap: reread(configured, unitNamed(family+otherReference), air),
		remedy: Remedy{Key: "unit", Value: family + otherReference}, prior: commonMistake}}
	for _, other := range []string{"bar", "psi", "kPa"} {
		if other == family {
			continue
		}
		for _, r := range []string{reference, otherReference} {
			prior := usualMistake
			if r != reference {
				prior = rareMistake // two mistakes at once
			}
			all = append(all, mistake{code: unitMistake(other, family), other: noOther, remap: reread(configured, unitNamed(other+r), air),
				remedy: Remedy{Key: "unit", Value: other + r}, prior: prior})
		}
	}
	return append(all,
		mistake{code: evidence.PressureTooLarge, other: noOther, remap: scaled(configured, 0.1, air), remedy: Remedy{Key: "scale", Factor: 0.1}, prior: rareMistake},
		mistake{code: evidence.PressureTooSmall, other: noOther, remap: scaled(configured, 10, air), remedy: Remedy{Key: "scale", Factor: 10}, prior: rareMistake})
}

// unitMistake returns the code of a pressure in one unit taken for one in
// another.
func unitMistake(is, takenFor string) evidence.Code {
	switch {
	case is == "psi" && takenFor == "bar":
		return evidence.PsiTakenForBar
	case is == "bar" && takenFor == "psi":
		return evidence.BarTakenForPsi
	case is == "kPa" && takenFor == "bar":
		return evidence.KilopascalTakenForBar
	}
	return evidence.PressureInAnotherUnit
}

// temperatureMistakes returns the usual mistakes about a temperature that the
// site file reads in the given unit; where that is not known, in °C.
func temperatureMistakes(configured units.Unit) []mistake {
	celsius, fahrenheit, kelvin := unitNamed("degC"), unitNamed("degF"), unitNamed("K")
	if configured.Quantity != units.Temperature {
		configured = celsius
	}
	var all []mistake
	add := func(code evidence.Code, to units.Unit, prior float64) {
		if to.Name != configured.Name {
			all = append(all, mistake{code: code, other: noOther, remap: reread(configured, to, 0), remedy: Remedy{Key: "unit", Value: to.Name}, prior: prior})
		}
	}
	add(evidence.FahrenheitTakenForCelsius, fahrenheit, commonMistake)
	add(evidence.CelsiusTakenForFahrenheit, celsius, commonMistake)
	add(evidence.KelvinTakenForCelsius, kelvin, usualMistake)
	return append(all,
		mistake{code: evidence.TemperatureTooLarge, other: noOther, remap: scaled(configured, 0.1, 0), remedy: Remedy{Key: "scale", Factor: 0.1}, prior: usualMistake},
		mistake{code: evidence.TemperatureTooSmall, other: noOther, remap: scaled(configured, 10, 0), remedy: Remedy{Key: "scale", Factor: 10}, prior: usualMistake},
		mistake{code: evidence.SignLost, other: noOther, remap: scaled(configured, -1, 0), remedy: Remedy{Key: "scale", Factor: -1}, prior: rareMistake},
		mistake{code: evidence.SignedTakenForUnsigned, other: noOther, remap: wrapped(configured), remedy: Remedy{Key: "type", Value: "int16"}, prior: usualMistake})
}

// reread returns what a number read in one unit is in another, both in SI.
func reread(as, is units.Unit, air units.Pascal) func(float64) float64 {
	return func(shown float64) float64 { return is.ToSI(as.FromSI(shown, air), air) }
}

// scaled returns what a number in a unit is when it is multiplied by factor.
func scaled(in units.Unit, factor float64, air units.Pascal) func(float64) float64 {
	return func(shown float64) float64 { return in.ToSI(in.FromSI(shown, air)*factor, air) }
}

// wrapped returns what a negative 16-bit number is that was read without its
// sign, at the usual scale of a tenth.
func wrapped(in units.Unit) func(float64) float64 {
	const range16 = 6553.6
	return func(shown float64) float64 {
		number := in.FromSI(shown, 0)
		if number < range16/2 || number > range16 {
			return math.NaN()
		}
		return in.ToSI(number-range16, 0)
	}
}

// unitNamed returns a unit that units knows by that name.
func unitNamed(name string) units.Unit {
	u, err := units.ParseUnit(name)
	if err != nil {
		return units.Unit{}
	}
	return u
}
