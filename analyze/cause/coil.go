package cause

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// track follows one superheat, of a coil's outlet or of a compressor's inlet,
// while it means something: now, the last minutes, the last day.
type track struct {
	valid  bool                // the superheat means something now
	over   filter.LowPass      // K above the group's dew
	recent [recentKept]float32 // ring of over, one an interval
	next   int
	filled int
	swings swings
	past   past
}

// recentKept intervals are three minutes, as long as liquid may take from a
// coil to the compressor; recentHigh are two. Common practice, no source.
const (
	recentKept = 18
	recentHigh = 12
	trackTau   = 10.0 // s
)

// update enters a superheat in K.
func (t *track) update(at, step int64, over float64, undisturbed bool) {
	t.over.Update(over, step, trackTau)
	t.valid = !math.IsNaN(over)
	if !t.valid {
		return
	}
	t.recent[t.next] = float32(t.over.Value())
	t.next = (t.next + 1) % recentKept
	t.filled = min(t.filled+1, recentKept)
	if undisturbed {
		t.swings.update(at, step, t.over.Value())
	}
}

// pause forgets the last minutes: what follows has nothing to do with them.
func (t *track) pause() {
	t.valid, t.filled = false, 0
	t.over.Reset()
	t.swings.pause()
}

// lowest returns the lowest superheat of the last three minutes, K; NaN when
// none is known.
func (t *track) lowest() float64 {
	low := nan
	for i := range t.filled {
		if v := t.ago(i); !(low <= v) {
			low = v
		}
	}
	return low
}

// highest returns the highest superheat of the last two minutes, K; NaN when
// none is known.
func (t *track) highest() float64 {
	high := nan
	for i := range min(t.filled, recentHigh) {
		if v := t.ago(i); !(high >= v) {
			high = v
		}
	}
	return high
}

// ago returns the superheat of i intervals ago.
func (t *track) ago(i int) float64 {
	return float64(t.recent[(t.next+recentKept-1-i)%recentKept])
}

// coil follows one circuit.
type coil struct {
	track
	name  string
	kind  frame.DefrostKind
	stage frame.Stage
	since int64 // of that stage
	// fedAgain is when it last went from a defrost, or what looked like one,
	// straight to refrigeration.
	fedAgain  int64
	last      frame.DefrostRun
	measured  bool           // there is an outlet temperature
	signalled bool           // a signal shows its defrosts
	blind     bool           // there is neither that nor a defrost signal
	gap       filter.LowPass // air above dew, K
	air       filter.LowPass // °C
	defrosts  defrostHistory
	shut      shutTrial
}

// Common practice, no source.
const (
	airTau      = 300.0      // s, of gap and air
	shutLong    = 4 * minute // from which a valve that shuts shows in the group
	wetBefore   = 10.0       // K, inlet superheat below which a group counts as wet before a defrost
	shutWatched = 12.0       // observations while shut that are enough to compare
	shutTrials  = 1.0        // defrosts beside the newest that the gain remembers
	noticedLate = 3 * minute // that a restart takes to show where no signal marks it
)

// shutTrial follows the compressors while one circuit's liquid valve is shut: a
// flooded group that dries up then has found its source.
type shutTrial struct {
	on     bool
	before float64        // lowest inlet superheat before, K
	during filter.Spread  // of the lowest inlet superheat, K
	gain   filter.LowPass // K, of the defrosts that began while the compressors were wet
}

func (s *shutTrial) update(shut bool, at, since int64, g *Group) {
	switch {
	case shut && !s.on:
		s.before, s.during = g.lowest.Value(), filter.Spread{}
	case shut && at-since > shutLong:
		s.during.Update(g.lowestInlet())
	case !shut && s.on && s.during.N > shutWatched && s.before < wetBefore:
		s.gain.Update(s.during.Mean-s.before, second, shutTrials)
	}
	s.on = shut
}

