package cause

import (
	"math"

	"dewgap/analyze/phase"
)

// track follows one superheat, of a coil's outlet or of a compressor's inlet,
// while it means something: now, the last minutes, the last day.
type track struct {
	valid  bool // it says something now
	over   mean // K over the group's dew, 15 s
	slow   mean // … two minutes and a half
	trail  [trailLength]float32
	next   int
	filled int
	wave   wave
	past   past
}

// trailLength ticks of superheat are remembered: three minutes, as long as
// liquid may take from a coil to the compressor.
const trailLength = 36

// take enters a superheat; dew is how far the group's dew stands from its mean.
func (t *track) take(at int64, dt, over, dew float64, undisturbed bool) {
	t.over.take(over, dt, 15)
	t.slow.take(over, dt, 150)
	t.valid = !math.IsNaN(over) && t.over.known
	if !t.valid {
		return
	}
	t.trail[t.next] = float32(t.over.value)
	t.next = (t.next + 1) % trailLength
	t.filled = min(t.filled+1, trailLength)
	if undisturbed {
		t.wave.take(at, t.over.value-t.slow.value, dew, dt)
	}
}

// pause forgets the last minutes: what follows has nothing to do with them.
func (t *track) pause() {
	t.valid, t.over, t.slow, t.filled = false, mean{}, mean{}, 0
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
	for i := range min(t.filled, 24) {
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
	last  phase.Episode
	known bool // the outlet is measured
	gap   mean // air over dew, K, two minutes
	air   mean // °C, two minutes
	melts melts
}

func newCoil(name string, kind phase.DefrostKind) coil { return coil{name: name, kind: kind} }

func (c *coil) observe(at int64, dt float64, x *phase.CircuitSample, from *phase.Circuit, g *Group, calm bool) {
	c.stage, _ = from.Stage()
	if from.Last != c.last {
		c.last = from.Last
		c.melts.note(&c.last)
	}
	c.known = !math.IsNaN(x.CoilOutlet)
	if !c.cooling() || !calm {
		c.pause()
		if !c.cooling() {
			c.gap = mean{}
		}
		return
	}
	undisturbed := c.stage == phase.Refrigerating
	c.take(at, dt, x.CoilOutlet-g.dew.value, g.dew.value-g.dewSlow.value, undisturbed)
	if at-g.calm >= 3*minute {
		c.gap.take(x.Air-g.dewSlow.value, dt, 300)
		c.air.take(x.Air, dt, 300)
	}
	if undisturbed {
		c.past.take(at, c.over.now(), c.gap.now(), c.air.now())
	}
}

// cooling says whether the circuit gets liquid, as far as is known.
func (c *coil) cooling() bool { return c.stage == phase.Refrigerating || c.stage == phase.PullingDown }

// shut says that it gets none.
func (c *coil) shut() bool { return c.stage == phase.Defrosting }

// ago returns the seconds from the circuit's restart to at; +Inf when there
// was none. A restart may come before anything shows it: while the coil drips
// the end of the heat stands for it.
func (c *coil) ago(at int64) float64 {
	from := c.last.Resumed
	if from == 0 {
		from = c.last.Ended
	}
	if from == 0 || from > at {
		return math.Inf(1)
	}
	return float64(at-from) / 1e9
}

// heatAgo returns the seconds from the end of the heat to at; +Inf when there was none.
func (c *coil) heatAgo(at int64) float64 {
	if c.last.Ended == 0 || c.last.Ended > at {
		return math.Inf(1)
	}
	return float64(at-c.last.Ended) / 1e9
}

// wave measures how a superheat swings by itself: what goes in step with the
// group's dew (compressor stages) is taken out.
type wave struct {
	vv, vd, dd mean // second moments over twenty minutes
	up         bool
	crossed    int64
	period     mean // s
}

func (w *wave) take(at int64, v, d, dt float64) {
	const tau = 1200
	w.vv.take(v*v, dt, tau)
	w.vd.take(v*d, dt, tau)
	w.dd.take(d*d, dt, tau)
	switch {
	case !w.up && v > 0.4:
		if w.crossed != 0 {
			w.period.take(float64(at-w.crossed)/1e9, 1, 3)
		}
		w.up, w.crossed = true, at
	case w.up && v < -0.4:
		w.up = false
	}
}

func (w *wave) pause() { w.crossed = 0 }

// swing returns the standard deviation of what the superheat does by itself, K.
func (w *wave) swing() float64 {
	if !w.vv.known {
		return nan
	}
	v := w.vv.value
	if w.dd.value > 1e-3 {
		v -= w.vd.value * w.vd.value / w.dd.value
	}
	return math.Sqrt(max(v, 0))
}
