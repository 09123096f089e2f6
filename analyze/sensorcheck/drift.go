package sensorcheck

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// A companion difference is learned for driftLearn, then followed slowly; the
// quick mean must not leave it. Common practice, no source.
const (
	driftQuick = 15 * time.Minute
	driftLearn = 2 * time.Hour
	driftSlow  = 48 * time.Hour
	driftLimit = 5.0 // K; mean differences of dry, running companions move less
	driftHigh  = 8.0 // K above the twins, whatever was learned: racks differ by 2 K, one that floods reads low
	driftHold  = 20 * time.Minute
	driftClear = 0.6 // share of the limit
	driftRuns  = int64(5 * time.Minute)
	driftDry   = 4.0 // K of superheat; at dew a pipe says nothing of its sensor

	// Where the twins have gone together so closely, whatever started or
	// defrosted, the header mixes its gas well: less time and less of a
	// difference tell then, and of two it is the one whose own superheat moved.
	mixedBy    = 0.5 // K of mean deviation
	mixedLearn = 30 * time.Minute
	mixedLimit = 3.5 // K
	mixedOwn   = 0.6 // share of the difference that its own superheat must have moved by
)

// drift follows the difference between a suction-line temperature and what it
// goes with: the mean of its twins on the header.
type drift struct {
	compressor int
	learned    int64 // ns of comparable time so far
	base       float64
	quick      float64
	spread     float64 // mean |x − base| while learning
	own, moved float64 // superheat of its own: usual, and of the last quarter of an hour
	away       since
	standing   bool
}

func newDrifts(g Group) []drift {
	if len(g.Compressors) < 2 {
		return nil
	}
	d := make([]drift, len(g.Compressors))
	for i := range d {
		d[i].compressor = i
	}
	return d
}

func (c *Checker) checkDrift(now *Now, dt int64) {
	for i := range c.drifts {
		d := &c.drifts[i]
		x, twins, ok := c.againstTwins(d.compressor, now)
		if ok && dt > 0 {
			d.follow(x, float64(now.Superheat[d.compressor].Superheat), twins, dt)
		}
		off := d.quick - d.base
		if math.Abs(off) < driftLimit/2 {
			off = d.quick
		}
		// A probe that reads low hides no flood: with what it is off taken away
		// its pipe has to be dry.
		wet := float64(now.Superheat[d.compressor].Superheat)-off < driftDry
		if d.standing && !(off < 0 && wet) {
			c.hold(Drifted, c.group.Compressors[d.compressor].Temperature.Point, leanOf(off), now.At-d.away.held, func() string {
				return fmt.Sprintf("against %d of its twins on the header the pipe's temperature is off by %+.1f K and stays there: this looks like a clamp that comes loose or a drifting probe; compare with a reference thermometer",
					twins, off)
			})
		}
	}
}

// againstTwins returns how much warmer a compressor's pipe is than the median
// of the others that run dry, or than the nearer of two.
func (c *Checker) againstTwins(k int, now *Now) (difference float64, twins int, ok bool) {
	dry := func(i int) bool {
		return c.surelyRuns(i, now) && now.At-c.machines[i].turned >= driftRuns && float64(now.Superheat[i].Superheat) > driftDry
	}
	if !dry(k) || !(math.Abs(float64(now.Superheat[k].Dew)-c.machines[k].dew.value) < wetStill) {
		return 0, 0, false
	}
	var others [64]float64
	n := 0
	for i := range now.Superheat {
		if i == k || n == len(others) || !dry(i) || c.doubted(c.group.Compressors[i].Temperature.Point) {
			continue
		}
		j := n
		for ; j > 0 && others[j-1] > float64(now.Superheat[i].Temperature); j-- {
			others[j] = others[j-1]
		}
		others[j] = float64(now.Superheat[i].Temperature)
		n++
	}
	if n == 0 || n == 1 && len(c.group.Compressors) > 2 { // one of many may be the one that is wrong
		return 0, n, false
	}
	own, low, high := float64(now.Superheat[k].Temperature), others[(n-1)/2], others[n/2]
	if n == 2 { // one of them may be the one that is wrong: the nearer speaks
		if own-low < high-own {
			return own - low, n, true
		}
		return own - high, n, true
	}
	return own - (low+high)/2, n, true
}

// doubted says that something stands against an input.
func (c *Checker) doubted(point int) bool {
	for i := range c.standing {
		if c.standing[i].Point == point {
			return true
		}
	}
	return false
}

// mixed says that the header mixes its gas well.
func (d *drift) mixed() bool { return d.learned >= int64(mixedLearn) && d.spread < mixedBy }

func (d *drift) follow(x, superheat float64, twins int, dt int64) {
	if d.learned == 0 {
		d.base, d.quick, d.own, d.moved = x, x, superheat, superheat
	}
	d.learned += dt
	quick := min(1, float64(dt)/float64(driftQuick))
	d.quick += (x - d.quick) * quick
	d.moved += (superheat - d.moved) * quick
	away := d.quick - d.base
	off, limit := math.Abs(away), driftLimit
	told := twins > 1
	if d.mixed() {
		limit = mixedLimit
		told = told || (d.moved-d.own)/away > mixedOwn
	}
	high := d.quick > driftHigh && twins > 1 // from the beginning, or learned while it was loose already
	if d.learned < int64(driftLearn) && !high && !(d.mixed() && off > limit/2) {
		part := float64(dt) / float64(d.learned)
		d.spread += (math.Abs(x-d.base) - d.spread) * part
		d.base += (x - d.base) * part
		d.own += (superheat - d.own) * part
		return
	}
	if off < limit/2 {
		slow := float64(dt) / float64(driftSlow)
		d.base += (d.quick - d.base) * slow
		d.own += (d.moved - d.own) * 12 * slow // its superheat follows the day
	}
	if d.away.take(told && (high || off > limit || (d.standing && off > driftClear*limit)), dt) >= driftHold {
		d.standing = true
	} else if !high && off <= driftClear*limit {
		d.standing = false
	}
}

// Pressures of one header. Common practice, no source.
const (
	twinBy    = 25_000.0 // Pa; both limits of error and the header's own loss …
	twinShare = 0.08     // … or this share of the pressure
	twinHold  = 10 * time.Minute
)

// checkTwins compares suction pressures that are measured at each compressor:
// those that run share a header. With two, nobody knows which is wrong, and
// neither is trusted.
func (c *Checker) checkTwins(now *Now, dt int64) {
	for i := range c.machines {
		p, rest := float64(now.Superheat[i].Pressure), c.others[:0]
		for j := range now.Superheat {
			x := float64(now.Superheat[j].Pressure)
			if j != i && c.group.Compressors[j].Pressure.Point != c.group.Compressors[i].Pressure.Point && c.surelyRuns(j, now) && !math.IsNaN(x) {
				rest = append(rest, x)
			}
		}
		c.others = rest
		slices.Sort(rest)
		away := false
		var middle float64
		if len(rest) > 0 && c.surelyRuns(i, now) {
			middle = (rest[(len(rest)-1)/2] + rest[len(rest)/2]) / 2
			away = math.Abs(p-middle) > max(twinBy, twinShare*middle)
		}
		if c.machines[i].twin.take(away, dt) < twinHold {
			continue
		}
		c.hold(TwinsDisagree, c.group.Compressors[i].Pressure.Point, leanOf(p-middle), now.At-c.machines[i].twin.held, func() string {
			return fmt.Sprintf("%.2f bar absolute, where the other transmitters of the header show %.2f: this looks like a transmitter that is off, or of another range; compare both with a gauge, check unit and scale",
				p/1e5, middle/1e5)
		})
	}
}
