package phase

import "math"

// stir guesses whether a compressor runs where no signal says it: evidence for
// and against is weighed second by second, and the answer changes only when
// the balance has clearly tipped; the change is then dated back to where the
// evidence began. What tells: a stopped machine's suction pipe warms towards
// the room while its discharge cools, so the lift from one to the other
// shrinks; in a running one the two move together; a start cools the pipe and
// heats the discharge. A lone machine moves the suction pressure besides.
type stir struct {
	discharge, pipe, dew trail
	last, bucket         int64
	balance, rate        float64
	known                Known
	usual, usualDew      lag   // superheat and dew while running
	notUp, notDown       int64 // when the evidence last did not speak for running; for standing
}

// Numbers of the balance: common practice, no source. Rates are K/min.
const (
	stirMost   = 2.2   // how far the balance goes
	stirTip    = 0.8   // where the answer changes
	stirDelay  = 60e9  // ns by which rates over a minute lag
	loneRise   = 6.0   // K of dew over the usual at which a lone machine that does not lower it stands
	usualRoom  = 22.0  // °C of a machine room that nobody measures
	closePress = 0.7e5 // Pa; with less between suction and discharge nothing runs
	liftLeast  = 10.0  // K from suction pipe to discharge: less is no compression
	liftUsual  = 22.0  // K; with more, and nothing moving, something is compressed
	loneJump   = 2.5   // K of dew in half a minute: a lone machine stopped or started

	strong, fair, weak = 0.09, 0.045, 0.02 // evidence a second
)

// observe returns the guess at an instant and when the state began. alone
// says that the group has no other compressor.
func (s *stir) observe(x *Sample, c *CompressorSample, alone bool, hole int64) (Known, int64) {
	at := x.At
	if s.last != 0 && at-s.last >= hole {
		*s = stir{usual: s.usual, usualDew: s.usualDew}
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
		if s.rate <= 0 {
			s.notUp = at
		}
		if s.rate >= 0 {
			s.notDown = at
		}
	}
	s.balance = min(max(s.balance+s.rate*dt, -stirMost), stirMost)
	since := at
	switch {
	case s.balance > stirTip && s.known != Yes:
		s.known, since = Yes, max(s.notUp-stirDelay, 1)
	case s.balance < -stirTip && s.known != No:
		s.known, since = No, max(s.notDown-stirDelay, 1)
	}
	if s.known == Yes && s.balance > 2*stirTip {
		s.usual.take(c.SuctionTemperature-c.Dew, dt, 1800)
		s.usualDew.take(c.Dew, dt, 1800)
	}
	return s.known, since
}

// weigh returns the evidence of one second: positive for running.
func (s *stir) weigh(x *Sample, alone bool) float64 {
	const window = int64(120e9)
	at, e := x.At, 0.0
	pipe, dew, hot := s.pipe.now(), s.dew.now(), s.discharge.now()
	if d := x.DischargePressure - x.SuctionPressure; d < closePress {
		e -= strong
	}
	if alone {
		switch quick := dew - s.dew.ago(at, window/4); {
		case quick > loneJump:
			e -= strong
		case quick < -loneJump:
			e += strong
		case dew > s.usualDew.now()+loneRise && quick > -0.3:
			e -= fair
		}
	}
	usual := s.usual.now()
	if math.IsNaN(usual) {
		usual = 15
	}
	room := x.Ambient
	if math.IsNaN(room) {
		room = usualRoom
	}
	over, cold := pipe-dew, max(room-pipe, 4)
	pipeMove := pipe - s.pipe.ago(at, window)
	pipeQuick := 2 * (pipe - s.pipe.ago(at, window/2))
	dewMove := dew - s.dew.ago(at, window)
	hotMove := hot - s.discharge.ago(at, window)
	hotQuick := 2 * (hot - s.discharge.ago(at, window/2))
	liftMove := hotMove - pipeMove
	noHot := math.IsNaN(hot)
	if noHot {
		liftMove = min(0, dewMove-pipeMove)
	}
	// A stopped pipe relaxes towards the room; one that does not has gas in it.
	own := pipeMove // on a rack, less what all pipes follow
	if !alone {
		own -= max(dewMove, 0)
	}
	warming := own > 0.02*cold && own > 0.3
	holding := pipeMove < 0.01*cold
	switch {
	case hotQuick > 2:
		e += strong
	case pipeQuick < -1.4 && pipeQuick < dewMove-1:
		e += strong
	case math.IsNaN(pipe):
		switch {
		case hotMove < -2:
			e -= fair
		case hotMove > -0.5:
			e += weak
		}
	case hot-pipe < liftLeast:
		e -= fair
	case warming && liftMove < -0.5 && (hotQuick < -0.4 || noHot && over > usual+2):
		e -= strong
	case warming && liftMove < -0.5 && !(hotQuick > 0.5):
		e -= fair
	case holding && cold > 8 && !(hotMove < -1) && (hot-pipe > liftUsual || noHot && over < usual+6):
		e += fair
	case holding && over < usual+3:
		e += weak
	case over > usual+8 && !(hotQuick > 0.3):
		e -= weak
	}
	return e
}
