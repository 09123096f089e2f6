package evidence

import "strings"

// Quantity is what a Value measures, which decides how it is converted.
type Quantity uint8

// Quantities, with the ending of the names that carry them and their SI unit.
const (
	Word                    Quantity = iota // no ending; _code where it is a code of the catalogue
	TemperatureQuantity                     // _c, °C
	DifferenceQuantity                      // _k, K
	RateQuantity                            // _k_per_min, K/min
	PressureQuantity                        // _pa, Pa absolute
	PressureDifferenceValue                 // _difference_pa, Pa
	DurationQuantity                        // _seconds, s
	ShareQuantity                           // _share, 1
	CountQuantity                           // _count
)

// endings holds the longest first where one ends in another.
var endings = []struct {
	ending   string
	quantity Quantity
}{
	{"_difference_pa", PressureDifferenceValue},
	{"_pa", PressureQuantity},
	{"_k_per_min", RateQuantity},
	{"_k", DifferenceQuantity},
	{"_c", TemperatureQuantity},
	{"_seconds", DurationQuantity},
	{"_share", ShareQuantity},
	{"_count", CountQuantity},
}

// QuantityOf returns what a value of that name measures.
func QuantityOf(name string) Quantity {
	for _, e := range endings {
		if strings.HasSuffix(name, e.ending) {
			return e.quantity
		}
	}
	return Word
}

// Quantity returns what v measures.
func (v Value) Quantity() Quantity { return QuantityOf(v.Name) }
