package phase

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// pressureEvidence finds from the pressures of a group whether its last compressor
// stopped or its first started: the suction pressure rises while the discharge
// pressure falls, or the other way round, each with a break that a change of
// load does not make, which moves both the same way.
type pressureEvidence struct {
	suction, condensing filter.History // dew temperatures
	bucket, before      int64
	evidence            float64               // nats in 5 s, for running
	shut                float64               // what of it several machines together can make only
	usual               filter.LowPass        // dew while running,
	learned             int64                 // over so long, ns
	restless, sways     filter.MedianFollower // |move| of both in half a minute of running
}

const (
	pressureSpan  = int64(30e9)
	slowRows      = int64(20e9) // ns from row to row from where they are compared with each other
	pressureShare = 0.25        // of the evidence of a span that 5 s add
	singleShare   = 0.4         // weight of its own pipes beside the pressures where there is one machine
	minStopMove   = 1.0         // K of the condensing temperature in half a minute that a stop or start makes
	stopFall      = 5.0         // K of the condensing temperature in half a minute: no gas comes
	stopRise      = 5.0         // K of dew in as much, the condensing temperature not rising with it: nothing draws
	singleRise    = 6.0         // K of dew over the usual at which a group that does not lower it stands
	valveRoom     = 3.0         // K of dew below the usual: a valve that opens may raise it
	closePress    = 0.7e5       // Pa; with less between suction and discharge nothing runs

	// Bounds of the deviation of moves in half a minute of running, K.
	leastDewNoise, mostDewNoise               = 0.4, 1.0
	leastCondensingNoise, mostCondensingNoise = 0.7, 1.5

	usualTau     = int64(1800e9) // ns; half an hour of running
	usualLeast   = int64(600e9)  // ns of it before a dew counts as too high to be lowered: a start is none
	nothingMoves = 0.05          // K; a median below it is of values that are all alike
)

// observe takes the pressures of an instant. runs reports that a compressor runs
// for sure.
func (f *pressureEvidence) observe(x *frame.Frame, runs bool, step int64) {
	f.suction.Update(x.At, float64(x.Dew))
	f.condensing.Update(x.At, float64(x.CondensingDew))
	if runs {
		f.learned = min(f.learned+step, usualTau)
		f.usual.Blend(float64(x.Dew), filter.Gain(step, float64(max(f.learned, step))/1e9))
	}
	b := x.At / filter.DefaultSpacing
	if b == f.bucket {
		return
	}
	f.before, f.bucket = f.bucket, b
	dew := f.suction.Newest()
	up := dew - f.suction.Ago(x.At, pressureSpan)
	down := f.condensing.Ago(x.At, pressureSpan) - f.condensing.Newest()
	share := pressureShare
	if step >= slowRows { // there is no point half a minute ago: from row to row
		up, down = float64(x.Dew)-dew, f.condensing.Newest()-float64(x.CondensingDew)
		dew = float64(x.Dew)
		share = 1 / steps(b-f.before)
	}
	if runs {
		f.restless.Update(math.Abs(up), nothingMoves)
		f.sways.Update(math.Abs(down), nothingMoves)
	}
	f.evidence, f.shut = 0, 0
	if math.IsNaN(up) {
		return
	}
	s := deviation(&f.restless, leastDewNoise, mostDewNoise)
	odd := 0.02
	if dew < f.usual.Value()-valveRoom {
		odd = 0.2
	}
	f.evidence = share * moveLLR(up, s, odd)
	if !math.IsNaN(down) {
		if witness := moveLLR(down, deviation(&f.sways, leastCondensingNoise, mostCondensingNoise), 0.02); math.Abs(down) < minStopMove {
			f.evidence /= 2 // it should have moved
		} else if witness*up < 0 {
			// Fans of the condenser move this one alone.
			f.evidence += share * witness * min(math.Abs(up)/(2*s), 1)
		} else if up > 0 {
			f.evidence = min(f.evidence+share*witness, 0)
		} else {
			f.evidence = max(f.evidence+share*witness, 0)
		}
	}
	if f.learned >= usualLeast && dew > f.usual.Value()+singleRise && up > -0.3 && !(down < -1) {
		f.evidence -= 0.2
	}
	if down > stopFall || up > stopRise && down > 0 {
		f.shut = min(f.evidence, 0)
	}
}

// deviation returns the standard deviation that belongs to a median of absolute
// moves, between least and most; 1.5 × least where no move was seen. Of a normal
// distribution the median absolute deviation is 0.6745 standard deviations.
func deviation(m *filter.MedianFollower, least, most float64) float64 {
	if m.Value() == 0 {
		return 1.5 * least
	}
	return min(max(m.Value()/0.6745, least), most)
}

// moveLLR returns the logarithm of how much likelier a move of half a minute is
// where a compressor runs than where none does. Up is what a stop makes; odd is
// how often something else does.
func moveLLR(up, s, odd float64) float64 {
	z := up / s
	bell := 0.4 / s * math.Exp(-z*z/2)
	on, off := 0.75*bell, 0.6*bell
	if up > 0 {
		on += odd / 15
		off += 0.4 / 15
	} else {
		on += 0.2 / 15
		off += 0.01 / 15
	}
	return math.Log(on / off)
}
