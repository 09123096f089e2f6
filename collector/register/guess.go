package register

import (
	"math"

	"dewgap/analyze/units"
)

// Guess is one way to read raw words.
type Guess struct {
	Type  Type
	Order Order // NoOrder for one word
	Scale float64
	// Number is what the words mean before Scale.
	Number float64
	// Value is in SI: Pa absolute, °C, or 0/1.
	Value float64
}

// Guesses lists every plausible way to read words that came from the address
// of a value mapped by m: all types, byte orders and powers of ten that give a
// pressure, temperature or switch a refrigeration system can have. m's unit,
// signal and limits count; its type, order and scale do not. One or two words.
func Guesses(m Mapping, words []uint16) []Guess {
	var found []Guess
	try := func(t Type, o Order) {
		for _, scale := range []float64{1, 0.1, 0.01, 0.001} {
			if t == Float32 && scale != 1 {
				break
			}
			m := m
			m.Type, m.Order, m.Scale, m.Offset = t, o, scale, 0
			number, fault := m.decode(words[:t.Words()])
			if fault.Failed() || t == Float32 && number != 0 && math.Abs(number) < 1e-6 {
				return
			}
			value, fault := m.engineering(number)
			if !fault.Failed() && m.plausible(value) && !contains(found, number, scale) {
				found = append(found, Guess{t, o, scale, number, value})
			}
			if number == 0 || m.Unit.Quantity == units.NoQuantity {
				return // other scales give the same
			}
		}
	}
	if len(words) >= 1 {
		try(Int16, NoOrder)
		try(Uint16, NoOrder)
	}
	if len(words) >= 2 {
		for _, t := range []Type{Float32, Int32, Uint32} {
			for o := ABCD; o <= DCBA; o++ {
				try(t, o)
			}
		}
	}
	return found
}

// contains reports whether found holds the same number at the same scale.
func contains(found []Guess, number, scale float64) bool {
	for _, g := range found {
		if g.Number == number && g.Scale == scale {
			return true
		}
	}
	return false
}

// plausible is narrower than possible: where a store's refrigeration works.
// Common practice, no source.
func (m *Mapping) plausible(value float64) bool {
	switch m.Unit.Quantity {
	case units.AbsolutePressure, units.GaugePressure:
		return value >= 0.2e5 && value <= 150e5
	case units.Temperature:
		return value >= -60 && value <= 160
	}
	return true
}

// Number returns what words mean before scale, by m's type and order; not ok where
// they are no number or the device's own for "no value".
func (m *Mapping) Number(words []uint16) (number float64, ok bool) {
	number, fault := m.decode(words)
	return number, !fault.Failed()
}
