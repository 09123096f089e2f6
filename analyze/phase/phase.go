// Package phase tells what a compressor is doing: off, start, steady, defrost,
// pulldown, or unknown; from signals where they exist, from pressures and
// temperatures where they don't.
//
// It may import the standard library's pure packages, units and reading. No
// clock, no I/O: time comes with the samples. Inside, times are nanoseconds of
// event time and quantities that are not known are NaN.
package phase

// Phase is what a compressor is doing, by the contract's section 5.
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

// Count is the number of phases.
const Count = 6

var names = [Count]string{"unknown", "off", "start", "pulldown", "defrost", "steady"}

// String returns the contract's word for p.
func (p Phase) String() string { return names[p] }

// DefrostKind is where the heat of a circuit's defrost comes from.
type DefrostKind uint8

// Kinds of defrost. The zero value is not told.
const (
	DefrostNotTold DefrostKind = iota
	OffCycle
	Electric
	HotGas
)

// Known is an answer that may be missing. The zero value is NotKnown.
type Known uint8

// Answers.
const (
	NotKnown Known = iota
	No
	Yes
)

// KnownIf returns Yes or No.
func KnownIf(b bool) Known {
	if b {
		return Yes
	}
	return No
}

// Sample is what is known of one suction group at one instant. Temperatures
// are in °C, pressures in Pa absolute; NaN where not known.
type Sample struct {
	At                int64 // ns
	SuctionPressure   float64
	DischargePressure float64
	Dew               float64 // of the suction pressure, not delayed
	CondensingDew     float64 // of the discharge pressure
	Ambient           float64
	Compressors       []CompressorSample
	Circuits          []CircuitSample
}

// CompressorSample is the part of a Sample that belongs to one compressor.
type CompressorSample struct {
	Running              Known // the signal, where there is one
	Dew                  float64
	DewFelt              float64 // delayed as the pipe's sensor is
	SuctionTemperature   float64
	DischargeTemperature float64
	SumpTemperature      float64
}

// CircuitSample is the part of a Sample that belongs to one circuit.
type CircuitSample struct {
	Defrost    Known // the signal, where there is one
	CoilOutlet float64
	Air        float64
}
