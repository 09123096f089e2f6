// Package refrigerant gives dew and bubble points and vapour properties of
// refrigerants from embedded tables.
//
// Superheat is counted from the dew point, subcooling from the bubble point.
// Nothing is extrapolated: outside a table there is a RangeError and NaN.
//
// It may import the standard library's pure packages, embed and units. It
// must never compute an equation of state: the numbers come from the reference
// tables named in each fluid's Source, or from a maker's table (FromTable).
package refrigerant

import (
	"errors"
	"fmt"
	"math"

	"dewgap/analyze/units"
)

// Kind is how a refrigerant boils.
type Kind string

// Kinds of refrigerant.
const (
	Pure      Kind = "pure"
	Azeotrope Kind = "azeotrope" // a blend almost without glide
	Zeotrope  Kind = "zeotrope"  // a blend with glide
	UserTable Kind = "user table"
)

// Fluid is one refrigerant with its tables. It is immutable and safe for
// concurrent use; Lookup gives the same pointer for the same refrigerant.
type Fluid struct {
	Name        string // as in the published designation: R448A
	CommonName  string // of a natural refrigerant: propane; else empty
	Kind        Kind
	Safety      string // class by ISO 817 and ASHRAE 34: A1, A2L, …; empty if not known
	Composition string // of a blend, mass %
	Source      string // where the numbers come from
	Remark      string // what Uncertainty rests on; may be empty

	uncertainty units.Kelvin
	dew, bubble *curve
	// properties are made when they are first asked for: most of what starting
	// a fluid costs, and not needed for superheat. nil for a user's table.
	properties func() *properties
}

// RangeError reports that a value lies outside a fluid's table.
type RangeError struct {
	Fluid     string
	Quantity  string // what the value is: "dew pressure", "superheat", …
	Value     float64
	Low, High float64 // what the table covers
	Unit      string
}

func (e *RangeError) Error() string {
	if e.Unit == "Pa" { // nobody reads a gauge in pascals
		return fmt.Sprintf("%s: %s %.5g bara is outside the table, which goes from %.4g to %.4g bara",
			e.Fluid, e.Quantity, e.Value/1e5, e.Low/1e5, e.High/1e5)
	}
	return fmt.Sprintf("%s: %s %.6g %s is outside the table, which goes from %.6g to %.6g %s",
		e.Fluid, e.Quantity, e.Value, e.Unit, e.Low, e.High, e.Unit)
}

// ErrNoVapour is for a fluid whose table has only the saturation line.
var ErrNoVapour = errors.New("no vapour properties: the fluid's own table has only the saturation line")

func (f *Fluid) String() string { return f.Name }

// Dew returns the dew temperature at p, absolute. Superheat is counted from it.
func (f *Fluid) Dew(p units.Pascal) (units.Celsius, error) {
	if !f.dew.covers(float64(p)) {
		return units.Celsius(math.NaN()), f.pressureError("pressure of dew point", f.dew, p)
	}
	return units.Celsius(f.dew.temperature(float64(p))), nil
}

// Bubble returns the bubble temperature at p, absolute. Subcooling is counted
// from it, superheat never.
func (f *Fluid) Bubble(p units.Pascal) (units.Celsius, error) {
	if !f.bubble.covers(float64(p)) {
		return units.Celsius(math.NaN()), f.pressureError("pressure of bubble point", f.bubble, p)
	}
	return units.Celsius(f.bubble.temperature(float64(p))), nil
}

func (f *Fluid) pressureError(quantity string, c *curve, p units.Pascal) error {
	return &RangeError{f.Name, quantity, float64(p), c.low, c.high, "Pa"}
}

// DewPressure returns the absolute pressure at which t is the dew
// temperature. It is the exact inverse of Dew.
func (f *Fluid) DewPressure(t units.Celsius) (units.Pascal, error) {
	return f.pressure("dew temperature", f.dew, t)
}

// BubblePressure is the inverse of Bubble.
func (f *Fluid) BubblePressure(t units.Celsius) (units.Pascal, error) {
	return f.pressure("bubble temperature", f.bubble, t)
}

func (f *Fluid) pressure(quantity string, c *curve, t units.Celsius) (units.Pascal, error) {
	low, high := c.temperatures()
	if !(float64(t) >= low && float64(t) <= high) {
		return units.Pascal(math.NaN()), &RangeError{f.Name, quantity, float64(t), low, high, "°C"}
	}
	return units.Pascal(c.pressure(float64(t))), nil
}

// DewSlope returns the slope of the dew line at p in K/Pa: how far an error
// of pressure moves superheat.
func (f *Fluid) DewSlope(p units.Pascal) (float64, error) {
	if !f.dew.covers(float64(p)) {
		return math.NaN(), f.pressureError("pressure of dew point", f.dew, p)
	}
	return f.dew.slope(float64(p)), nil
}

// Glide returns dew less bubble temperature at p. It is below zero nowhere by
// more than the tables' rounding.
func (f *Fluid) Glide(p units.Pascal) (units.Kelvin, error) {
	dew, err := f.Dew(p)
	if err != nil {
		return units.Kelvin(math.NaN()), err
	}
	bubble, err := f.Bubble(p)
	return dew.Above(bubble), err
}

// Range returns the temperatures that the saturation line covers.
func (f *Fluid) Range() (low, high units.Celsius) {
	l, h := f.dew.temperatures()
	return units.Celsius(l), units.Celsius(h)
}

// PressureRange returns the absolute pressures for which there is a dew point.
func (f *Fluid) PressureRange() (low, high units.Pascal) {
	return units.Pascal(f.dew.low), units.Pascal(f.dew.high)
}

// Uncertainty returns the expanded uncertainty (k = 2) of the dew temperature
// at a given pressure: of the source's model; for a user's table, of its grid
// and rounding only.
func (f *Fluid) Uncertainty() units.Kelvin { return f.uncertainty }
