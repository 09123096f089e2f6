// Package register turns what a device sends (words, bits, numbers in text)
// into engineering values: word order, scale, sentinels, current loops,
// resistance thermometers, calibration.
//
// It is pure: it may import the standard library's pure packages, units and
// reading. Nothing that touches a wire or a clock comes in.
package register

import (
	"time"

	"dewgap/analyze/units"
)

// Type is how the words of a Modbus register are to be read.
type Type uint8

// Types of register content.
const (
	Int16 Type = iota + 1
	Uint16
	Int32
	Uint32
	Float32
	Bit
)

// Order is the order of bytes of a 32-bit value on the wire, A the most
// significant byte.
type Order uint8

// Byte orders. There is no default: a 32-bit value needs one.
const (
	NoOrder Order = iota
	ABCD
	BADC
	CDAB
	DCBA
)

// Signal is the electrical meaning of the number, before it is a pressure or
// a temperature.
type Signal uint8

// Signals. Plain means the number is the quantity in Unit already.
const (
	Plain       Signal = iota
	Current            // mA, 4–20, NAMUR NE 43 limits; Low and High map the span
	Ratiometric        // share of the supply, 0.1–0.9 (0.5–4.5 V of 5 V)
	Voltage            // V, LowVolt–HighVolt
	Pt100              // ohm, IEC 60751
	Pt1000             // ohm, IEC 60751
	NTC                // ohm, by B or by table
)

// Mapping is the way from the number on the wire to a value in SI. The steps,
// in order: sentinel, ×Scale + Offset, Signal, Gain and Zero, Valid, Unit to
// SI, gauge to absolute, and last what no sensor can mean.
type Mapping struct {
	Type      Type
	Order     Order
	Scale     float64 // 0 means 1
	Offset    float64
	Sentinels []float64 // raw numbers (before scale) that mean "no value"
	Signal    Signal
	Low, High float64    // ends of the span in Unit, for Current, Ratiometric, Voltage
	LowVolt   float64    // for Voltage
	HighVolt  float64    // for Voltage
	Curve     NTCCurve   // for NTC
	Unit      units.Unit // unit of the value after Signal; the zero Unit for a switch
	Valid     Range      // engineering limits in Unit; outside is Bad

	// Atmosphere is what a gauge pressure is measured from, in Pa: the air of
	// the site, or units.StandardAtmosphere for a sealed gauge, which keeps
	// sea-level air inside. 0 means units.StandardAtmosphere.
	Atmosphere units.Pascal

	// Switches: the value is 1 when the number is above Threshold (current,
	// power, speed), when it is one of Codes (a status register) where there
	// are some, or when the bit is set; Invert turns it round.
	Threshold float64
	Codes     []float64
	Invert    bool

	// Calibration, applied to the value in Unit: value×Gain + Zero. Gain 0 means 1.
	Gain       float64
	Zero       float64
	Calibrated time.Time // date of the calibration; zero when none was stated
}

// Range is a closed range; both ends zero means no limits.
type Range struct{ Min, Max float64 }

// NTCCurve is a thermistor's curve: by R25 and B, or by a table.
type NTCCurve struct {
	R25   float64 // ohm at 25 °C
	B     float64 // K
	Table []NTCPoint
}

// NTCPoint is one row of a thermistor's table, in order of rising temperature.
type NTCPoint struct {
	Celsius units.Celsius
	Ohm     float64
}

// Fault is the reason why there is no value. The zero Fault means that there is one.
type Fault struct {
	Code   string // one of the codes below
	Detail string // for a technician; may be empty
}

// Codes of faults. NoData leaves the last value standing until it is stale;
// all others make the point bad at once.
const (
	CodeNoData     = "no-data"      // nothing that can be judged yet
	CodeSentinel   = "sentinel"     // the device's own number for "no value"
	CodeNaN        = "nan"          // not a number
	CodeInfinite   = "infinite"     // beyond what a number can hold
	CodeOpen       = "open"         // wire or sensor open
	CodeShort      = "short"        // wire or sensor shorted
	CodeOutOfRange = "out-of-range" // outside the configured or the sensor's limits
	CodeImpossible = "impossible"   // no sensor in this place can mean that
	CodeParse      = "parse"        // text that is no number
	CodeMapping    = "mapping"      // the mapping cannot work; Check returns the reason
)

// Failed reports whether there is no value.
func (f Fault) Failed() bool { return f.Code != "" }

// Reason is the fault as a reading carries it: "code" or "code: detail".
func (f Fault) Reason() string {
	if f.Detail == "" {
		return f.Code
	}
	return f.Code + ": " + f.Detail
}

var orderNames = [...]string{NoOrder: "", ABCD: "ABCD", BADC: "BADC", CDAB: "CDAB", DCBA: "DCBA"}

// String returns the order as configurations write it.
func (o Order) String() string {
	if int(o) < len(orderNames) {
		return orderNames[o]
	}
	return "?"
}

var typeNames = [...]string{"", Int16: "int16", Uint16: "uint16", Int32: "int32", Uint32: "uint32", Float32: "float32", Bit: "bit"}

// String returns the type as configurations write it.
func (t Type) String() string {
	if int(t) < len(typeNames) {
		return typeNames[t]
	}
	return "?"
}

// Words is how many 16-bit words the type takes; 1 for a type not stated.
func (t Type) Words() int {
	switch t {
	case Int32, Uint32, Float32:
		return 2
	}
	return 1
}
