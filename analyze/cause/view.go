package cause

import (
	"fmt"
	"math"
	"slices"

	"dewgap/analyze/phase"
)

// view is the evidence about one circuit at one instant of a floodback, in
// numbers. NaN: not known. Differences of temperature are in K, times in s.
type view struct {
	kind     phase.DefrostKind
	circuits int // of the group
	measured int // of them with an outlet that says something now

	ago      float64 // from the end of its defrost to the beginning of the floodback; +Inf: none within two hours
	otherAgo float64 // … of whichever other circuit restarted last
	lasted   float64 // the floodback so far

	outlet    bool    // the outlet is measured; else the compressor's inlet stands for it
	low       float64 // lowest superheat there of the last three minutes
	high      float64 // … highest of the last two
	normal    float64 // what its outlet should have: see baseline
	mostlyLow float64 // share of the day before in which it was far below that
	sank      float64 // share that it had lost in the hour before it came down for the first time
	relief    float64 // by how much defrosts have raised it
	wettest   float64 // lowness of the lowest coil, 0 to 1; NaN when an outlet is not measured
	wetCoils  int     // coils at less than half of normal now

	swing, otherSwings float64 // what the outlets do by themselves, peak to peak
	period             float64
	hunts              bool // the compressor's superheat oscillates

	gapOver   float64 // air over dew against a clean coil of the day before
	gapRelief float64 // by how much defrosts have lowered that
	leap      float64 // the steepest rise of that in the day, K within twenty minutes; of the depth of suction in a lone circuit without air
	leapShare float64 // … of what it rose around that time
	blind     bool    // nothing tells of its defrosts but air
	recurs    int     // floodbacks of this compressor in the three hours before, no restart near
	survived  bool    // … and a defrost that got warm has not cured it
	airOver   float64 // air against its usual
	air       bool    // it is measured
	defrosts  int     // that have been seen, the last one included
	peak      float64 // °C, of the last defrost
	length    float64
	lengths   float64 // usual
	plateau   float64
	plateaus  float64 // usual

	dewOver  float64 // dew against the day before
	drawOver float64 // share of compressors that run against the day before
	headOver float64 // condensing dew against the day

	superheat float64 // of the compressor
	minuteAgo float64 // highest of it in the two minutes before this floodback
	offRise   float64 // of dew in the first two minutes of a standstill
	driest    float64 // lowest outlet superheat of all fed coils; NaN when one is not measured
	spread    float64 // of it, over this floodback
	liquid    float64 // share by mass that its discharge temperature allows at most
	twins     float64 // lowest superheat of the other running compressors
}

var nan = math.NaN()

// What an outlet reads when nothing is known of the coils: common practice
// (evaporator superheat 3–7 K), no source.
const normalOver = 6.0 // K

// baseline is how a circuit ran in the day before a floodback.
type baseline struct {
	normal    float64 // outlet superheat that it should have
	own       float64 // … that it had: median; NaN not known
	mostlyLow float64 // share of the time in which it was far below normal; NaN not known
	cleanGap  float64 // air over dew with a clean coil: lower quartile
	air       float64 // median
	slots     int     // summaries that this stands on
}

// lookBack fills base with how the circuits ran before time to. A valve that
// was never right has no good past, so normal is a circuit's own usual
// superheat or that of its neighbours, whichever is higher.
func (g *Group) lookBack(base []baseline, to int64) {
	for i := range base {
		b, p := &base[i], &g.coils[i].past
		b.own, b.slots = p.middle(to, 0.5, overOf)
		b.cleanGap = nan
		if gap, n := p.middle(to, 0.25, gapOf); n >= 3 {
			b.cleanGap = gap
		}
		b.air, _ = p.middle(to, 0.5, airOf)
	}
	for i := range base {
		b := &base[i]
		others := fromOthers(len(base), i, func(j int) float64 { return base[j].own })
		b.normal = b.own
		if !(others <= b.normal) && !math.IsNaN(others) {
			b.normal = others
		}
		if math.IsNaN(b.normal) || b.normal < normalOver && math.IsNaN(others) {
			b.normal = normalOver
		}
		b.normal = max(b.normal, 3)
		b.mostlyLow = g.coils[i].past.lowShare(to, b.normal)
	}
}

