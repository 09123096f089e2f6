package mqtt

import "time"

const (
	cadenceIntervals = 16 // intervals that the longest is taken of
	cadenceLeast     = 4  // intervals after which a topic's rate is known
	missedMessages   = 3  // that make a topic silent
)

// cadence learns how often live messages of a topic come. Its times are the
// monotonic ones of this machine, so that no step of the wall clock is a silence.
type cadence struct {
	last      time.Time // of the last live message on this connection; zero before
	intervals [cadenceIntervals]time.Duration
	n         int // intervals so far
}

// arrived takes a live message.
func (c *cadence) arrived(at time.Time) {
	if !c.last.IsZero() {
		c.intervals[c.n%cadenceIntervals] = at.Sub(c.last)
		c.n++
	}
	c.last = at
}

// restart begins a new connection: the interval across it is not learned.
func (c *cadence) restart() { c.last = time.Time{} }

// usual returns the longest of the recent intervals, which fits publishers that
// send in bursts or only changes. It is 0 while too few are known.
func (c *cadence) usual() time.Duration {
	if c.n < cadenceLeast {
		return 0
	}
	var longest time.Duration
	for _, d := range c.intervals[:min(c.n, cadenceIntervals)] {
		longest = max(longest, d)
	}
	return longest
}

const (
	minHealWait = 10 * time.Second // before a silent topic is subscribed again
	maxHealWait = time.Hour
	minSilence  = 2 * time.Second // before a topic counts as silent, however fast it is
	// healOver is how long after an attempt the next one begins anew.
	healOver = 10 * time.Minute
)

// attempts delays attempts to end a silence: each waits twice as long as the one
// before.
type attempts struct {
	n    int
	last time.Time
}

// due reports whether another attempt may be made after a silence that began at
// since. wait is the delay of the first.
func (a *attempts) due(now, since time.Time, wait time.Duration) bool {
	if a.last.After(since) {
		since = a.last
	}
	return now.Sub(since) > min(wait<<min(a.n, 10), max(maxHealWait, wait))
}

func (a *attempts) made(now time.Time) { a.n, a.last = a.n+1, now }

// arrived forgets the attempts when the last one is long ago.
func (a *attempts) arrived(now time.Time) {
	if now.Sub(a.last) > healOver {
		a.n = 0
	}
}

// wait is the silence after which a topic of a known rate is subscribed again.
func (t *topic) wait() time.Duration {
	return max(missedMessages*t.cadence.usual(), minHealWait)
}

// quietSince returns since when nothing live has come on a topic. A connection
// gives each topic its time anew.
func (t *topic) quietSince(begun time.Time) time.Time {
	if t.cadence.last.After(begun) {
		return t.cadence.last
	}
	return begun
}

// remedy is what is done about a silence.
type remedy uint8

const (
	nothing remedy = iota
	subscribeAgain
	connectAgain
)

// heal decides what to do about silence. A connection may live while the broker
// has lost its subscriptions: another client took the session over, or the
// broker was rebuilt behind a proxy. Topics that miss three messages at their
// usual rate are subscribed again. When no topic delivers any more in spite of
// that, the source connects again. Each further attempt waits twice as long.
// Where no rate is known, silent reports whether the configured silence is over.
func (s *Source) heal(now, begun, lastLive time.Time, silent bool) (remedy, []*topic) {
	var overdue []*topic
	known, wait := false, maxHealWait
	for _, t := range s.topics {
		if t.refused != "" || t.cadence.usual() == 0 {
			continue
		}
		known = true
		since := t.quietSince(begun)
		// A topic that was silent already when the last message came shows nothing
		// about the broker.
		if lastLive.Sub(since) <= t.wait() {
			wait = min(wait, t.wait())
		}
		if now.Sub(since) > t.wait() && t.attempts.due(now, since, t.wait()) {
			overdue = append(overdue, t)
		}
	}
	quiet := now.Sub(lastLive) > wait
	if !known {
		wait, quiet = max(s.set.Silence, minHealWait), silent
	}
	if quiet && (s.attempts.n == 0 || s.attempts.due(now, lastLive, wait)) {
		s.attempts.made(now)
		if s.subscribedAgain {
			return connectAgain, nil
		}
		s.subscribedAgain = true
		if !known || len(overdue) == 0 {
			overdue = s.accepted()
		}
	}
	if len(overdue) == 0 {
		return nothing, nil
	}
	for _, t := range overdue {
		t.attempts.made(now)
	}
	return subscribeAgain, overdue
}

// accepted returns the topics that the broker delivers.
func (s *Source) accepted() []*topic {
	var all []*topic
	for _, t := range s.topics {
		if t.refused == "" {
			all = append(all, t)
		}
	}
	return all
}
