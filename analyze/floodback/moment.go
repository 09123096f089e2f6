package floodback

import (
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

// Moment is what is known of one compressor at one instant, for the detectors.
// Temperatures are in °C, differences in K, pressures in Pa absolute, times in
// ns of event time; NaN where not known.
type Moment struct {
	At         int64
	Step       int64 // ns since the moment before; 0 at the first, after a hole, and when time stands still
	Compressor int
	Kind       CompressorKind

	Phase      phase.Phase
	Running    phase.Tristate
	Unsure     bool  // Running is inferred, and with little confidence
	RunningFor int64 // ns since the start, as far as was seen; or of the stop, when not running
	Whole      bool  // the beginning of RunningFor was seen
	Stopped    int64 // ns; length of the stop before this run, as far as was seen

	Quality     reading.Quality // of the superheat
	Lean        superheat.Bias  // which way a suspect superheat is wrong
	Superheat   float64
	Floor       float64
	Margin      float64
	Uncertainty float64 // expanded, of the superheat
	Lag         float64 // s, of the suction temperature sensor, which the superheat still has

	SuctionPressure      float64
	DischargePressure    float64
	Dew                  float64 // not delayed
	CondensingDew        float64
	SuctionTemperature   float64
	DischargeTemperature float64
	SumpTemperature      float64
	Ambient              float64
}

// Detector looks at one compressor, moment by moment.
type Detector interface {
	// Step takes the next moment and writes what it tells into f, whose Kind,
	// Compressor and Input are set. It allocates nothing while the condition
	// is absent.
	Step(m *Moment, f *Finding)
}
