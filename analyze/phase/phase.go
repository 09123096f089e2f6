// Package phase finds what a compressor is doing: off, start, steady, defrost,
// pulldown, or unknown; from signals where they exist, from pressures and
// temperatures where they do not.
//
// Its names of phases, stages and answers are frame's. It may import the standard
// library's pure packages, units, reading, filter, setting and frame. It must never
// import a clock or I/O: time comes with the samples, in nanoseconds of event time;
// quantities that are not known are NaN.
package phase

import "dewgap/analyze/frame"

// Names of the frame that this package is about.
type (
	Phase       = frame.Phase
	Stage       = frame.Stage
	DefrostKind = frame.DefrostKind
	Tristate    = frame.Tristate
	// Episode is one defrost.
	Episode = frame.DefrostRun
)

// Phases, stages, kinds of defrost and answers.
const (
	Unknown       = frame.Unknown
	Off           = frame.Off
	Start         = frame.Start
	Pulldown      = frame.Pulldown
	Defrost       = frame.Defrost
	Steady        = frame.Steady
	Refrigerating = frame.Refrigerating
	Defrosting    = frame.Defrosting
	PullingDown   = frame.PullingDown
	DefrostUnset  = frame.DefrostUnset
	OffCycle      = frame.OffCycle
	Electric      = frame.Electric
	HotGas        = frame.HotGas
	Unset         = frame.Unset
	No            = frame.No
	Yes           = frame.Yes
)
