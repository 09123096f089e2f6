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
// that fits no delay well (gas that warms for reasons of its own) is passed
// over. The numbers are common practice, no source.
type LagLearner struct {
	samples [keptSamples]lagSample // a ring
	n       int                    // samples in it
	next    int                    // where the next one goes
	at      int64                  // of the newest
	due     int64                  // when the trial under way ends; 0: none is
	pause   int64                  // no trial begins before
	mean    filter.Lag             // of the dew, to find quick changes by
	fits    [keptFits]float64      // s, the newest over the oldest
	count   int                    // fits so far
}

// lagSample is one pair of temperatures, °C.
type lagSample struct {
	at        int64
	dew, pipe float64
	delay     time.Duration // of the median, which the dew has already
}

const (
	keptSamples   = 192
	sampleSpacing = int64(time.Second)      // ns; closer ones are passed over
	sampleGap     = int64(15 * time.Second) // ns; sparser samples show nothing of seconds
	quickChange   = 1.5                     // K of dew off its own mean that begin a trial
	quickMean     = 10 * time.Second        // time constant of that mean
	trialBefore   = int64(30 * time.Second) // ns of samples before the change
	trialAfter    = int64(2 * time.Minute)  // ns of samples after it
	trialPause    = int64(5 * time.Minute)  // ns between trials
	trialPauseFit = int64(30 * time.Minute) // ns between trials when much is learned already
	minSamples    = 12                      // in a trial
	keptFits      = 24
	enoughFits    = 6    // before the value is used
	shortestTau   = 2.0  // s, of the range searched
	longestTau    = 90.0 // s
	tauRatio      = 1.12 // between two that are tried
	edgeRatio     = 1.5  // an answer that near to an end of the range is none: a strapped sensor has less than 60 s
	worstFit      = 0.4  // K²; a trial that leaves more fits no time constant
	besideRatio   = 1.6  // a time constant that much longer or shorter
	besideWorse   = 1.5  // has to fit worse by this factor
	minSpread     = 0.10 // smallest spread stated, share of the value
	maxSpread     = 0.5  // with a larger spread nothing has been learned
)

// Observe takes the dew temperature (not delayed by the lag, delay being what
// the median has added), the pipe's temperature, and whether the compressor
// runs. It reports whether Lag has changed.
func (l *LagLearner) Observe(at int64, dew, pipe float64, delay time.Duration, runs bool) bool {
	if math.IsNaN(dew) || math.IsNaN(pipe) || !runs {
		l.n, l.due = 0, 0
		return false
	}
	if l.n > 0 {
		switch since := at - l.at; {
		case since < sampleSpacing:
			return false
		case since > sampleGap:
			l.n, l.due = 0, 0
		default:
			l.mean.Update(dew, time.Duration(since), quickMean)
		}
	}
	if l.n == 0 {
		l.mean.Reset(dew)
	}
	l.samples[l.next] = lagSample{at, dew, pipe, delay}
	if l.next++; l.next == keptSamples {
		l.next = 0
	}
	l.n, l.at = min(l.n+1, keptSamples), at
	if l.due == 0 {
		// The samples before must be there to begin the trial with.
		if math.Abs(dew-l.mean.Out) > quickChange && at >= l.pause && at-l.ago(l.n-1).at >= trialBefore {
			l.due = at + trialAfter
		}
		return false
	}
	if at < l.due {
		return false
	}
	from := l.due - trialAfter - trialBefore
	l.due, l.pause = 0, at+trialPause
	if l.count >= keptFits {
		l.pause = at + trialPauseFit
	}
	tau, ok := l.fit(from)
	if !ok {
		return false
	}
	l.fits[l.count%keptFits] = tau
	l.count++
	return l.count >= enoughFits
}

// ago returns the sample i before the newest.
func (l *LagLearner) ago(i int) *lagSample {
	return &l.samples[(l.next-1-i+2*keptSamples)%keptSamples]
}

// fit returns the time constant that leaves the straightest superheat since
// from, and whether the search was clear.
func (l *LagLearner) fit(from int64) (tau float64, ok bool) {
	first := l.n - 1
	for first > 0 && l.ago(first).at < from {
		first--
	}
	if first < minSamples {
		return 0, false
	}
	best, least := 0.0, math.Inf(1)
	for x := shortestTau; x <= longestTau; x *= tauRatio {
		if e := l.misfit(first, x); e < least {
			best, least = x, e
		}
	}
	if best < shortestTau*edgeRatio || best > longestTau/edgeRatio {
		return 0, false
	}
	delay := l.ago(0).delay.Seconds()
	shorter, longer := l.misfit(first, best/besideRatio), l.misfit(first, best*besideRatio)
	return best + delay, least < worstFit && min(shorter, longer) > besideWorse*least
}

// misfit returns the mean square deviation (K²) of pipe − delayed dew from a
// straight line over the newest first+1 samples.
func (l *LagLearner) misfit(first int, tau float64) float64 {
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

// Lag returns the median of the newest fits and its spread, the half-width as a
// share of it; ok is false before enough is learned, or when the fits differ
// too much to be one time constant.
func (l *LagLearner) Lag() (tau time.Duration, spread float64, fits int, ok bool) {
	n := min(l.count, keptFits)
	if n < enoughFits {
		return 0, 0, n, false
	}
	sorted := l.fits
	slices.Sort(sorted[:n])
	middle := sorted[n/2]
	// For fits that scatter normally, half of the middle half's width is 0.67
	// of a standard deviation; the half-width is taken as √3 of those.
	spread = max(minSpread, math.Sqrt(3)/0.67*(sorted[3*n/4]-sorted[n/4])/2/middle)
	return time.Duration(middle * 1e9), spread, n, spread <= maxSpread
}