// fromOthers returns the median of what is known of the n circuits but i.
func fromOthers(n, i int, of func(j int) float64) float64 {
	var buffer [32]float64
	m := 0
	for j := range n {
		if v := of(j); j != i && !math.IsNaN(v) && m < len(buffer) {
			buffer[m] = v
			m++
		}
	}
	if m == 0 {
		return nan
	}
	slices.Sort(buffer[:m])
	return (buffer[(m-1)/2] + buffer[m/2]) / 2
}

// otherSwings is how the outlets of the circuits but i swing.
func (g *Group) otherSwings(i int) float64 {
	return fromOthers(len(g.coils), i, func(j int) float64 { return g.coils[j].wave.swing() })
}

// lowness is how far the outlet came down from normal to dew, 0 to 1; NaN when
// the outlet says nothing now.
func (c *coil) lowness(b *baseline) float64 {
	if !c.valid {
		return nan
	}
	return clamp((b.normal - c.lowest()) / b.normal)
}

// see returns the view of circuit i at m.
func (g *Group) see(i int, m *Moment, k *Case) view {
	c := &g.coils[i]
	v := view{
		kind: c.kind, circuits: len(g.coils),
		ago: c.ago(k.began), otherAgo: math.Inf(1), lasted: float64(m.At-k.began) / 1e9,
		blind: c.blind, recurs: k.recurs, sank: nan,
		low: nan, high: nan, swing: c.wave.swing(), period: c.wave.period.now(), hunts: m.Hunts,
		driest: nan, peak: float64(c.last.Peak), length: nan, plateau: nan,
		dewOver: g.dewSlow.now() - k.dew, drawOver: g.drawing.now() - k.draws, headOver: g.head.now() - g.headDay.now(),
		minuteAgo: k.ago, offRise: nan,
		superheat: m.Superheat, spread: k.steady.spread(), liquid: m.LiquidAtMost, twins: nan,
	}
	v.otherSwings = g.otherSwings(i)
	if c.known {
		b := &k.base[i]
		v.outlet = true
		v.normal, v.mostlyLow = b.normal, b.mostlyLow
		v.sank = c.past.sank(m.At, b.normal)
		if c.valid {
			v.low, v.high = c.lowest(), c.highest()
		}
		v.relief, v.gapRelief = c.past.relief(&c.melts, m.At)
	} else if m.Compressor < len(g.inlets) {
		// The compressor's inlet stands for the outlet as well as it can.
		t := &g.inlets[m.Compressor].track
		own, _ := t.past.middle(k.began, 0.5, overOf)
		v.normal = max(own, m.Floor)
		if math.IsNaN(v.normal) {
			v.normal = m.Floor
		}
		v.high = t.highest()
		v.low, v.swing, v.period, v.otherSwings = t.lowest(), t.wave.swing(), t.wave.period.now(), nan
		v.mostlyLow = t.past.lowShare(k.began, v.normal)
		v.sank = t.past.sank(m.At, v.normal)
		v.relief, _ = t.past.relief(&c.melts, m.At)
		_, v.gapRelief = c.past.relief(&c.melts, m.At)
	}
	for j := range g.coils {
		d := &g.coils[j]
		if j != i {
			v.otherAgo = min(v.otherAgo, d.ago(k.began))
		}
		low := d.lowness(&k.base[j])
		if math.IsNaN(low) {
			continue
		}
		v.measured++
		v.wettest = max(v.wettest, low)
		if l := d.lowest(); !(v.driest <= l) {
			v.driest = l
		}
		if low > 0.5 {
			v.wetCoils++
		}
	}
	if v.measured == 0 || v.measured < g.fed() {
		v.wettest, v.driest = nan, nan
	}
	if g.rise.n > 0 {
		v.offRise = g.rise.mean.value
	}
	v.seeAir(c, &k.base[i], k.began, m.At)
	if !v.air && v.circuits == 1 {
		_, v.leap, v.leapShare = g.past.leap(m.At, depthOf)
	}
	if c.last.Ended > c.last.Began {
		v.length, v.plateau = float64(c.last.Ended-c.last.Began)/1e9, c.last.Plateau
	}
	n := 0
	v.lengths, v.plateaus, n = c.melts.before()
	v.defrosts = n + 1
	if c.melts.n == 0 {
		v.defrosts = 0
	}
	for j := range g.inlets {
		if s := g.inlets[j].over.now(); j != m.Compressor && g.inlets[j].running && !(s >= v.twins) {
			v.twins = s
		}
	}
	return v
}

