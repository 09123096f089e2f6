// Package floodback holds the detectors of a compressor: floodback, flooded
// start, hunting and high superheat, one a file. Each takes frame after frame
// and writes findings; package alert makes events of them.
//
// It may import the standard library's pure packages, cause, evidence, filter,
// frame, reading, refrigerant, setting, superheat and units. It must never
// import phase, which writes what it reads, nor alert, nor anything with a clock
// or I/O.
package floodback

import (
	"slices"
	"time"

	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
)

// ByPhase is a pair of settings: one for pulldown, one for everything else.
type ByPhase[T any] struct{ Steady, Pulldown T }

// In returns the setting that holds in phase p.
func (b ByPhase[T]) In(p frame.Phase) T {
	if p == frame.Pulldown {
		return b.Pulldown
	}
	return b.Steady
}

// ByKind is a setting that differs by the kind of compressor.
type ByKind[T any] struct{ Scroll, AirCooledSemiHermetic, RefrigerantCooledSemiHermetic T }

// Of returns the setting for kind k; one that is not stated is judged as a scroll.
func (b *ByKind[T]) Of(k frame.CompressorKind) T {
	switch k {
	case frame.AirCooledSemiHermetic:
		return b.AirCooledSemiHermetic
	case frame.RefrigerantCooledSemiHermetic:
		return b.RefrigerantCooledSemiHermetic
	}
	return b.Scroll
}

// Kind of finding and, once it has lasted, of event.
type Kind uint8

// The kinds, as event files name them.
const (
	Floodback Kind = iota
	FloodedStart
	Hunting
	HighSuperheat
	SensorFault
	NoData
)

// KindCount is the number of kinds.
const KindCount = 6

var kindNames = [KindCount]string{"floodback", "flooded_start", "hunting", "high_superheat", "sensor_fault", "no_data"}

// String returns the word of event files for k.
func (k Kind) String() string { return kindNames[k] }

// KindNames returns the names of all kinds.
func KindNames() []string { return slices.Clone(kindNames[:]) }

// Severity of a finding. Floodback uses Risk, Minor, Major; the other kinds
// use Notice, Warning, Critical.
type Severity uint8

// Severities; a larger one of the same kind is worse.
const (
	NoSeverity Severity = iota
	Risk
	Minor
	Major
	Notice
	Warning
	Critical
)

var severityNames = [...]string{"", "risk", "minor", "major", "notice", "warning", "critical"}

// String returns the word of event files for s.
func (s Severity) String() string { return severityNames[s] }

// Verdict is whether a condition holds at one instant.
type Verdict uint8

// Verdicts. InDeadband is neither present nor clear: inside the deadband.
// Unknown means that inputs needed are not known now.
const (
	Unknown Verdict = iota
	Clear
	InDeadband
	Present
)

// Ranked is one candidate, circuit or cause, with its score.
type Ranked = cause.Ranked

// Finding is what one detector finds of one compressor at one instant. It
// becomes an event when Present has lasted for Hold, and an open event closes
// when Clear has lasted for ClearHold: package alert does both, for all kinds.
type Finding struct {
	Kind       Kind
	Compressor int // index among the site's compressors, configuration order
	Verdict    Verdict
	Severity   Severity // as far as known now; an open event only escalates
	Hold       time.Duration
	ClearHold  time.Duration
	// Lasted is how long Present had lasted when this instant was the first to
	// show it: it began between two readings.
	Lasted time.Duration
	// Immediate opens the event without waiting for Hold (a slug).
	Immediate bool
	// Unsure lets the time of Present count and open nothing: that the compressor
	// runs is not known well enough yet.
	Unsure bool
	// Input is the index of the point concerned, for SensorFault and NoData; -1 otherwise.
	Input int
	// Evidence is set only while Present. That of a floodback holds what
	// qualifies the event, not its superheat, margin and floor: those are figures
	// of the event, which package alert takes from the states.
	Evidence []evidence.Item
	Circuits []Ranked
	Causes   []Ranked
	// Withdraw is why a doubt of the inputs proves the condition false since it
	// began: it ends at once, whatever Verdict is, and its event is withdrawn.
	// Nil otherwise.
	Withdraw *evidence.Item
}
