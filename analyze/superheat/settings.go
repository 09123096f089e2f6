// Package superheat turns suction pressure and suction-line temperature into
// superheat over dew with its expanded uncertainty: what is known of each
// input (Signal), conditioning of the pressure (Suction), lag matching and
// subtraction (Meter), and the uncertainty budget (Budget).
//
// It may import the standard library's pure packages, evidence, filter, reading,
// setting and units. It must never import a package that judges, nor anything
// with a clock or I/O: filters work in event time.
package superheat

import (
	"time"

	"dewgap/analyze/setting"
	"dewgap/analyze/units"
)

// Sensor is what is stated about one sensor. Zero fields are "not stated" and
// take the defaults of a typical installation.
type Sensor struct {
	Limit float64       // half-width a of the stated limits ±a, Pa or K; rectangular (JCGM 100, 4.3.7)
	Lag   time.Duration // first-order time constant of a temperature sensor on its pipe
	// Mounting is the half-width of the contact error of a clamp-on sensor, K.
	Mounting units.Kelvin
	// Gauge means that the transmitter measures above the air around it, so that
	// the weather enters the absolute pressure.
	Gauge bool
	// Sealed means that a gauge transmitter keeps sea-level air inside.
	Sealed bool
}

// Settings of the superheat of one compressor.
type Settings struct {
	Pressure    Sensor
	Temperature Sensor
	StaleAfter  time.Duration // a value older than this is stale; zero: from the rate seen
}

// What is assumed where nothing is stated: a transmitter of 1 % of a −1…12 bar
// span, a 10 kΩ NTC, an insulated clamp, a strapped and insulated sensor, the
// variation of the weather. All are common practice, no source.
const (
	TypicalPressureLimit                 = 13_000.0 // Pa
	TypicalTemperatureLimit              = 0.5      // K
	TypicalMounting         units.Kelvin = 1.5
	TypicalLag                           = 20 * time.Second
	TypicalWeather                       = 3_000.0 // Pa, half-width of the air's pressure about the configured one
	lagSpreadStated                      = 0.25    // relative half-width of a stated time constant
	lagSpreadAssumed                     = 0.5     // relative half-width of an assumed one
)

// Rows are the settings with their keys below a suction group.
func Rows() []setting.Row[Settings] { return rows }

var rows = []setting.Row[Settings]{
	{
		Key: "stale_after", Field: setting.Unset(func(s *Settings) *time.Duration { return &s.StaleAfter }, "three to four times the rate seen", time.Second, time.Hour),
		Meaning: "A value that is older than this is stale and decides nothing.", Example: `"30 s"`, Source: "common practice, no source",
	},
}

// SensorRows are the keys that describe one temperature or pressure sensor, but
// for its accuracy, whose unit depends on the quantity.
func SensorRows() []setting.Row[Sensor] { return sensorRows }

var sensorRows = []setting.Row[Sensor]{
	{
		Key: "lag", Field: setting.Assumed(func(s *Sensor) *time.Duration { return &s.Lag }, TypicalLag, 0, 10*time.Minute),
		Meaning: "Time constant of a temperature sensor on its pipe; where it is not stated, dewgap learns it.", Example: `"20 s"`, Source: "common practice, no source",
	},
	{
		Key: "mounting", Field: setting.Assumed(func(s *Sensor) *units.Kelvin { return &s.Mounting }, TypicalMounting, 0, 20),
		Meaning: "Greatest error of a clamp-on sensor's contact with the pipe, either way.", Example: `"1.5 K"`, Source: "common practice, no source",
	},
	{
		Key: "sealed", Field: setting.Plain(func(s *Sensor) *bool { return &s.Sealed }, false),
		Meaning: "The gauge transmitter keeps sea-level air inside, so the altitude does not matter to it.", Example: "true", Source: "the transmitter's data sheet",
	},
}

// Over returns the sensor s with what it does not state taken from base: a
// point's own statements stand before those of its group.
func (s Sensor) Over(base Sensor) Sensor {
	if s.Limit == 0 {
		s.Limit = base.Limit
	}
	if s.Lag == 0 {
		s.Lag = base.Lag
	}
	if s.Mounting == 0 {
		s.Mounting = base.Mounting
	}
	s.Gauge = s.Gauge || base.Gauge
	s.Sealed = s.Sealed || base.Sealed
	return s
}

// DewLine is what superheat needs of a refrigerant.
type DewLine interface {
	// Dew returns the dew temperature at absolute pressure p, or an error
	// outside the table.
	Dew(p units.Pascal) (units.Celsius, error)
	// DewSlope returns dT/dp of the dew line at p in K/Pa, or an error outside
	// the table.
	DewSlope(p units.Pascal) (float64, error)
	// Uncertainty returns the expanded uncertainty (k = 2) of the dew
	// temperature that the table gives.
	Uncertainty() units.Kelvin
}
