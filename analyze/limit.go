package analyze

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
)

// What of a compressor cannot be judged, or not well, with the readings that
// its site has.
const (
	LimitHunting   = "hunting"    // swings are quicker than the readings
	LimitShortDips = "short_dips" // the hold time is shorter than three readings
	LimitWetness   = "wetness"    // nothing shows how wet the gas is
	LimitDefrosts  = "defrosts"   // nothing shows when coils defrost
)

// Limit is something that cannot be judged of a compressor, and why.
type Limit struct {
	Group, Compressor string
	What              string // one of the words above
	Reason            evidence.Item
}

// longestUnseen is the longest period of a swing that may go unseen before
// hunting counts as not judged: valves hunt with periods of one to four minutes.
// Common practice, no source.
const longestUnseen = 2 * time.Minute

// limitInterval is by how much an interval must have changed before what it
// limits is looked at again, as a share.
const limitInterval = 0.1

// renewLimits looks again at what cannot be judged where an interval between
// readings has changed.
func (e *Engine) renewLimits() {
	changed := !e.limited
	for _, g := range e.groups {
		for i := range g.compressors {
			c := &g.compressors[i]
			now := time.Duration(g.frame.Compressors[i].Interval)
			if now != c.limitedAt && math.Abs(float64(now-c.limitedAt)) > limitInterval*float64(c.limitedAt) {
				c.limitedAt, changed = now, true
			}
		}
	}
	if !changed {
		return
	}
	e.limited, e.result.Limits = true, nil
	for _, g := range e.groups {
		for i := range g.compressors {
			e.result.Limits = append(e.result.Limits, g.limitsOf(i)...)
		}
	}
}

// limitsOf returns what cannot be judged of compressor i.
func (g *group) limitsOf(i int) (all []Limit) {
	c := &g.compressors[i]
	add := func(what string, reason evidence.Item) {
		all = append(all, Limit{Group: g.spec.Name, Compressor: g.spec.Compressors[i].Name, What: what, Reason: reason})
	}
	interval := c.limitedAt
	if seen := time.Duration(g.detect.Hunting.Samples) * interval; seen > longestUnseen {
		add(LimitHunting, evidence.New(evidence.HuntingTooQuick, evidence.Duration("interval", interval), evidence.Duration("period", seen)))
	}
	hold := min(g.detect.Hold.Steady, g.detect.Hold.Pulldown)
	if least := floodback.LeastReadings * interval; least > hold {
		add(LimitShortDips, evidence.New(evidence.DipsTooShort, evidence.Duration("interval", interval), evidence.Duration("least", least)))
	}
	if c.dischargeTemperature == noPoint {
		add(LimitWetness, evidence.New(evidence.WetnessByLineAlone))
	}
	if !g.showsDefrosts() {
		add(LimitDefrosts, evidence.New(evidence.DefrostsByPressureAlone))
	}
	return all
}

// showsDefrosts reports whether every circuit has something that shows its
// defrosts; a group without circuits has not.
func (g *group) showsDefrosts() bool {
	for i := range g.circuits {
		if c := &g.circuits[i]; c.defrost == noPoint && c.coilOutlet == noPoint {
			return false
		}
	}
	return len(g.circuits) > 0
}
