package phase

import (
	"math"

	"dewgap/analyze/frame"
)

// stream tells from the pressures of a group whether its last compressor
// stopped or its first started: the suction pressure rises while the discharge
// pressure falls, or the other way round, each with a break that a change of
// load does not make, which moves both the same way.
type stream struct {
	suction, condensing trail // dew temperatures
	bucket              int64
	evidence            float64 // nats in 5 s, for running
	shut                float64 // what of it several machines together can make only
	usual               lag     // dew while running
	restless, sways     middle  // |move| of both in half a minute of running
}

const (
	streamSpan = int64(30e9)
	streamPart = 0.25  // of the evidence of a span that 5 s add
	loneOwn    = 0.4   // the part of its own pipes beside what the pressures tell of a lone machine
	shutLeast  = 1.0   // K of the condensing temperature in half a minute that a stop or start makes
	shutFall   = 5.0   // K of the condensing temperature in half a minute: no gas comes
	shutRise   = 5.0   // K of dew in as much, the condensing temperature not rising with it: nothing draws
	loneRise   = 6.0   // K of dew over the usual at which a group that does not lower it stands
	valveRoom  = 3.0   // K of dew below the usual: a valve that opens may raise it
	closePress = 0.7e5 // Pa; with less between suction and discharge nothing runs
)

// observe takes the pressures of an instant. runs says that a compressor runs
// for sure.
func (f *stream) observe(x *frame.Frame, runs bool, dt float64) {
	f.suction.take(x.At, float64(x.Dew))
	f.condensing.take(x.At, float64(x.CondensingDew))
	if runs {
		f.usual.take(float64(x.Dew), dt, 1800)
	}
	b := x.At / trailStep
	if b == f.bucket {
		return
	}
	f.bucket = b
	dew := f.suction.now()
	up := dew - f.suction.ago(x.At, streamSpan)
	down := f.condensing.ago(x.At, streamSpan) - f.condensing.now()
	if runs {
		f.restless.take(math.Abs(up))
		f.sways.take(math.Abs(down))
	}
	f.evidence, f.shut = 0, 0
	if math.IsNaN(up) {
		return
	}
	s := f.restless.spread(0.4, 1)
	odd := 0.02
	if dew < f.usual.now()-valveRoom {
		odd = 0.2
	}
	f.evidence = streamPart * drawn(up, s, odd)
	if !math.IsNaN(down) {
		if witness := drawn(down, f.sways.spread(0.7, 1.5), 0.02); math.Abs(down) < shutLeast {
			f.evidence /= 2 // it should have moved
		} else if witness*up < 0 {
			// Fans of the condenser move this one alone.
			f.evidence += streamPart * witness * min(math.Abs(up)/(2*s), 1)
		} else if up > 0 {
			f.evidence = min(f.evidence+streamPart*witness, 0)
		} else {
			f.evidence = max(f.evidence+streamPart*witness, 0)
		}
	}
	if dew > f.usual.now()+loneRise && up > -0.3 && !(down < -1) {
		f.evidence -= 0.2
	}
	if down > shutFall || up > shutRise && down > 0 {
		f.shut = min(f.evidence, 0)
	}
}

// drawn returns the logarithm of how much likelier a move of half a minute is
// where a compressor runs than where none does. Up is what a stop makes; odd is
// how often something else does.
func drawn(up, s, odd float64) float64 {
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
