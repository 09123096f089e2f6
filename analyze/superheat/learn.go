package superheat

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/filter"
)

// LagLearner estimates the time constant of a temperature sensor on its pipe
// from quick changes of pressure: starts, stages, defrosts. After such a change
// the gas keeps its superheat, or changes it steadily; so the delay of the dew
// line that leaves the straightest superheat is that of the sensor. A change
// that fits no delay well (gas that warms for reasons of its own) is let go.
// The numbers are common practice, no source.
type LagLearner struct {
	ring  [learnKeep]lagMoment
	n     int                // moments in ring
	next  int                // where the next one goes
	at    int64              // of the newest
	due   int64              // when the trial under way ends; 0: none is
	rest  int64              // no trial begins before
	slow  filter.Lag         // of the dew, to see quick changes by
	fits  [learnFits]float64 // s, the newest over the oldest
	count int                // fits so far
}

type lagMoment struct {
	at        int64
	dew, pipe float64
	delay     time.Duration // of the median, which the dew has already
}

const (
	learnKeep   = 192
	learnPace   = int64(time.Second)
	learnHole   = int64(15 * time.Second) // sparser samples tell nothing of seconds
	learnQuick  = 1.5                     // K of dew off its own mean …
	learnMean   = 10 * time.Second        // … over this time begin a trial
	learnRest   = int64(5 * time.Minute)
	learnCalm   = int64(30 * time.Minute) // rest when much is learned already
	learnBefore = int64(30 * time.Second)
	learnAfter  = int64(2 * time.Minute)
	learnFits   = 24
	learnEnough = 6    // fits before the value is used
	learnShort  = 2.0  // s, the range searched
	learnLong   = 90.0 // … of which the outer third is no answer: a strapped sensor has less than 60 s
	learnRatio  = 1.12
	learnLeast  = 0.10 // smallest doubt stated, share of the value
	learnMost   = 0.5  // larger than that nothing has been learned
)

// Observe takes the dew temperature (not delayed by the lag, delay being what
// the median has added), the pipe's temperature, and whether the compressor
// runs. It tells whether Lag has changed.
func (l *LagLearner) Observe(at int64, dew, pipe float64, delay time.Duration, runs bool) bool {
	if math.IsNaN(dew) || math.IsNaN(pipe) || !runs {
		l.n, l.due = 0, 0
		return false
	}
	if l.n > 0 {
		switch since := at - l.at; {
		case since < learnPace:
			return false
		case since > learnHole:
			l.n, l.due = 0, 0
		default:
			l.slow.Update(dew, time.Duration(since), learnMean)
		}
	}
	if l.n == 0 {
		l.slow.Reset(dew)
	}
	l.ring[l.next] = lagMoment{at, dew, pipe, delay}
	if l.next++; l.next == learnKeep {
		l.next = 0
	}
	l.n, l.at = min(l.n+1, learnKeep), at
	if l.due == 0 {
		// The moments before must be there to begin the trial with.
		if math.Abs(dew-l.slow.Out) > learnQuick && at >= l.rest && l.n > 3 && at-l.ago(l.n-1).at >= learnBefore {
			l.due = at + learnAfter
		}
		return false
	}
	if at < l.due {
		return false
	}
	from := l.due - learnAfter - learnBefore
	l.due, l.rest = 0, at+learnRest
	if l.count >= learnFits {
		l.rest = at + learnCalm
	}
	tau, ok := l.fit(from)
	if !ok {
		return false
	}
	l.fits[l.count%learnFits] = tau
	l.count++
	return l.count >= learnEnough
}

// ago returns the moment i before the newest.
func (l *LagLearner) ago(i int) *lagMoment {
	return &l.ring[(l.next-1-i+2*learnKeep)%learnKeep]
}

// fit returns the time constant that leaves the straightest superheat since
// from, and whether the search was clear.
func (l *LagLearner) fit(from int64) (tau float64, ok bool) {
	first := l.n - 1
	for first > 0 && l.ago(first).at < from {
		first--
	}
	if first < 12 {
		return 0, false
	}
	best, least := 0.0, math.Inf(1)
	for x := learnShort; x <= learnLong; x *= learnRatio {
		if e := l.crooked(first, x); e < least {
			best, least = x, e
		}
	}
	if best < learnShort*1.5 || best > learnLong/1.5 {
		return 0, false
	}
	delay := l.ago(0).delay.Seconds()
	shorter, longer := l.crooked(first, best/1.6), l.crooked(first, best*1.6)
	return best + delay, least < 0.4 && min(shorter, longer) > 1.5*least
}

// crooked returns the mean square deviation (K²) of pipe − delayed dew from a
// straight line over the newest first+1 moments.
func (l *LagLearner) crooked(first int, tau float64) float64 {
	var delayed filter.Lag
	delayed.Reset(l.ago(first).dew)
	start := l.ago(first).at
	var n, st, sr, stt, str, srr float64
	for i := first; i >= 0; i-- {
		m := l.ago(i)
		if i < first {
			delayed.Update(m.dew, time.Duration(m.at-l.ago(i+1).at), time.Duration(tau*1e9))
		}
		t, r := float64(m.at-start)/1e9, m.pipe-delayed.Out
		n, st, sr, stt, str, srr = n+1, st+t, sr+r, stt+t*t, str+t*r, srr+r*r
	}
	ctt, ctr, crr := stt-st*st/n, str-st*sr/n, srr-sr*sr/n
	return max(crr-ctr*ctr/ctt, 0) / n
}

// Lag returns the median of the newest fits and the half-width of its doubt as
// a share of it; ok is false before enough is learned, or when the fits differ
// too much to be one time constant.
func (l *LagLearner) Lag() (tau time.Duration, doubt float64, fits int, ok bool) {
	n := min(l.count, learnFits)
	if n < learnEnough {
		return 0, 0, n, false
	}
	sorted := l.fits
	slices.Sort(sorted[:n])
	middle := sorted[n/2]
	// For fits that scatter normally, half of the middle half's width is 0.67
	// of a standard deviation; the doubt is taken as √3 of those.
	doubt = max(learnLeast, math.Sqrt(3)/0.67*(sorted[3*n/4]-sorted[n/4])/2/middle)
	return time.Duration(middle * 1e9), doubt, n, doubt <= learnMost
}
