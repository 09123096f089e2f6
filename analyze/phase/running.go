package phase

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
)

// runEstimator infers whether a compressor runs where no signal shows it. It is
// a sequential test (Wald, 1945): each 5 s it adds to llr the logarithm of how
// much likelier the last minutes are of a running machine than of a standing
// one, kept between bounds. The answer changes when llr passes tipLLR on the
// other side, and is dated back to where llr began to fall. The evidence: gas
// carries the pipe along with the dew, while without gas the pipe only relaxes
// towards the room; without gas the discharge cools, and only then. The group's
// pressures add theirs, see pressureEvidence.
type runEstimator struct {
	discharge, pipe, delayedDew filter.History
	last, bucket                int64
	llr                         float64
	running                     frame.Tristate
	best                        float64        // llr furthest on the side of the present answer, fading,
	bestAt                      int64          // and when it did
	usual, hot                  filter.LowPass // superheat and discharge while running
	moved                       moves          // in the last minute
}

// Numbers of the test: nats, and K in a minute. Common practice, no source.
const (
	maxLLR      = 1.9         // bound of llr
	tipLLR      = 0.8         // where the answer changes
	firstLLR    = 0.03        // each 5 s, while nothing is known
	sureLLR     = 1.2         // from where the answer is sure
	fadeLLR     = 0.02        // of best, each 5 s
	changeSlack = int64(10e9) // ns from a change to where it shows in means of 5 s

	minute = int64(60e9)

	roomLow, roomHigh = 8.0, 34.0 // °C of a machine room that nobody measures
	roomSway          = 4.0       // K about one that is measured

	// A pipe or discharge without gas relaxes towards the room with a time
	// constant between 6 and 50 minutes.
	maxRelax, minRelax = 1.0 / 6, 1.0 / 50 // a minute
	relaxNoise         = 0.35              // K
	calm               = 0.5               // K in a minute that a running machine's pipes wander

	pipeQuick       = 0.8  // K in half a minute beyond that: noise does not carry a mean of 5 s there
	flowLLR         = 0.4  // nats in 5 s that gas in the pipe makes
	pressureStopLLR = -0.4 // nats in 5 s from which the pressures show a stop

	apartFrom = 7.0  // K over the coldest pipe from which a pipe is evidence of standing,
	apartSpan = 5.0  // K more at which it is so fully,
	apartLLR  = 0.12 // with so many nats in 5 s

	minLift  = 10.0 // K from suction pipe to discharge: less is no compression
	minDry   = 8.0  // K of superheat with which
	overLine = 3.0  // K over condensing are less than any compression makes
	hotFall  = 15.0 // K below the usual discharge, where nothing wet explains it
)

// observe returns the answer at an instant and when the state began. group is
// the evidence of the group's pressures that this machine runs, own the weight
// of its own pipes beside them; others is how far the pipes of those that
// run beside it moved in the last minute; coldest is the coldest suction pipe of
// the group.
func (s *runEstimator) observe(x *frame.Frame, c *frame.Compressor, group, own float64, others moves, coldest float64) (frame.Tristate, int64) {
	at := x.At
	if x.LongGap || s.last != 0 && at-s.last > int64(reading.LongGap) {
		*s = runEstimator{usual: s.usual, hot: s.hot}
	}
	s.last = at
	s.discharge.Update(at, float64(c.Discharge))
	s.pipe.Update(at, float64(c.Inlet.Temperature))
	s.delayedDew.Update(at, float64(c.Inlet.DelayedDew))
	if b := at / filter.DefaultSpacing; b != s.bucket {
		n := steps(b - s.bucket)
		if s.bucket == 0 {
			n = 1
		}
		s.bucket = b
		e := s.evidence(x, own, others) - s.apart(x, coldest)
		switch {
		case s.flows(x):
			e, group = e+flowLLR, max(group, 0)
		case group < pressureStopLLR:
			e = min(e, 0) // pipes with slow sensors go on for a while after a stop
		}
		s.tip(at, n*(e+group))
	}
	since := at
	if s.bestAt < 0 { // tipped just now
		since, s.bestAt = -s.bestAt-changeSlack, at
	}
	return s.running, since
}

// steps returns how many times 5 s the evidence of one row counts for, that many
// spacings after the one before.
func steps(spacings int64) float64 { return min(float64(spacings), 6) }

// tip adds evidence to llr and changes the answer where it has tipped;
// bestAt is negative then.
func (s *runEstimator) tip(at int64, e float64) {
	s.llr = min(max(s.llr+e, -maxLLR), maxLLR)
	side := 1.0
	switch s.running {
	case frame.No:
		side = -1
	case frame.Unset:
		s.llr += firstLLR // most machines that are looked at run
	}
	if s.best -= fadeLLR; side*s.llr >= s.best {
		s.best, s.bestAt = side*s.llr, at
	}
	switch {
	case s.llr > tipLLR && s.running != frame.Yes:
		s.running = frame.Yes
	case s.llr < -tipLLR && s.running != frame.No:
		s.running = frame.No
	default:
		return
	}
	s.best, s.bestAt = tipLLR, -s.bestAt
}

// room returns between which temperatures the machine room is.
func room(x *frame.Frame) (low, high float64) {
	if math.IsNaN(float64(x.Ambient)) {
		return roomLow, roomHigh
	}
	return float64(x.Ambient) - roomSway, float64(x.Ambient) + roomSway
}

// sure reports that the answer is trusted.
func (s *runEstimator) sure() bool { return math.Abs(s.llr) >= sureLLR }

