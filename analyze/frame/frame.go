// Package frame holds what is known of one suction group at one row: typed
// quantities with their quality, written once by the engine and by phase, and
// read by phase, sensor check, floodback, cause, trend and commissioning.
//
// It may import units, reading and superheat. It must never import a package
// that judges: those import it.
package frame

import (
	"math"

	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Tristate is an answer that may be missing. The zero value is Unset.
type Tristate uint8

// Answers.
const (
	Unset Tristate = iota
	No
	Yes
)

// Of returns Yes or No.
func Of(b bool) Tristate {
	if b {
		return Yes
	}
	return No
}

// Phase is what a compressor is doing.
type Phase uint8

// The phases. The zero value is Unknown.
const (
	Unknown Phase = iota
	Off
	Start
	Pulldown
	Defrost
	Steady
)

// PhaseCount is the number of phases.
const PhaseCount = 6

var phaseNames = [PhaseCount]string{"unknown", "off", "start", "pulldown", "defrost", "steady"}

// String returns the word for p in files, metrics and pages.
func (p Phase) String() string { return phaseNames[p] }

// Stage is what one circuit is doing.
type Stage uint8

// Stages of a circuit. The zero value is not known.
const (
	StageUnknown Stage = iota
	Refrigerating
	Defrosting
	Dripping
	PullingDown
)

// StageCount is the number of stages.
const StageCount = 5

var stageNames = [StageCount]string{"unknown", "refrigerating", "defrosting", "dripping", "pulldown"}

// String returns the word for s in metrics and pages.
func (s Stage) String() string { return stageNames[s] }

// DefrostKind is where the heat of a circuit's defrost comes from.
type DefrostKind uint8

// Kinds of defrost. The zero value is not stated.
const (
	DefrostUnset DefrostKind = iota
	OffCycle
	Electric
	HotGas
)

// CompressorKind decides what liquid damages first.
type CompressorKind uint8

// Kinds of compressor. The zero value is not stated and is judged as a scroll.
const (
	KindUnset CompressorKind = iota
	Scroll
	AirCooledSemiHermetic
	RefrigerantCooledSemiHermetic
)

// Frame is one suction group at one row. Times are in ns of event time; a
// quantity that is not known is NaN.
type Frame struct {
	At   int64
	Step int64 // since the frame before; 0 at the first, after a gap, and when time stands still
	// LongGap reports that nobody watched before this frame for so long that what
	// was known of machines and circuits stands for nothing.
	LongGap bool

	SuctionPressure   units.Pascal  // absolute
	Dew               units.Celsius // of the suction pressure, not delayed
	DischargePressure units.Pascal  // absolute
	CondensingDew     units.Celsius // of the discharge pressure
	Ambient           units.Celsius // of the machine room, measured or configured

	Compressors []Compressor // in the order of the configuration
	Circuits    []Circuit    // in the order of the configuration
}

// Compressor is one compressor in a Frame.
type Compressor struct {
	Kind      CompressorKind
	Signal    Tristate        // running signal; Unset where there is none
	Inlet     superheat.Value // superheat at the suction inlet, with what it is made of
	Lag       float64         // s, time constant of the suction-line sensor
	Interval  int64           // ns between readings of the slower of its inputs; 0 while not known
	Discharge units.Celsius
	Sump      units.Celsius
	Speed     float64 // % of full: the load

	// Written by phase.
	Phase      Phase
	Running    Tristate
	Sure       bool  // Running is signalled, or inferred with confidence
	RunningFor int64 // since the start, as far as was seen; since the stop, when not running
	Whole      bool  // the beginning of RunningFor was seen
	Stopped    int64 // length of the stop before this run, as far as was seen

	// Written by the engine once the phase is known.
	Floor  units.Kelvin
	Margin units.Kelvin // superheat − floor
}

// Circuit is one circuit in a Frame.
type Circuit struct {
	Kind       DefrostKind
	Signal     Tristate // defrost signal; Unset where there is none
	CoilInlet  units.Celsius
	CoilOutlet units.Celsius
	Air        units.Celsius

	// Written by phase.
	Stage Stage
	Since int64      // of Stage
	Last  DefrostRun // its last defrost
}

// DefrostRun is one defrost: times in ns, 0 where it has not come to that.
type DefrostRun struct {
	Began   int64         // heat, or the liquid valve shut
	Ended   int64         // end of the heat
	Resumed int64         // refrigerating again
	Over    int64         // pulldown over
	Peak    units.Celsius // highest coil outlet temperature
	Plateau float64       // s within 1 K of 0 °C
}

// Length returns how long the heat was on, s; NaN while it is not over, or where
// its beginning was not seen.
func (d *DefrostRun) Length() float64 {
	if d.Began == 0 || d.Ended <= d.Began {
		return math.NaN()
	}
	return float64(d.Ended-d.Began) / 1e9
}
