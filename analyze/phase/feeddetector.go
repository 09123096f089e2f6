package phase

import (
	"math"

	"dewgap/analyze/filter"
	"dewgap/analyze/frame"
)

// feedDetector finds from the coil outlet whether liquid is fed to the coil, and, when
// it is not, whether that is a thermostat's pause or a defrost.
type feedDetector struct {
	restless filter.LowPass // mean |deviation| of the coil's superheat from its usual one, K
	above    int64          // since when the outlet is higher than refrigeration explains; 0: it is not
	shut     bool
	from     int64 // when it was shut
	proven   bool  // a defrost: it went where no pause of the valve goes
	cold     bool  // the outlet has been low since liquid is fed again
	pauses   int
	longest  int64   // pause, ns
	crest    float64 // highest air of the defrost under way (inferByAir)
	warm     int64   // since when the air is warmer than refrigeration explains
	calm     int64   // since when the circuit looks like refrigerating
}

func newFeedDetector() feedDetector { return feedDetector{crest: math.NaN()} }

// open notes that liquid is fed. What was learned of pauses and noise stays.
func (f *feedDetector) open() {
	*f = feedDetector{restless: f.restless, from: f.from, pauses: f.pauses, longest: f.longest, crest: f.crest}
}

// watch takes the outlet as it is now.
func (f *feedDetector) watch(at int64, c *Circuit, step int64, s *limits) {
	outlet := c.coil.Newest()
	if math.IsNaN(outlet) {
		return
	}
	over := outlet - c.dew.Value()
	usual, still := c.Before.superheat.Value(), f.restless.Value()
	if f.shut {
		f.proven = f.proven || f.proof(at, outlet, c, s)
		if !(over < usual+minRise/2) || outlet > c.Before.outlet.Value()+riseOutlet {
			f.calm = at
		}
		if c.falls(at) || at-f.calm >= calmHolds || at-f.from > s.signalLimit {
			if !f.proven {
				f.pauses++
				f.longest = max(f.longest-f.longest/10, at-f.from)
			}
			f.shut, f.above = false, 0
		}
		return
	}
	if math.IsNaN(usual) {
		usual = over
	}
	if math.IsNaN(still) {
		still = 1
	}
	limit := usual + max(minRise, riseRestless*still)
	if c.stage == frame.PullingDown {
		limit += risePulldown
	}
	level := outlet - c.Before.outlet.Value()
	if over <= limit && !(level > riseLevel) || level < riseOutlet {
		f.above, f.cold = 0, true
		if c.stage == frame.Refrigerating {
			f.restless.Update(math.Abs(over-usual), step, baselineTau)
		}
		return
	}
	if c.stage == frame.PullingDown && !f.cold {
		return // still warm from the defrost
	}
	if f.above == 0 {
		f.above = at
	}
	if at-f.above >= riseHolds {
		f.shut, f.proven, f.from, f.calm = true, false, f.above, at
	}
}

// proof reports whether a coil without liquid is where no pause takes it: above
// its air, in air warmer than the thermostat lets it get, or for longer than a
// pause lasts.
func (f *feedDetector) proof(at int64, outlet float64, c *Circuit, s *limits) bool {
	air := c.air.Value()
	switch {
	case outlet > air+proofOverAir, air > c.Before.airTop()+proofOverTop:
		return true
	case math.IsNaN(air) && outlet > c.Before.outlet.Value()+proofOverOutlet && outlet > proofThawed:
		return true
	}
	return at-f.from > max(s.pauseLimit, 5*f.longest/2)
}

// falls reports whether the outlet falls as it does when liquid comes back:
// faster than noise carries a mean of 5 s, and than a hot coil cools by itself.
func (c *Circuit) falls(at int64) bool {
	top := c.coil.Highest(at, fallSpan+filter.DefaultSpacing)
	room := c.air.Value()
	if math.IsNaN(room) {
		room = 0
	}
	return top-c.coil.Newest() > max(fallKelvin, fallShare*(top-room))
}

// inferByOutlet moves without a defrost signal, by the coil outlet.
func (c *Circuit) inferByOutlet(at, fed int64, s *limits) {
	f := &c.feed
	outlet := c.coil.Newest()
	switch c.stage {
	case frame.StageUnknown:
		// Cold, and close over dew: liquid is fed. Else a defrost may be under way.
		over, gap := outlet-c.dew.Value(), c.air.Value()-c.dew.Value()
		if fed := over < fedOver && outlet < fedOutlet && !(gap < over-2); !fed {
			f.calm = 0
			if outlet > thawed && at-c.first > calmHolds {
				f.shut, f.proven, f.from, f.calm = true, true, c.first, at
				c.begin(c.first, at)
			}
			return
		}
		if f.calm == 0 {
			f.calm = at
		}
		if at-f.calm >= calmHolds {
			c.enter(frame.Refrigerating, at)
		}
	case frame.Refrigerating, frame.PullingDown:
		// Where no pause was ever seen, a shut valve is a defrost at once.
		if f.shut && (f.proven || f.pauses == 0 && c.stage == frame.Refrigerating) {
			c.begin(f.from, at)
		}
	case frame.Defrosting, frame.Dripping:
		if fed > c.Last.Began && c.kind == frame.OffCycle { // a coil that was not heated hardly falls
			c.Last.Ended = fed
			c.resume(fed)
			return
		}
		if f.shut {
			return
		}
		if f.pauses > 0 && c.Last.Began == f.from && !f.proven {
			c.enter(frame.Refrigerating, at) // it was a pause after all
			return
		}
		c.Last.Ended = at
		c.resume(at)
	}
}

// inferByAir moves by the air alone: it warms while the coil does not
// cool it, and turns when the coil is back.
func (c *Circuit) inferByAir(at int64, s *limits) {
	f := &c.feed
	air := c.air.Value()
	switch c.stage {
	case frame.StageUnknown:
		if at-c.first >= calmHolds {
			c.enter(frame.Refrigerating, at)
		}
	case frame.Refrigerating:
		if !(air > c.Before.airTop()+airRise) {
			f.warm = 0
			return
		}
		if f.warm == 0 {
			f.warm = at
		}
		if at-f.warm >= riseHolds {
			f.crest = air
			c.begin(f.warm, at)
		}
	case frame.Defrosting, frame.Dripping:
		f.crest = max(f.crest, air)
		turn := max(airTurn, airTurnShare*(f.crest-c.Before.air.Value()))
		if air < f.crest-turn || air < c.Before.airTop() || at-c.Last.Began > s.signalLimit {
			c.Last.Ended = at
			c.resume(at)
		}
	}
}
