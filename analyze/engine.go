package analyze

import (
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// Names that callers of this package need at every step.
type (
	Finding = floodback.Finding
	Kind    = floodback.Kind
)

// State is what one compressor is doing at one instant. A quantity that is not
// known is NaN.
type State struct {
	Time               time.Time
	Compressor         int // index among the site's compressors, configuration order
	Group              string
	Name               string
	Phase              phase.Phase
	Quality            reading.Quality // of the superheat
	Reason             string          // why it is not good, for a technician
	Superheat          units.Kelvin
	Floor              units.Kelvin
	Margin             units.Kelvin // superheat − floor
	Uncertainty        units.Kelvin // expanded, k = 2
	SuctionPressure    units.Pascal
	Dew                units.Celsius
	SuctionTemperature units.Celsius
}

// Result is what one row told. Its slices belong to the engine and are valid
// until the next Observe.
type Result struct {
	Time     time.Time
	States   []State   // one for each compressor, configuration order
	Findings []Finding // those whose verdict is not the plain Clear
	Inputs   []Input   // one for each point
}

// Input is what is known of one point now.
type Input struct {
	Value   float64 // SI; NaN when not known
	At      time.Time
	Quality reading.Quality
	Reason  string
}
