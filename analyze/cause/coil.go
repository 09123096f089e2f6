package cause

import (
	"math"

	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
)

// track follows one superheat, of a coil's outlet or of a compressor's inlet,
// while it means something: now, the last minutes, the last day.
type track struct {
	valid  bool // it says something now
	over   mean // K over the group's dew, 10 s
	trail  [trailLength]float32
	next   int
	filled int
	wave   wave
	past   past
}

// trailLength ticks of superheat are remembered: three minutes, as long as
// liquid may take from a coil to the compressor.
const trailLength = 18

// take enters a superheat.
func (t *track) take(at int64, dt, over float64, undisturbed bool) {
	t.over.take(over, dt, 10)
	t.valid = !math.IsNaN(over) && t.over.known
	if !t.valid {
		return
	}
	t.trail[t.next] = float32(t.over.value)
	t.next = (t.next + 1) % trailLength
	t.filled = min(t.filled+1, trailLength)
	if undisturbed {
		t.wave.take(at, t.over.value, dt)
	}
}

// pause forgets the last minutes: what follows has nothing to do with them.
func (t *track) pause() {
	t.valid, t.over, t.filled = false, mean{}, 0
	t.wave.pause()
}

// lowest returns the lowest superheat of the last three minutes; NaN when none
// is known.
func (t *track) lowest() float64 {
	low := nan
	for i := range t.filled {
		if v := float64(t.trail[(t.next+trailLength-1-i)%trailLength]); !(low <= v) {
			low = v
		}
	}
	return low
}

// highest returns the highest superheat of the last two minutes.
func (t *track) highest() float64 {
	high := nan
	for i := range min(t.filled, 12) {
		if v := float64(t.trail[(t.next+trailLength-1-i)%trailLength]); !(high >= v) {
			high = v
		}
	}
	return high
}

// coil follows one circuit.
type coil struct {
	track
	name  string
	kind  phase.DefrostKind
	stage phase.Stage
	since int64 // of that stage
	// fedAgain is when it last went from a defrost, or what looked like one,
	// straight to refrigeration.
	fedAgain int64
	last     phase.Episode
	known    bool // the outlet is measured
	blind    bool // … neither is a defrost signalled
	gap      mean // air over dew, K, two minutes
	air      mean // °C, two minutes
	melts    melts
	shutting
}

// shutting tells how the compressors fare while this circuit's liquid valve is
// shut: a flooded group that dries up then has found its source.
type shutting struct {
	shut   bool
	before float64 // lowest inlet superheat before
	during steadiness
	gain   mean // K, of the defrosts that began while the compressors were wet
}

// wetBefore is the inlet superheat below which a group counts as wet here:
// common practice, no source.
const wetBefore = 10.0 // K

func (s *shutting) watch(shut bool, since int64, at int64, g *Group) {
	switch {
	case shut && !s.shut:
		s.before, s.during = g.wettest.now(), steadiness{}
	case shut && at-since > 4*minute:
		s.during.take(g.lowestInlet())
	case !shut && s.shut && s.during.n > 12 && s.before < wetBefore:
		s.gain.take(s.during.mean-s.before, 1, 1)
	}
	s.shut = shut
}

func newCoil(name string, kind phase.DefrostKind) coil { return coil{name: name, kind: kind} }

func (c *coil) observe(at int64, dt float64, x *frame.Circuit, from *phase.Circuit, g *Group, calm bool) {
	was := c.stage
	var since int64
	c.stage, since = from.Stage()
	c.shutting.watch(c.isShut(), since, at, g)
	if was == phase.Defrosting && c.cooling() && at-c.since > 4*minute {
		c.fedAgain = at // also where phases took the pause for no defrost
	}
	c.since = since
	if from.Last != c.last {
		c.last = from.Last
		c.melts.note(&c.last)
	}
	c.known = !math.IsNaN(float64(x.CoilOutlet))
	c.blind = !c.known && x.Signal == phase.Unset
	if !c.cooling() || !calm {
		c.pause()
		if !c.cooling() {
			c.gap = mean{}
		}
		return
	}
	undisturbed := c.stage == phase.Refrigerating
	c.take(at, dt, float64(x.CoilOutlet)-g.dew.value, undisturbed)
	if at-g.calm >= 3*minute {
		c.gap.take(float64(x.Air)-g.dewSlow.value, dt, 300)
		c.air.take(float64(x.Air), dt, 300)
	}
	if undisturbed {
		c.past.take(at, c.over.now(), c.gap.now(), c.air.now())
	}
}

// cooling says whether the circuit gets liquid, as far as is known.
func (c *coil) cooling() bool { return c.stage == phase.Refrigerating || c.stage == phase.PullingDown }

// isShut says that it gets none.
func (c *coil) isShut() bool { return c.stage == phase.Defrosting }

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

// noticedLate is how long a restart takes to show where no signal tells it.
const noticedLate = 3 * minute

// wave measures how a superheat swings: from turn to turn, so that a slow
// climb or fall counts for nothing.
type wave struct {
	up      bool
	begun   bool
	since   int64   // when it began
	extreme float64 // since the last turn
	at      int64   // of that
	turn    float64 // value and time of the last turn
	turned  int64
	last    float64 // last half swing, K
	half    float64 // its length, s
	level   mean    // swing over the last quarter of an hour
	period  mean    // s
}

const (
	turnBack = 0.7 // K; how far a value must come back from an extreme to have turned
	slowest  = 300 // s; a half swing that takes longer is no swing of a valve
	// unseenFor is how long a superheat must be watched without a break before
	// it is taken for one that does not swing.
	unseenFor = 4 * minute
)

func (w *wave) take(at int64, v, dt float64) {
	if !w.begun {
		w.begun, w.since, w.extreme, w.at, w.turn, w.turned = true, at, v, at, v, at
	}
	switch {
	case w.up == (v > w.extreme):
		w.extreme, w.at = v, at
	case math.Abs(v-w.extreme) >= turnBack:
		w.last = math.Abs(w.extreme - w.turn)
		w.half = float64(w.at-w.turned) / 1e9
		if w.half > slowest || w.turned == w.since { // from a restart it is no swing
			w.last = 0
		} else if w.last > 0 {
			w.period.take(2*w.half, 1, 4)
		}
		w.turn, w.turned = w.extreme, w.at
		w.up = !w.up
		w.extreme, w.at = v, at
	}
	if w.last == 0 && at-w.since < unseenFor {
		return // a swing would not have shown yet
	}
	now := w.last
	if float64(at-w.turned)/1e9 > max(2.5*w.half, 60) {
		now = 0
	}
	w.level.take(now, dt, 900)
}

// pause forgets the swing under way.
func (w *wave) pause() { w.begun, w.last = false, 0 }

// swing returns how far the superheat swings of late, peak to peak, K; NaN
// while compressors that come and go have not let it be watched.
func (w *wave) swing() float64 { return w.level.now() }
