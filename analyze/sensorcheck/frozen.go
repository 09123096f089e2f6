package sensorcheck

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

type inputKind uint8

const (
	suctionPressure inputKind = iota
	dischargePressure
	suctionLine
	discharge
	sump
	coil
	air
	coilInlet
)

// anyCompressor is the index of a neighbour that serves all compressors.
const anyCompressor = -1

// stillness is how long an input of each kind may be bit-identical while its
// neighbour moves, and by how many K at the least the neighbour must have moved:
// sumps and rooms are slow, a coil rests while its ice melts. Common practice,
// no source.
var stillness = [...]struct {
	patience  time.Duration
	neighbour float64 // K
}{
	suctionPressure:   {10 * time.Minute, 2},
	dischargePressure: {10 * time.Minute, 2},
	suctionLine:       {10 * time.Minute, 2},
	discharge:         {20 * time.Minute, 3},
	sump:              {time.Hour, 6},
	coil:              {45 * time.Minute, 4},
	air:               {90 * time.Minute, 8},
	coilInlet:         {45 * time.Minute, 4},
}

const (
	minFrozenSamples = 10        // identical samples
	usualRuns        = 4         // times the longest run that the input showed before
	frozenLong       = time.Hour // by when pressures and lines are frozen though the neighbour has not moved
	frozenLongRuns   = 2         // times the usual limit that must have passed by then as well
	unsureRuns       = 3         // times as patient where it is not known whether the machine runs
)

// input is one analogue input, with how long it has not changed while its
// machine ran.
type input struct {
	Input
	kind       inputKind
	compressor int     // whose neighbours it has
	run        int64   // Since of the signal's present run of equal values
	held       int64   // ns of the run in which it should have moved
	longest    int64   // ns; longest such run that ended in a change
	low, high  float64 // of its neighbour during the run
	noisy      timer
	quiet      timer
	slow       slowNoise
}

func (in *input) isPressure() bool { return in.kind == suctionPressure || in.kind == dischargePressure }

// checkFrozen finds values that are no longer measured.
func (c *Checker) checkFrozen(x *frame.Frame, dt int64) {
	for i := range c.inputs {
		in := &c.inputs[i]
		run := in.Signal.Stillness()
		neighbour, moving, sure := in.neighbour(x)
		if _, ok := known(in.Input, x.At); !ok {
			in.held = 0
			continue
		}
		if run.Since != in.run {
			in.longest = max(in.longest, in.held)
			in.run, in.held, in.low, in.high = run.Since, 0, neighbour, neighbour
			continue
		}
		if !moving {
			c.retain(evidence.Frozen, in.Point)
			continue
		}
		in.held += dt
		if in.held == 0 || math.IsNaN(in.low) {
			in.low, in.high = neighbour, neighbour
		}
		in.low, in.high = min(in.low, neighbour), max(in.high, neighbour)
		if !in.isFrozen(sure) || run.Count < minFrozenSamples {
			continue
		}
		if a := c.raise(evidence.Frozen, in.Point, 0, run.Since); a != nil {
			a.describe([]evidence.Value{evidence.Duration("held", time.Duration(in.held)), evidence.Difference("neighbour", units.Kelvin(in.high-in.low))})
		}
	}
}

// isFrozen reports whether an input has stood still for longer than it ever
// does; sure reports that the machine is known to run.
func (in *input) isFrozen(sure bool) bool {
	usual := stillness[in.kind]
	limit := max(int64(usual.patience), usualRuns*in.longest)
	if !sure {
		limit = max(unsureRuns*int64(usual.patience), limit)
	}
	if in.held >= limit && in.high-in.low >= usual.neighbour {
		return true
	}
	return sure && in.kind <= suctionLine && in.held >= max(int64(frozenLong), frozenLongRuns*limit)
}

// neighbour returns what should make an input move, whether it should now, and
// whether that is known for sure.
func (in *input) neighbour(x *frame.Frame) (value float64, moving, sure bool) {
	for i := range x.Compressors {
		k := &x.Compressors[i]
		if in.compressor != anyCompressor && in.compressor != i || k.Phase == frame.Off || k.Phase == frame.Start {
			continue
		}
		value := float64(k.Inlet.Dew)
		if in.isPressure() {
			value = float64(k.Inlet.Temperature)
		}
		if isKnown(value) {
			return value, true, k.Phase != frame.Unknown
		}
	}
	return math.NaN(), false, false
}
