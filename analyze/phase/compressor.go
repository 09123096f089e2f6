package phase

import "dewgap/analyze/frame"

// Compressor follows one compressor's running and standing.
type Compressor struct {
	running frame.Tristate
	since   int64 // of running or standing as it is now; 0 when that was not seen to begin
	seen    int64 // first sample of the present state
	start   bool  // the present run began after a long enough stop
	stopped int64 // length of the last stop, ns; 0 not known
	sure    bool  // running is signalled, or inferred with confidence
}

// Observe takes what is known at an instant; changed is when a change that is
// noticed now really was; gap reports a long gap in the data before it, after
// which nothing from before stands.
func (c *Compressor) Observe(at int64, running frame.Tristate, changed int64, gap bool, s *limits) {
	if gap {
		*c = Compressor{}
	}
	if running == c.running {
		return
	}
	before := c.running
	switch {
	case running == frame.Unset:
		*c = Compressor{}
		return
	case before == frame.Unset: // the beginning was not seen
	case running == frame.Yes:
		from := c.since
		if from == 0 {
			from = c.seen // it stood at least since then
		}
		c.stopped = changed - from
		c.start = c.stopped >= s.offBeforeStart || c.since == 0
		c.since = changed
	default:
		c.since = changed
	}
	c.running, c.seen = running, at
}

// Running returns whether the compressor runs.
func (c *Compressor) Running() frame.Tristate { return c.running }

// Sure reports that Running is signalled or inferred with confidence; without
// it, nothing that only a running compressor can have may be raised.
func (c *Compressor) Sure() bool { return c.sure }

// For returns how long the compressor has been running or standing, in ns, as
// far as was seen, and whether its beginning was seen.
func (c *Compressor) For(at int64) (ns int64, whole bool) {
	if c.since != 0 {
		return at - c.since, true
	}
	return at - c.seen, false
}

// Stopped returns how long the stop before the present run lasted, as far as
// was seen, in ns; 0 when no stop was seen.
func (c *Compressor) Stopped() int64 { return c.stopped }

// inStart returns how the present run relates to its start phase: Yes in it, No
// past it, Unset where its beginning was not seen.
func (c *Compressor) inStart(at int64, s *limits) frame.Tristate {
	if c.running != frame.Yes {
		return frame.No
	}
	if c.since == 0 {
		// Found running: it may just have started.
		if at-c.seen < s.startLength {
			return frame.Unset
		}
		return frame.No
	}
	return frame.Of(c.start && at-c.since < s.startLength)
}
