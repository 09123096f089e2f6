// Package reading holds what flows from the collector into analysis: points,
// readings and rows, each value with its time, quality and reason.
//
// It may import only the standard library's pure packages and dewgap's units.
// It must never import a source of readings: sources import it.
package reading

import (
	"time"

	"dewgap/analyze/units"
)

// Role is what an input measures; its path ends with the role's name.
type Role uint8

// The roles of the contract, section 1.
const (
	NoRole Role = iota
	SuctionPressure
	DischargePressure
	SuctionTemperature
	Running
	DischargeTemperature
	SumpTemperature
	Defrost
	CoilOutletTemperature
	AirTemperature
	Speed                // of a compressor, its load
	CoilInletTemperature // two-phase inlet of a coil
	AmbientTemperature   // around the suction lines; optional, dewgap's own addition
)

// Kind is the kind of quantity a role carries.
type Kind uint8

// Kinds of quantity, with the unit that a Reading's Value is in.
const (
	Pressure    Kind = iota + 1 // Pa, absolute
	Temperature                 // °C
	Switch                      // 0 or 1
	Share                       // % of full
)

// Point is one input of a site. A point is known by its index in the site's
// list of points from configuration to the page.
type Point struct {
	Path   string // GROUP.role, GROUP.COMPRESSOR.role or GROUP.CIRCUIT.role
	Group  string
	Member string // name of the compressor or circuit; empty for the group's own
	Role   Role
	Unit   units.Unit // that the site file reads it in; zero where not known
	Source string     // bus or broker that it is read from; empty where not known
}

// Quality is how far a value can be trusted.
type Quality uint8

// Qualities in order of the contract, section 4. The zero value is Missing:
// what nobody has filled in is not known.
const (
	Missing Quality = iota // nothing was ever read, or the source does not answer
	Good
	Suspect // there is a value, and a reason to doubt it
	Stale   // the last value is older than allowed
	Bad     // the device or the mapping marks the value as none
)

// Reading is one value of one point. Value is meaningless unless Quality is
// Good or Suspect. Sources deliver Good readings and failures (Missing or Bad
// with a Reason); Suspect and Stale are found by analysis.
type Reading struct {
	Point   int // index in the site's list of points
	Time    time.Time
	Value   float64 // Pa absolute, °C, 0/1 or %: see Kind
	Quality Quality
	Reason  string // a code, or "code: detail"; empty when Good
}

// Row is what became known by one instant: the readings since the row before.
// Live, demo and replay all hand analysis a sequence of rows, and nothing else.
// Readings inside a row are taken as read at the row's time.
type Row struct {
	Time     time.Time
	Readings []Reading
}