// flows reports that the pipe moved within half a minute as only gas moves it:
// away from the room, or faster to it than metal relaxes.
func (s *runEstimator) flows(x *frame.Frame) bool {
	low, high := room(x)
	pipe := s.pipe.Newest()
	move := pipe - s.pipe.Ago(x.At, minute/2)
	alone := band{}.with(maxRelax / 2 * (low - pipe)).with(maxRelax / 2 * (high - pipe))
	return alone.outside(move) > pipeQuick
}

// evidence returns what 5 s add to llr: positive for running.
func (s *runEstimator) evidence(x *frame.Frame, own float64, others moves) float64 {
	low, high := room(x)
	var e float64
	pipe, hot, delayedDew := s.pipe.Newest(), s.discharge.Newest(), s.delayedDew.Newest()
	settled := s.running == frame.Yes && s.llr > sureLLR
	if float64(x.DischargePressure-x.SuctionPressure) < closePress {
		e -= 0.4
	}
	s.moved = unmoved
	far := delayedDew - s.delayedDew.Ago(x.At, 2*minute)
	for _, w := range [...]float64{1, 2} { // minutes
		span := int64(w * float64(minute))
		part := own / (12 * w)
		if move := pipe - s.pipe.Ago(x.At, span); !math.IsNaN(move) {
			gas := band{}.with(delayedDew - s.delayedDew.Ago(x.At, span))
			if w == 1 {
				s.moved.pipe = move
				gas = gas.like(others.pipe)
			}
			e += part * moveRatio(move, gas, low-pipe, high-pipe, w)
		}
		if move := hot - s.discharge.Ago(x.At, span); !math.IsNaN(move) {
			gas := band{}.with(-2 * far).with(others.hot)
			if w == 1 {
				s.moved.hot = move
			}
			e += part * moveRatio(move, gas, low-hot, high-hot, w)
		}
	}
	if settled {
		s.hot.Update(hot, filter.DefaultSpacing, float64(usualTau)/1e9)
		s.usual.Update(pipe-delayedDew, filter.DefaultSpacing, float64(usualTau)/1e9)
	}
	rising := hot-s.discharge.Ago(x.At, minute) > 0.5
	dry := pipe-delayedDew > minDry
	switch {
	case rising:
	case hot < float64(x.CondensingDew)+overLine && dry, hot-pipe < minLift:
		e -= 0.3
	case hot < s.hot.Value()-hotFall && pipe-delayedDew > s.usual.Value()-2:
		e -= 0.15
	}
	return e
}

// apart returns the evidence of 5 s that the machine stands, because the pipe is as warm as the
// room and far warmer than the group's coldest: those that run share the
// header's gas.
func (s *runEstimator) apart(x *frame.Frame, coldest float64) float64 {
	low, _ := room(x)
	pipe := s.pipe.Newest()
	if !(pipe > low && pipe-coldest > apartFrom) {
		return 0
	}
	return apartLLR * min((pipe-coldest-apartFrom)/apartSpan, (pipe-low)/2, 1)
}

// moves are those of a machine's two pipes, K; NaN where not known.
type moves struct{ pipe, hot float64 }

var unmoved = moves{math.NaN(), math.NaN()}

// band is where a move is expected, K.
type band struct{ from, to float64 }

// outside is how far x is from the band.
func (b band) outside(x float64) float64 { return max(b.from-x, x-b.to, 0) }

// with widens the band to a move; one that is not known changes nothing.
func (b band) with(move float64) band {
	if move < b.from {
		b.from = move
	}
	if move > b.to {
		b.to = move
	}
	return b
}

// like narrows the band to where machines beside it moved, if any.
func (b band) like(move float64) band {
	if math.IsNaN(move) {
		return b
	}
	return band{move - math.Abs(move)/3, move + math.Abs(move)/3}
}

// moveRatio returns the logarithm of how much likelier a pipe's move in w minutes
// is of a running machine, whose gas explains the band, than of a standing one in
// a room that is low to high K warmer than the pipe. A pipe that does not move
// does not show that its machine stands.
func moveRatio(move float64, gas band, low, high, w float64) float64 {
	e := math.Log(runningDensity(move, gas, w) / standingDensity(move, low, high, w))
	if low+high < 0 {
		move = -move
	}
	if move < relaxNoise {
		return max(e, 0)
	}
	return e
}

// anyMove is the probability density of a move that nothing explains: one in a
// hundred, anywhere within 40 K; 1/K.
const anyMove = 0.01 / 40

// runningDensity returns the probability density of a move in w minutes of a
// running machine's pipe, 1/K: seven in ten lie within the band that its gas
// explains or little beside it, one in four farther beside, the rest anywhere.
func runningDensity(move float64, gas band, w float64) float64 {
	s := calm * math.Sqrt(w)
	y, z := gas.outside(move)/s, gas.outside(move)/(6*s)
	return 0.7/(gas.to-gas.from+2.5*s)*math.Exp(-y*y/2) + 0.25/(gas.to-gas.from+15*s)*math.Exp(-z*z/2) + 5*anyMove
}

// standingDensity returns the probability density of a move in w minutes of a
// pipe without gas, 1/K, which relaxes towards a room that is low to high K
// warmer: any time constant is as likely as its double. In the first minute one
// in eight does not move yet.
func standingDensity(move, low, high, w float64) float64 {
	const late = 0.12
	if low+high < 0 { // it cools
		move, low, high = -move, -high, -low
	}
	from, to := minRelax*max(low, 0)*w, maxRelax*high*w
	outside := band{from, to}.outside(move) / relaxNoise
	off := math.Exp(-outside*outside/2) / ((max(move, from, 0) + relaxNoise) * math.Log((to+relaxNoise)/(from+relaxNoise)))
	still := move / relaxNoise // its metal is warm, its sensor slow
	return (1-late/w)*off + late/w*0.4/relaxNoise*math.Exp(-still*still/2) + anyMove
}
