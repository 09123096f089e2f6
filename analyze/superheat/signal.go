package superheat

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
)

// Reasons that a Signal finds by itself. Failures that a source reports keep
// the source's own words.
var (
	ReasonNeverRead  = &evidence.Item{Code: evidence.NeverRead}
	ReasonStale      = &evidence.Item{Code: evidence.Stale}
	ReasonNotNumber  = &evidence.Item{Code: evidence.NotANumber}
	ReasonOutOfRange = &evidence.Item{Code: evidence.OutOfRange}
	ReasonSentinel   = &evidence.Item{Code: evidence.Sentinel}
	ReasonJump       = &evidence.Item{Code: evidence.Jump}
)

const (
	// Where none is configured a value is stale after staleIntervals of the
	// longest recent interval between good values, within these bounds; after
	// unknownStale until its rate is known. Common practice, no source.
	minStale       = 3 * time.Second
	maxStale       = 5 * time.Minute
	unknownStale   = 30 * time.Second
	staleIntervals = 3
	// An input that reports changes alone has long intervals now and then: what is
	// long is forgotten slowly.
	intervalMemory = 10 * time.Minute
	// So many failures in a row end a value, however rarely it changes.
	failuresInRow = 3
	jumpConfirm   = 3        // samples that must agree before a jump counts as real; common practice, no source
	stepConfirm   = 4        // samples that must stand still after a sudden step; common practice, no source
	keptIntervals = 5        // the observed interval is the median of so many
	noiseMemory   = 1.0 / 64 // share of the newest sample in the mean noise
	noiseClamp    = 6        // one sample counts as that many times the mean noise at most
)

// Signal is what is known of one input: its last good value, how old it is,
// and how far it can be trusted. Its times are nanoseconds of event time.
//
// A lost sample (Missing) leaves the last value standing until it is stale; a
// Bad one makes the input bad at once; a value that is bad, stale or missing
// is never given out.
type Signal struct {
	limits     limits
	configured int64 // stale after, ns; 0: from the rate seen

	value   float64
	at      int64 // of value
	taken   bool  // a good value was ever read
	good    bool  // and nothing since has ended it
	until   int64 // until when the value is good without further checks
	last    reading.Quality
	why     *evidence.Item // reason of the last failure or of the suspicion about value
	anomaly *evidence.Item // set from outside by the sensor check
	bias    Bias           // which way the suspect value is believed to be wrong

	refused   float64 // value of the last reading, where it is out of range
	attempted bool    // a reading of any quality ever came
	attempt   int64   // time of the last of them
	intervals [keptIntervals]int64
	seen      int   // intervals seen, up to keptIntervals
	even      int   // of the newest, so many are equal
	interval  int64 // median of intervals
	// longest and second are the two longest recent intervals between good values.
	// The second counts: one gap is an outage, two are how the input works.
	longest, second int64
	goods           int   // intervals between good values, up to knownRate
	failures        int   // in a row
	stale           int64 // current limit, ns

	jumping int     // samples still needed to confirm a jump
	before  float64 // level before the jump

	move  float64 // last change between samples
	noise float64 // mean change of that change, clamped
	still Stillness
	step  stepWatch
}

// NewSignal returns the tracker of an input with the given role. staleAfter is
// the configured age at which a value is stale; zero means 3 × the longest
// recent interval between good values, at least 3 s and at most 5 min.
func NewSignal(role reading.Role, staleAfter time.Duration) Signal {
	s := Signal{limits: limitsOf(role), configured: int64(staleAfter), why: ReasonNeverRead}
	s.until, s.stale = math.MinInt64, s.configured
	if s.stale <= 0 {
		s.stale = int64(unknownStale)
	}
	return s
}

// Take enters a reading that became known at the given time. Times must not go
// back; a reading older than the last is ignored. It reports whether a new good
// (or suspect) value was taken.
func (s *Signal) Take(at int64, r *reading.Reading) bool {
	if s.attempted {
		if at < s.attempt {
			return false
		}
		s.observeInterval(at - s.attempt)
	}
	s.attempted, s.attempt = true, at
	taken := false
	switch r.Quality {
	case reading.Good, reading.Suspect:
		taken = s.takeValue(at, r)
	case reading.Missing, reading.Stale:
		s.last, s.why = reading.Missing, s.failure(r.Reason)
		if s.failures++; s.failures >= failuresInRow && at-s.at > int64(minStale) || ended(r.Reason) {
			s.good = false
		}
	default:
		s.bad(s.failure(r.Reason))
	}
	s.trust()
	return taken
}

