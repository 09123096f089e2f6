package cause

import (
	"math"

	"dewgap/analyze/frame"
)

// features is the evidence about one circuit at one instant of a floodback, in
// numbers. NaN: not known. Differences of temperature are in K, times in s.
type features struct {
	kind     frame.DefrostKind
	blind    bool // neither an outlet nor a defrost signal shows its defrosts
	circuits int  // of the group
	measured int  // of them with an outlet that means something now

	hotGasOn float64 // for how long hot gas had gone through it when the floodback began; NaN: it did not
	ran      float64 // how long the compressor had run when the floodback began; NaN: no signal tells
	starts   int     // floodbacks of this compressor within the start before, in the last hours

	ago      float64 // from the end of its defrost to the beginning of the floodback; +Inf: none
	otherAgo float64 // the same of whichever other circuit restarted last
	lasted   float64 // the floodback so far
	recurs   int     // floodbacks of this compressor in the three hours before, no restart near

	outlet      bool    // the outlet is measured; else the compressor's inlet stands for it
	low         float64 // lowest superheat there of the last three minutes
	high        float64 // highest superheat there of the last two minutes
	normal      float64 // what its outlet should have: see baseline
	mostlyLow   float64 // share of the day before in which it was far below that
	sank        float64 // share that it had lost in the hour before it came down for the first time
	relief      float64 // by how much defrosts have raised it
	swing       float64 // what the outlet does by itself, peak to peak
	otherSwings float64 // median of what the other outlets do

	air       bool    // it is measured
	airOver   float64 // air against its usual
	gapOver   float64 // air above dew against a clean coil of the day before
	gapRelief float64 // by how much defrosts have lowered that
	leap      float64 // the steepest rise of air above dew in the day, within twenty minutes; in a lone circuit without air, of the depth of suction
	leapShare float64 // share of leap in what it rose around that time
	survived  bool    // a defrost that got warm has not cured it

	defrosts int     // that have been seen, the last one included
	peak     float64 // °C, of the last defrost
	length   float64 // of the last defrost
	lengths  float64 // usual
	theirs   float64 // median length of the last defrosts of the other circuits with the same kind of heat
	plateau  float64 // of the last defrost
	plateaus float64 // usual

	dewOver  float64 // dew against the day before
	drawOver float64 // share of compressors that run against the day before
	headOver float64 // condensing dew against the day
	offRise  float64 // of dew in the first two minutes of a standstill
	lateStop bool    // no signal shows stops: they are noticed late, and offRise is at least that
	wettest  float64 // lowness of the lowest coil, 0 to 1; NaN when an outlet is not measured
	wetCoils int     // coils at less than half of normal now
	driest   float64 // lowest outlet superheat of all fed coils; NaN when one is not measured

	superheat float64 // of the compressor
	minuteAgo float64 // highest of it in the two minutes before this floodback
	spread    float64 // of it, over this floodback
	hunts     bool    // it oscillates
	liquid    float64 // share by mass that the discharge temperature allows at most
	twins     float64 // lowest superheat of the other running compressors
}

// extract returns the features of circuit i at an instant.
func (g *Group) extract(i int, x *frame.Frame, k *Diagnosis, liquidAtMost float64, hunts bool) features {
	c, m := &g.coils[i], &x.Compressors[k.compressor]
	f := features{
		kind: c.kind, blind: c.blind, circuits: len(g.coils), ran: k.ran, starts: k.starts,
		ago: c.ago(k.began), otherAgo: math.Inf(1), lasted: float64(x.At-k.began) / 1e9, recurs: k.recurs,
		dewOver: g.dewSlow.Value() - k.usualDew, drawOver: g.running.Value() - k.usualRun, headOver: g.head.Value() - g.headDay.Value(),
		offRise: g.rises.mean.Value(), lateStop: m.Signal == frame.Unset, twins: nan,
		superheat: float64(m.Inlet.Superheat), minuteAgo: k.minuteAgo, spread: k.superheat.Deviation(), liquid: liquidAtMost, hunts: hunts,
	}
	if c.measured {
		g.extractOutlet(&f, i, x.At, k)
	} else {
		g.extractInlet(&f, i, x.At, k, float64(m.Floor))
	}
	g.extractOthers(&f, i, k)
	f.extractAir(c, &k.base[i], k.began, x.At)
	if !f.air && f.circuits == 1 {
		_, f.leap, f.leapShare = g.past.steepestRise(x.At, groupDew, -1)
	}
	f.extractDefrosts(c)
	f.theirs = g.neighboursDefrost(i)
	f.hotGasOn = c.inHotGas(k.began)
	return f
}