// fed counts the circuits that get liquid now, as far as is known.
func (g *Group) fed() int {
	n := 0
	for i := range g.coils {
		if !g.coils[i].isShut() {
			n++
		}
	}
	return n
}

// gapNow returns air over dew when the air says something: in a pulldown it is
// warm anyway, and what it was before the defrost has to do.
func (c *coil) gapNow(at int64) float64 {
	if c.stage == phase.Refrigerating {
		return c.gap.now()
	}
	gap := nan
	c.past.each(at, func(s *slot) bool {
		gap = float64(s.gap)
		return false
	})
	return gap
}

// seeAir describes how the air stands over dew against before: how much, how
// suddenly it came, and whether defrosts help.
func (v *view) seeAir(c *coil, b *baseline, before, now int64) {
	over := c.gapNow(before) - b.cleanGap
	v.gapOver, v.airOver = over, nan
	onset, leap, share := c.past.leap(now, gapOf)
	v.leap, v.leapShare = leap, share
	v.air = c.air.known
	if c.stage == phase.Refrigerating {
		v.airOver = c.air.now() - b.air
	}
	if !(over > 1) {
		return
	}
	warm := leap > 1 && c.last.Ended > onset && coldDefrost(c.kind, float64(c.last.Peak), c.last.Ended) == 0 && !math.IsNaN(float64(c.last.Peak))
	v.survived = warm && c.last.Resumed != 0 && before-c.last.Resumed > 25*minute
}

// coldDefrost is how cold the last defrost stayed, 0 to 1: the outlet must
// climb past 0 °C to say that the ice is gone.
func coldDefrost(kind phase.DefrostKind, peak float64, ended int64) float64 {
	if ended == 0 {
		return 0
	}
	if kind == phase.OffCycle {
		return ramp(peak, 1.5, 0)
	}
	return ramp(peak, 6, 2)
}

// say puts what speaks for circuit i into words.
func (g *Group) say(i int, k *Case) []string {
	c := &g.coils[i]
	var lines []string
	b := &k.base[i]
	if low := c.lowness(b); low > 0.35 {
		lines = append(lines, fmt.Sprintf("its coil outlet came down to %.1f K over dew, where %.1f K is normal", c.lowest(), b.normal))
	}
	if ago := c.ago(g.now); ago < 3600 {
		lines = append(lines, fmt.Sprintf("it went back to refrigeration %.0f min ago", ago/60))
	}
	if over := c.gapNow(g.now) - b.cleanGap; over > 1.5 {
		lines = append(lines, fmt.Sprintf("its air stands %.1f K further over dew than with a clean coil", over))
	}
	if s := c.wave.swing(); s > 2 {
		lines = append(lines, fmt.Sprintf("its outlet superheat swings by about %.0f K", s))
	}
	if coldDefrost(c.kind, float64(c.last.Peak), c.last.Ended) > 0.5 {
		lines = append(lines, fmt.Sprintf("its last defrost reached only %.1f °C at the coil outlet", float64(c.last.Peak)))
	}
	if g.driedUp(i) > 0.2 {
		lines = append(lines, fmt.Sprintf("the compressors' superheat rose by %.0f K while it was shut for defrost", c.gain.value))
	}
	if !c.known && !c.isShut() {
		lines = append(lines, "its coil outlet temperature is not measured; it would tell")
	}
	return lines
}
