package modbus

import "time"

// rest leaves alone what does not answer: longer after each failure, with
// jitter, up to a ceiling, and never so often that the attempts cost more than
// a twentieth of the time.
type rest struct {
	failures int
	until    time.Time
	reason   string
}

const (
	restLeast  = 5 * time.Second
	restMost   = 5 * time.Minute
	redialMost = time.Minute
	// restCost is how many times the cost of a failed attempt the rest after it
	// lasts at least: 5 % of the bus's time.
	restCost = 19
)

// resting tells whether it is not yet time to try again.
func (r *rest) resting(now time.Time) bool { return now.Before(r.until) }

// failed counts a failure that took cost. The first one brings no rest: a lost
// frame happens, and the period is pause enough.
func (r *rest) failed(now time.Time, cost, most time.Duration, reason string, random func() float64) {
	r.failures++
	r.reason = reason
	if r.failures < 2 {
		return
	}
	d := min(restLeast<<min(r.failures-2, 10), most)
	d = max(d, restCost*cost)
	r.until = now.Add(d + time.Duration(random()*float64(d)/4))
}

// worked forgets the failures.
func (r *rest) worked() { *r = rest{} }
