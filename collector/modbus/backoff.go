package modbus

import "time"

// backoff delays the next attempt after failures: longer after each one, with
// jitter, up to a ceiling. Attempts never cost more than a twentieth of the
// bus's time.
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
	// backoffCost is the least delay after a failed attempt, in multiples of what
	// the attempt cost: 5 % of the bus's time.
	backoffCost = 19
)

// resting reports whether it is not yet time to try again.
func (r *backoff) resting(now time.Time) bool { return now.Before(r.until) }

// silent reports whether nothing has worked since the last failure.
func (r *backoff) silent() bool { return r.failures > 0 && !r.working }

// suspect reports whether the next attempt is a probe of what has failed more
// than once.
func (r *backoff) suspect() bool { return r.failures >= 2 }

// failed counts a failure that took cost. The first one brings no delay: single
// frames get lost, and the period is delay enough.
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

// succeeded ends the delay. It leaves one failure counted for a unit that failed
// twice or more, so that a unit that answers now and then is delayed after each
// failure between.
func (r *backoff) succeeded() {
	*r = backoff{failures: min(r.failures, 2) / 2, working: true}
}

// probeBudget bounds the cost of all failed probes together: while some unit
// answers, probes of units that do not answer cost at most a twentieth of the
// bus's time, however many there are. Jitter decides which is next.
type probeBudget struct{ next time.Time } // when the bus may afford the next probe

func (p *probeBudget) failed(now time.Time, cost time.Duration, random func() float64) {
	d := backoffCost * cost
	p.next = now.Add(d + time.Duration(random()*float64(d)/4))
}

// mayProbe reports whether a block may be read now. A suspect block, or one of a
// suspect unit, waits for the probe budget, unless no unit answers.
func (s *Source) mayProbe(b *block, now time.Time) bool {
	return !s.suspect(b) || s.allResting() || !now.Before(s.probeBudget.next)
}

func (s *Source) suspect(b *block) bool { return s.units[b.unit].suspect() || b.backoff.suspect() }