// neighboursDefrost returns how long the last defrosts of the other circuits
// were that may have the same kind of heat as circuit i, s; NaN where no signal
// tells the lengths.
func (g *Group) neighboursDefrost(i int) float64 {
	c := &g.coils[i]
	if !c.signalled {
		return nan
	}
	return fromOthers(len(g.coils), i, func(j int) float64 {
		o := &g.coils[j]
		if o.signalled && (o.kind == c.kind || o.kind == frame.DefrostUnset || c.kind == frame.DefrostUnset) {
			return o.last.Length()
		}
		return nan
	})
}

// extractOutlet fills in what the outlet of circuit i shows.
func (g *Group) extractOutlet(f *features, i int, at int64, k *Diagnosis) {
	c, b := &g.coils[i], &k.base[i]
	f.outlet = true
	f.normal, f.mostlyLow = b.normal, b.mostlyLow
	f.low, f.high = nan, nan
	if c.valid {
		f.low, f.high = c.lowest(), c.highest()
	}
	f.sank = c.past.lostBefore(at, b.normal)
	f.relief, f.gapRelief = c.past.relief(&c.defrosts, at)
	f.swing, f.otherSwings = c.swings.swing(), g.otherSwings(i)
}

// extractInlet fills in what the compressor's inlet shows: it stands for the
// outlet of circuit i as well as it can. floor is the compressor's, K.
func (g *Group) extractInlet(f *features, i int, at int64, k *Diagnosis, floor float64) {
	c, t := &g.coils[i], &g.inlets[k.compressor].track
	own, _ := t.past.quantile(k.began, 0.5, overDew)
	f.normal = max(own, floor)
	if math.IsNaN(f.normal) {
		f.normal = floor
	}
	f.low, f.high = t.lowest(), t.highest()
	f.mostlyLow = t.past.lowShare(k.began, f.normal)
	f.sank = t.past.lostBefore(at, f.normal)
	f.relief, _ = t.past.relief(&c.defrosts, at)
	_, f.gapRelief = c.past.relief(&c.defrosts, at)
	f.swing, f.otherSwings = t.swings.swing(), nan
}

// extractOthers fills in what the other circuits and compressors show beside
// circuit i.
func (g *Group) extractOthers(f *features, i int, k *Diagnosis) {
	fed := 0
	for j := range g.coils {
		c := &g.coils[j]
		if j != i {
			f.otherAgo = min(f.otherAgo, c.ago(k.began))
		}
		if !c.isShut() { // it gets liquid, as far as is known
			fed++
		}
		low := c.lowness(&k.base[j])
		if math.IsNaN(low) {
			continue
		}
		if l := c.lowest(); f.measured == 0 || l < f.driest {
			f.driest = l
		}
		f.measured++
		f.wettest = max(f.wettest, low)
		if low > 0.5 {
			f.wetCoils++
		}
	}
	if f.measured == 0 || f.measured < fed {
		f.wettest, f.driest = nan, nan
	}
	for j := range g.inlets {
		if s := g.inlets[j].over.Value(); j != k.compressor && g.inlets[j].running && !(s >= f.twins) {
			f.twins = s
		}
	}
}

// otherSwings returns how the outlets of the circuits but i swing, K.
func (g *Group) otherSwings(i int) float64 {
	return fromOthers(len(g.coils), i, func(j int) float64 { return g.coils[j].swings.swing() })
}

// Common practice, no source.
const (
	warmGap  = 1.0         // K of air above dew, beyond a clean coil, from which a coil is dirty, iced or without air
	cureTime = 25 * minute // after a restart, until the coil shows whether it is cured
)

// extractAir fills in how the air stands above dew against before: how much, how
// suddenly it came, and whether a defrost has helped.
func (f *features) extractAir(c *coil, b *baseline, before, now int64) {
	f.gapOver, f.airOver = c.gapNow(before)-b.cleanGap, nan
	onset, leap, share := c.past.steepestRise(now, airOverDew, 1)
	f.leap, f.leapShare = leap, share
	f.air = c.air.Known()
	if c.stage == frame.Refrigerating {
		f.airOver = c.air.Value() - b.air
	}
	wasGood := c.last.Ended > onset && c.defrostColdness() == 0 && !math.IsNaN(float64(c.last.Peak))
	f.survived = f.gapOver > warmGap && leap > warmGap && wasGood && c.last.Resumed != 0 && before-c.last.Resumed > cureTime
}

// extractDefrosts fills in how the last defrost went, and how they usually go.
func (f *features) extractDefrosts(c *coil) {
	f.defrosts, f.peak, f.length, f.plateau = c.defrosts.kept(), float64(c.last.Peak), nan, nan
	if f.length = c.last.Length(); !math.IsNaN(f.length) {
		f.plateau = c.last.Plateau
	}
	f.lengths, f.plateaus = c.defrosts.usual()
}
