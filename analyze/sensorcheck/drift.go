package sensorcheck

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// How a line differs from its twins on the header is learned for driftLearn,
// then followed slowly; the mean of driftTau must not leave it. Common practice,
// no source.
const (
	driftTau       = 900.0 // s
	driftLearn     = 2 * time.Hour
	driftSlow      = 48 * time.Hour // in which the learned difference follows
	driftOwnSlow   = 4 * time.Hour  // in which the usual superheat follows: it goes with the day
	maxDrift       = 5.0            // K; mean differences of dry, running twins move less
	maxAboveTwins  = 8.0            // K above the twins, whatever was learned: racks differ by 2 K, one that floods reads low
	driftHold      = 20 * time.Minute
	driftClear     = 0.6                    // share of the limit
	followShare    = 0.5                    // share of the limit within which the learned difference follows
	minRunForTwins = int64(5 * time.Minute) // since the start
	dryLine        = 4.0                    // K of superheat; at dew a line shows nothing of its sensor
)

// Where the twins have gone together closely, whatever started or defrosted,
// the header mixes its gas well: less time and less of a difference are enough
// then, and of two it is the one whose own superheat moved. Common practice, no
// source.
const (
	mixedBy    = 0.5 // K of mean deviation
	mixedLearn = 30 * time.Minute
	mixedLimit = 3.5 // K
	mixedOwn   = 0.6 // share of the difference that its own superheat must have moved by
)

// drift follows how much warmer a suction line is than its twins on the header.
type drift struct {
	learned  int64 // ns of comparable time so far
	usual    float64
	own      float64        // K; usual superheat
	spread   float64        // K; mean |difference − usual| while learning
	recent   filter.LowPass // of the difference
	moved    filter.LowPass // of the superheat
	away     timer
	standing bool
}

func newDrifts(g Group) []drift {
	if len(g.Compressors) < 2 {
		return nil
	}
	return make([]drift, len(g.Compressors))
}

// checkDrift finds line temperatures that no longer go with their twins'.
func (c *Checker) checkDrift(x *frame.Frame, dt int64) {
	for i := range c.drifts {
		d, superheat := &c.drifts[i], float64(x.Compressors[i].Inlet.Superheat)
		difference, twins, ok := c.againstTwins(i, x)
		if ok && dt > 0 {
			d.follow(difference, superheat, twins, dt)
		}
		off := d.recent.Value() - d.usual
		if math.Abs(off) < maxDrift/2 {
			off = d.recent.Value()
		}
		// A probe that reads low hides no flood: with what it is off taken away
		// its line has to be dry.
		if !d.standing || off < 0 && superheat-off < dryLine {
			continue
		}
		if a := c.raise(evidence.Drifted, c.group.Compressors[i].Temperature.Point, biasOf(off), x.At-d.away.held); a != nil {
			a.describe([]evidence.Value{evidence.Count("twins", twins), evidence.Difference("off", units.Kelvin(off))})
		}
	}
}

// againstTwins returns how much warmer a compressor's line is than the median
// of the others that run dry, or than the nearer of two, in K. One twin of many
// is not enough: it may be the one that is wrong.
func (c *Checker) againstTwins(i int, x *frame.Frame) (difference float64, twins int, ok bool) {
	if !c.isDry(i, x) || !c.dewIsStill(i, x) {
		return 0, 0, false
	}
	lines := c.others[:0]
	for j := range x.Compressors {
		if j != i && c.isDry(j, x) && !c.suspect(c.group.Compressors[j].Temperature.Point) {
			lines = append(lines, float64(x.Compressors[j].Inlet.Temperature))
		}
	}
	c.others = lines
	slices.Sort(lines)
	twins = len(lines)
	if twins == 0 || twins == 1 && len(x.Compressors) > 2 {
		return 0, twins, false
	}
	own := float64(x.Compressors[i].Inlet.Temperature)
	if twins == 2 {
		if own-lines[0] < lines[1]-own {
			return own - lines[0], twins, true
		}
		return own - lines[1], twins, true
	}
	return own - filter.Median(lines), twins, true
}

// isDry reports whether a compressor has run long enough, and dry.
func (c *Checker) isDry(i int, x *frame.Frame) bool {
	k := &x.Compressors[i]
	return surelyRuns(k) && x.At-c.compressors[i].turned >= minRunForTwins && float64(k.Inlet.Superheat) > dryLine
}

// isMixed reports whether the header mixes its gas well.
func (d *drift) isMixed() bool { return d.learned >= int64(mixedLearn) && d.spread < mixedBy }

// follow enters a difference and a superheat, in K, that held for dt ns.
func (d *drift) follow(difference, superheat float64, twins int, dt int64) {
	if d.learned == 0 {
		d.usual, d.own = difference, superheat
	}
	d.learned += dt
	recent, moved := d.recent.Next(difference, dt, driftTau), d.moved.Next(superheat, dt, driftTau)
	away := recent - d.usual
	limit, sure := maxDrift, twins > 1
	if d.isMixed() {
		limit = mixedLimit
		sure = sure || (moved-d.own)/away > mixedOwn
	}
	off := math.Abs(away)
	high := recent > maxAboveTwins && twins > 1 // from the beginning, or learned while it was loose already
	if d.learned < int64(driftLearn) && !high && !(d.isMixed() && off > limit*followShare) {
		share := float64(dt) / float64(d.learned)
		d.spread += (math.Abs(difference-d.usual) - d.spread) * share
		d.usual += (difference - d.usual) * share
		d.own += (superheat - d.own) * share
		return
	}
	if off < limit*followShare {
		d.usual += (recent - d.usual) * float64(dt) / float64(driftSlow)
		d.own += (moved - d.own) * float64(dt) / float64(driftOwnSlow)
	}
	leaves := sure && (high || off > limit || d.standing && off > driftClear*limit)
	if d.away.update(leaves, dt) >= driftHold {
		d.standing = true
	} else if !high && off <= driftClear*limit {
		d.standing = false
	}
}
