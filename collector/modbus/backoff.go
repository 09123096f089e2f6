package modbus

import "time"

// rest leaves alone what does not answer: longer after each failure, with
// jitter, up to a ceiling, and never so often that the attempts cost more than
// a twentieth of the time.
type backoff struct {
	failures int
	working  bool // the last attempt worked
	until    time.Time
	reason   string
}

const (
	minBackoff = 5 * time.Second
	maxBackoff = 5 * time.Minute
	maxRedial  = time.Minute
	// restCost is how many times the cost of a failed attempt the rest after it
	// lasts at least: 5 % of the bus's time.
	backoffCost = 19
)

// resting tells whether it is not yet time to try again.
func (r *backoff) resting(now time.Time) bool { return now.Before(r.until) }

// silent tells whether nothing has worked since the last failure.
func (r *backoff) silent() bool { return r.failures > 0 && !r.working }

// doubted tells whether the next attempt is a probe of what has failed more
// than once.
func (r *backoff) suspect() bool { return r.failures >= 2 }

// failed counts a failure that took cost. The first one brings no rest: a lost
// frame happens, and the period is pause enough.
func (r *backoff) failed(now time.Time, cost, most time.Duration, reason string, random func() float64) {
	r.failures++
	r.working, r.reason = false, reason
	if !r.suspect() {
		return
	}
	d := min(minBackoff<<min(r.failures-2, 10), most)
	d = max(d, backoffCost*cost)
	r.until = now.Add(d + time.Duration(random()*float64(d)/4))
}

// worked ends the rest. One failure stays on the account of what has been
// doubted, so that a unit that answers now and then rests after each failure
// between.
func (r *backoff) succeeded() {
	*r = backoff{failures: min(r.failures, 2) / 2, working: true}
}

// probing bounds what all that rests costs together: while some unit answers,
// failed probes of those that do not cost a twentieth of the bus's time at
// most, however many they are. Jitter decides whose turn it is.
type probeBudget struct{ next time.Time } // when the bus may afford the next probe

func (p *probeBudget) failed(now time.Time, cost time.Duration, random func() float64) {
	d := backoffCost * cost
	p.next = now.Add(d + time.Duration(random()*float64(d)/4))
}

// mayProbe tells whether a block may be read now: one whose unit or itself is
// doubted only when the bus can afford it, unless no unit answers anyhow.
func (s *Source) mayProbe(b *block, now time.Time) bool {
	return !s.suspect(b) || s.allResting() || !now.Before(s.probeBudget.next)
}

func (s *Source) suspect(b *block) bool { return s.units[b.unit].suspect() || b.backoff.suspect() }
