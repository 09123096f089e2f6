package phase

import "math"

// Stir guesses whether a compressor runs where no signal says it: evidence for
// and against is weighed second by second, and the answer changes only when
// the balance has clearly tipped. What a stopped machine does: its discharge
// cools, its suction pipe warms towards the room, and a lone one lets the
// pressures drift together. Numbers are common practice, no source.
type stir struct {
	discharge, pipe, dew trail
	last                 int64
	balance              float64
	known                Known
	usual                lag // superheat while running
	bucket               int64
	rate                 float64
}

const (
	stirMost   = 4.0   // how far the balance goes
	stirTip    = 1.5   // where the answer changes
	closePress = 0.7e5 // Pa; with less between suction and discharge nothing runs
)

// observe returns the guess at an instant. alone says that the group has no
// other compressor.
func (s *stir) observe(x *Sample, c *CompressorSample, alone bool, hole int64) Known {
	at := x.At
	if s.last != 0 && at-s.last >= hole {
		*s = stir{usual: s.usual}
	}
	dt := 0.0
	if s.last != 0 {
		dt = float64(at-s.last) / 1e9
	}
	s.last = at
	s.discharge.take(at, c.DischargeTemperature)
	s.pipe.take(at, c.SuctionTemperature)
	s.dew.take(at, c.Dew)
	if b := at / trailStep; b != s.bucket {
		s.bucket = b
		s.rate = s.weigh(x, alone)
	}
	s.balance = min(max(s.balance+s.rate*dt, -stirMost), stirMost)
	switch {
	case s.balance > stirTip:
		s.known = Yes
	case s.balance < -stirTip:
		s.known = No
	}
	if s.known == Yes && s.balance > 2*stirTip {
		s.usual.take(c.SuctionTemperature-c.Dew, dt, 1800)
	}
	return s.known
}

// weigh returns the evidence of one second: positive for running.
func (s *stir) weigh(x *Sample, alone bool) float64 {
	const minute = int64(60e9)
	at, e := x.At, 0.0
	pipe, dew, hot := s.pipe.now(), s.dew.now(), s.discharge.now()
	over := pipe - dew
	pipeRate := pipe - s.pipe.ago(at, minute) // K/min
	dewRate := dew - s.dew.ago(at, minute)
	if d := x.DischargePressure - x.SuctionPressure; d < closePress {
		e -= 0.2
	}
	if alone {
		quick := 2 * (dew - s.dew.ago(at, minute/2))
		switch {
		case quick > 4:
			e -= 0.05
		case quick < -4:
			e += 0.1
		}
	}
	usual := s.usual.now()
	if math.IsNaN(usual) {
		usual = 15
	}
	if math.IsNaN(hot) {
		switch {
		case math.IsNaN(over):
		case pipeRate < -1.5 && pipeRate < dewRate-1:
			e += 0.06
		case pipeRate > 0.6 && pipeRate > dewRate+0.5 && over > usual+2:
			e -= 0.05
		case over < usual+4 && pipeRate < 0.5:
			e += 0.02
		case over > usual+12:
			e -= 0.02
		}
		return e
	}
	rate := hot - s.discharge.ago(at, minute)
	above := hot - x.CondensingDew
	if math.IsNaN(above) {
		above = hot - pipe - 40
	}
	switch {
	case rate > 1:
		e += 0.05 * min(3, rate)
	case rate < -1.2:
		// Wet gas cools the discharge as well, but then the pipe is at dew.
		if !(over < 4) && !(pipeRate < -1.5) {
			e -= 0.04 * min(3, -rate/1.2)
		}
	case above > 12 && rate > -0.7:
		e += 0.02
	case above < 3 && !(over < 6):
		e -= 0.04
	}
	return e
}
