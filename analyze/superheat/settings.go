// Package superheat turns suction pressure and suction-line temperature into
// superheat over dew with its expanded uncertainty: conditioning, lag matching,
// plausibility.
//
// It may import the standard library's pure packages, units, reading and
// refrigerant. No clock, no I/O: filters work in event time.
package superheat

import (
	"time"

	"dewgap/analyze/units"
)

// Sensor is what is stated about one sensor. Zero fields are "not stated" and
// take the defaults of a typical installation.
type Sensor struct {
	Limit float64       // half-width a of the stated limits ±a, Pa or K; rectangular (JCGM 100, 4.3.7)
	Lag   time.Duration // first-order time constant of a temperature sensor on its pipe
	// Mounting is the half-width of the contact error of a clamp-on sensor, K.
	Mounting units.Kelvin
	// Sealed says that a gauge transmitter keeps sea-level air inside.
	Sealed bool
}

// Settings of the superheat of one compressor.
type Settings struct {
	Pressure    Sensor
	Temperature Sensor
	StaleAfter  time.Duration // a value older than this is stale; zero: from the rate seen
}
