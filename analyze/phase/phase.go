// Package phase tells what a compressor is doing: off, start, steady, defrost,
// pulldown, or unknown.
//
// It may import the standard library's pure packages, units and reading. No
// clock, no I/O: time comes with the samples.
package phase

import "time"

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

// Settings of phases for one group. Zero fields take the defaults of Default.
type Settings struct {
	StartLength    time.Duration // length of the start phase; contract: 120 s
	OffBeforeStart time.Duration // off time that makes a start; contract: 60 s
	PulldownLimit  time.Duration // longest pulldown; contract: 60 min
	Drip           time.Duration // from the end of the defrost signal to refrigeration; where no input shows it
	SignalLimit    time.Duration // a defrost signal longer than this is stuck; shared trade practice: 90 min
}