// ended reports whether a source has found by itself that nothing comes any
// more: the value before stands for nothing.
func ended(reason string) bool {
	if reason == "" {
		return false
	}
	code := reading.CodeOf(reason)
	return code == reading.Silent || code == reading.Resting
}

// trust sets until when the value is good without further checks.
func (s *Signal) trust() {
	s.until = math.MinInt64
	if s.good && (s.last == reading.Good || s.last == reading.Missing) && s.anomaly == nil {
		s.until = s.at + s.stale
	}
}

func (s *Signal) bad(reason *evidence.Item) {
	s.last, s.why, s.good, s.jumping = reading.Bad, reason, false, 0
	s.step.reset()
}

func (s *Signal) takeValue(at int64, r *reading.Reading) bool {
	x := r.Value
	switch {
	case math.IsNaN(x) || math.IsInf(x, 0):
		s.bad(ReasonNotNumber)
		return false
	case x < s.limits.low || x > s.limits.high:
		s.bad(ReasonOutOfRange)
		s.refused = x
		return false
	}
	if s.taken {
		s.observeGood(at - s.at)
	}
	s.taken, s.failures = true, 0
	fresh := s.good && at-s.at <= s.continuous()
	if s.limits.isSentinel(x) && !(fresh && math.Abs(x-s.value) < s.limits.jump) {
		s.bad(ReasonSentinel)
		return false
	}
	quality, why := r.Quality, (*evidence.Item)(nil)
	if r.Reason != "" {
		why = s.failure(r.Reason)
	}
	if fresh && s.limits.jump > 0 {
		if s.watchJump(x, at-s.at) && quality == reading.Good {
			quality, why = reading.Suspect, ReasonJump
		}
	} else {
		s.jumping = 0
	}
	switch {
	case s.limits.isSwitch():
	case fresh:
		s.roughen(x - s.value)
		s.still.take(x == s.value, at)
		s.step.take(s.value, x, at, s.limits.step+s.limits.stepShare*s.value)
	default:
		s.still.restart(at)
		s.step.reset()
	}
	s.value, s.at, s.good, s.last, s.why = x, at, true, quality, why
	return true
}

// watchJump reports whether x is suspect as a jump or as the unconfirmed level
// after one.
func (s *Signal) watchJump(x float64, dt int64) bool {
	limit := s.limits.jump + s.limits.rate*float64(dt)/1e9
	if math.Abs(x-s.value) > limit {
		if s.jumping > 0 && math.Abs(x-s.before) <= limit {
			s.jumping = 0 // back where it was: the spike is over
			return false
		}
		s.before, s.jumping = s.value, jumpConfirm
		return true
	}
	if s.jumping > 0 {
		s.jumping--
	}
	return s.jumping > 0
}

func (s *Signal) observeInterval(d int64) {
	if d == 0 {
		return
	}
	if d != s.intervals[0] {
		s.even = 0
	} else if s.even++; s.even >= keptIntervals {
		return // nothing new: the usual case
	}
	copy(s.intervals[1:], s.intervals[:keptIntervals-1])
	s.intervals[0] = d
	if s.seen < keptIntervals {
		s.seen++
	}
	sorted := s.intervals
	slices.Sort(sorted[:s.seen])
	m := sorted[(s.seen-1)/2]
	if m == s.interval {
		return
	}
	s.interval = m
}

// knownRate is how many intervals between good values make a rate.
const knownRate = 4

// observeGood takes an interval between good values into the age at which one is
// stale.
func (s *Signal) observeGood(d int64) {
	if s.configured > 0 || d <= 0 {
		return
	}
	if d != s.longest || d != s.second { // not the usual case
		kept := max(0, 1-float64(d)/float64(intervalMemory))
		before := s.longest
		s.longest, s.second = int64(kept*float64(s.longest)), int64(kept*float64(s.second))
		if d >= s.longest {
			s.longest, s.second = d, min(d, before)
		} else {
			s.second = max(s.second, d)
		}
	}
	least, interval := int64(minStale), s.second
	if s.goods < knownRate {
		s.goods++
		least, interval = int64(unknownStale), s.longest
	}
	s.stale = min(max(staleIntervals*interval, least), int64(maxStale))
}