func (c *coil) observe(at, step int64, x *frame.Circuit, g *Group, calm bool) {
	was, wasSince := c.stage, c.since
	c.kind, c.stage, c.since = x.Kind, x.Stage, x.Since
	c.shut.update(c.isShut(), at, c.since, g)
	if was == frame.Defrosting && c.isFed() && at-wasSince > shutLong {
		c.fedAgain = at // also where phase took the pause for no defrost
	}
	if x.Last != c.last {
		c.last = x.Last
		c.defrosts.update(&c.last)
	}
	c.measured = !math.IsNaN(float64(x.CoilOutlet))
	c.signalled = x.Signal != frame.Unset
	c.blind = !c.measured && !c.signalled
	if !c.isFed() || !calm {
		c.pause()
		if !c.isFed() {
			c.gap.Reset()
		}
		return
	}
	undisturbed := c.stage == frame.Refrigerating
	c.update(at, step, float64(x.CoilOutlet)-g.dew.Value(), undisturbed)
	if at-g.flowing >= airSettling {
		c.gap.Update(float64(x.Air)-g.dewSlow.Value(), step, airTau)
		c.air.Update(float64(x.Air), step, airTau)
	}
	if undisturbed {
		c.past.update(at, c.over.Value(), c.gap.Value(), c.air.Value())
	}
}

// isFed reports whether the circuit gets liquid, as far as is known.
func (c *coil) isFed() bool { return c.stage == frame.Refrigerating || c.stage == frame.PullingDown }

// isShut reports that it gets none.
func (c *coil) isShut() bool { return c.stage == frame.Defrosting }

// ago returns the seconds from the circuit's restart to at; +Inf when there
// was none. A restart may come before anything shows it: while the coil drips
// the end of the heat stands for it, and one that is noticed within a few
// minutes after at counts as having been at at.
func (c *coil) ago(at int64) float64 {
	from := max(c.last.Resumed, c.fedAgain)
	if from == 0 || from < c.last.Ended {
		from = c.last.Ended
	}
	if from == 0 || from-at > noticedLate {
		return math.Inf(1)
	}
	return max(float64(at-from)/1e9, 0)
}

// lowness returns how far the outlet came down from normal to dew, 0 to 1; NaN
// when the outlet means nothing now.
func (c *coil) lowness(b *baseline) float64 {
	if !c.valid {
		return nan
	}
	return filter.Clamp((b.normal - c.lowest()) / b.normal)
}

// gapNow returns air above dew, K, when the air means something: in a pulldown
// it is warm anyway, and what it was before the defrost has to do.
func (c *coil) gapNow(at int64) float64 {
	if c.stage == frame.Refrigerating {
		return c.gap.Value()
	}
	gap := nan
	c.past.each(at, func(s *summary) bool {
		gap = s.of(airOverDew)
		return false
	})
	return gap
}

// inHotGas returns for how long hot gas had gone through the circuit at a time,
// s; NaN when it did not. Where no signal shows a defrost, it is noticed late.
func (c *coil) inHotGas(at int64) float64 {
	from, to := c.last.Began, c.last.Ended
	if c.isShut() {
		from, to = c.since, math.MaxInt64
	}
	if c.kind != frame.HotGas || from == 0 {
		return nan
	}
	if !c.signalled {
		from -= noticedLate
	}
	if at < from || at > to {
		return nan
	}
	return float64(at-from) / 1e9
}

func (c *coil) defrostColdness() float64 {
	return defrostColdness(c.kind, float64(c.last.Peak), c.last.Ended != 0)
}

// defrostColdness returns how cold the last defrost stayed, 0 to 1, from its
// highest outlet temperature in °C: the outlet must climb past 0 °C before the
// ice is gone. The values are common practice, no source.
func defrostColdness(kind frame.DefrostKind, peak float64, seen bool) float64 {
	switch {
	case !seen:
		return 0
	case kind == frame.OffCycle:
		return filter.LinearStep(peak, 1.5, 0)
	}
	return filter.LinearStep(peak, 6, 2)
}
