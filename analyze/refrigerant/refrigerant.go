// Package refrigerant gives dew and bubble points and vapour properties of
// refrigerants from embedded tables.
//
// It may import the standard library's pure packages, embed and units. It
// must never compute an equation of state: the numbers come from the reference
// tables named in each fluid's Source.
package refrigerant

// Fluid is one refrigerant with its tables. It is immutable and safe for
// concurrent use.
type Fluid struct {
	Name string // as in the published designation: R448A
}