// continuous is how long a value may lie back for the next to continue it: what
// is followed from value to value begins anew after a longer one.
func (s *Signal) continuous() int64 { return max(s.stale, int64(unknownStale)) }

// failure returns a source's reason as evidence; the same one while the reason
// stays the same.
func (s *Signal) failure(reason string) *evidence.Item {
	if reason == "" {
		return ReasonNeverRead
	}
	if s.why == nil || s.why.Code != evidence.SourceFailure || s.why.Word("reason") != reason {
		failure := evidence.New(evidence.SourceFailure, evidence.Name("reason", reason))
		return &failure
	}
	return s.why
}

// Now returns the value at the given time with its quality and the reason why
// it is not good; nil where it is. The value is NaN unless the quality is Good
// or Suspect.
func (s *Signal) Now(now int64) (float64, reading.Quality, *evidence.Item) {
	if now <= s.until {
		return s.value, reading.Good, nil
	}
	return s.judge(now)
}

func (s *Signal) judge(now int64) (float64, reading.Quality, *evidence.Item) {
	switch {
	case s.last == reading.Bad && s.why == ReasonOutOfRange && s.anomaly != nil:
		return math.NaN(), reading.Bad, s.anomaly
	case s.last == reading.Bad:
		return math.NaN(), reading.Bad, s.why
	case !s.good && s.last == reading.Missing:
		return math.NaN(), reading.Missing, s.why
	case now-s.at > s.stale:
		if s.last == reading.Missing {
			return math.NaN(), reading.Missing, s.why
		}
		return math.NaN(), reading.Stale, ReasonStale
	case s.anomaly != nil:
		return s.value, reading.Suspect, s.anomaly
	case s.last == reading.Suspect:
		return s.value, reading.Suspect, s.why
	default:
		return s.value, reading.Good, nil
	}
}

// Doubt marks the input as suspect for a reason that the sensor check found,
// with the way it is believed to be wrong, until it is called with nil.
func (s *Signal) Doubt(reason *evidence.Item, bias Bias) {
	s.anomaly, s.bias = reason, bias
	s.trust()
}

// Bias is which way a doubted value is believed to be wrong. The zero value is
// not known.
type Bias int8

// Ways of being wrong.
const (
	ReadsLow  Bias = -1
	ReadsHigh Bias = 1
)

// suspectBias returns the bias of a value that Now calls Suspect.
func (s *Signal) suspectBias() Bias {
	if s.anomaly == nil {
		return 0
	}
	return s.bias
}

// Refused returns the value of the last reading, where it lies outside of what a
// sensor of the role can read.
func (s *Signal) Refused() (float64, bool) {
	return s.refused, s.last == reading.Bad && s.why == ReasonOutOfRange
}

// At returns the time of the last good value, in ns; 0 when there was none.
func (s *Signal) At() int64 { return s.at }

// Interval returns the observed interval between readings; 0 when unknown.
func (s *Signal) Interval() time.Duration { return time.Duration(s.interval) }

// StaleAfter returns the age at which the value is stale now.
func (s *Signal) StaleAfter() time.Duration { return time.Duration(s.stale) }

// Stillness returns how long the value has not changed by a single bit.
func (s *Signal) Stillness() Stillness { return s.still }

// roughen follows how much neighbouring changes differ: noise does that, a
// slope does not. A single spike counts little.
func (s *Signal) roughen(d float64) {
	r := math.Abs(d - s.move)
	s.move = d
	if s.noise > 0 {
		r = min(r, noiseClamp*s.noise)
	}
	s.noise += (r - s.noise) * noiseMemory
}

// Noise returns the standard deviation of the noise from sample to sample.
func (s *Signal) Noise() float64 {
	// The second difference of white noise has √6 of its deviation, whose mean
	// absolute value is √(2/π) of it.
	return s.noise / (math.Sqrt(6) * math.Sqrt(2/math.Pi))
}

// Step returns the last confirmed sudden step.
func (s *Signal) Step() Step { return s.step.found }
