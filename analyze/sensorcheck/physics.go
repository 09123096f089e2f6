package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
	"dewgap/analyze/superheat"
)

// Common practice, no source, where nothing else is said.
const (
	wetLong      = 2 * time.Minute // clearly below wet gas for this long
	wetMean      = 2 * time.Minute
	wetStill     = 1.5              // K that the dew may be off its mean
	deepLong     = 20 * time.Minute // below −U, within the glide: a blend is not that wet for so long
	usualLow     = 3.0              // K of superheat at a compressor, usually between these
	usualHigh    = 25.0
	deepestDew   = -48.0 // °C
	deepestAir   = 0.85  // of the air's pressure
	depthBack    = 8.0   // K above which it is taken back
	depthLong    = 30 * time.Minute
	reverseLong  = time.Minute
	reverseBy    = 30_000.0 // Pa; both transmitters' limits
	stoppedLong  = 45 * time.Minute
	stoppedBy    = 6.0 // K between a long stopped pipe and its room
	clampLong    = 30 * time.Minute
	clampNear    = 2.0  // K between pipe and room
	clampAboveBy = 25.0 // K of room above dew, so that the two differ
)

// checkSaturation finds pipes colder than wet gas can be. Wet gas of a blend
// lies between bubble and dew, so its glide is allowed for a while.
func (c *Checker) checkSaturation(now *Now, dt int64) {
	below, running := 0, 0
	for i := range now.Superheat {
		v := &now.Superheat[i]
		// While the dew moves, the pipe is late.
		dew := &c.machines[i].dew
		dew.take(float64(v.Dew), dt, wetMean)
		ok := settled(now.Phases[i]) && !math.IsNaN(float64(v.Superheat)) && math.Abs(float64(v.Dew)-dew.value) < wetStill
		if ok {
			running++
		}
		s, u := float64(v.Superheat), float64(v.Uncertainty)
		a := c.machines[i].wet.take(ok && s < -(u+c.glide), dt)
		b := c.machines[i].deep.take(ok && s < -(u+1), dt)
		if a >= wetLong || b >= deepLong {
			below++
		}
	}
	for i := range now.Superheat {
		if time.Duration(c.machines[i].wet.held) < wetLong && time.Duration(c.machines[i].deep.held) < deepLong {
			continue
		}
		v := now.Superheat[i]
		point, all, lean := c.group.Compressors[i].Temperature.Point, running > 1 && below == running, superheat.ReadsLow
		if all {
			point, lean = c.group.Compressors[i].Pressure.Point, superheat.ReadsHigh
		}
		c.hold(BelowSaturation, point, lean, now.At-max(c.machines[i].wet.held, c.machines[i].deep.held), func() string {
			if all {
				return fmt.Sprintf("every running compressor's pipe reads colder than wet gas can be (%.1f K, uncertainty %.1f K): this looks like %s",
					v.Superheat, v.Uncertainty, c.guessWet(&v, true, "a suction pressure that reads high, or the wrong refrigerant; check transmitter, unit, altitude and refrigerant"))
			}
			return fmt.Sprintf("the pipe reads colder than wet gas can be (%.1f K, uncertainty %.1f K): this looks like %s",
				v.Superheat, v.Uncertainty, c.guessWet(&v, len(c.group.Compressors) == 1, "a temperature sensor that reads low, or a pressure that reads high; check the probe's curve and unit, the transmitter, and the refrigerant"))
		})
	}
	c.checkReversed(now, dt)
}

// guessWet names a mistake that would make an impossible superheat an ordinary
// one: of the pipe, or also of the pressure.
func (c *Checker) guessWet(v *superheat.Value, pressure bool, otherwise string) string {
	says := ""
	for _, g := range c.guesses(v.Pressure, v.Temperature) {
		if over := float64(g.pipe) - c.dewOf(g.pressure); (pressure || g.pressure == v.Pressure) && over > usualLow && over < usualHigh {
			says += fmt.Sprintf("%s (superheat would be %.0f K), or ", g.says, over)
		}
	}
	return says + otherwise
}

func (c *Checker) checkReversed(now *Now, dt int64) {
	high, ok := known(c.group.DischargePressure, now.At)
	for i := range now.Superheat {
		low := float64(now.Superheat[i].Pressure)
		if !ok || !settled(now.Phases[i]) || math.IsNaN(low) {
			continue
		}
		if c.reversed.take(high < low-reverseBy, dt) >= reverseLong {
			c.hold(DischargeBelowSuction, c.group.DischargePressure.Point, 0, now.At-c.reversed.held, func() string {
				return fmt.Sprintf("the discharge pressure (%.2f bar absolute) is below the suction pressure (%.2f) of a running compressor: this looks like swapped transmitters or a wrong unit; check both",
					high/1e5, low/1e5)
			})
		}
		return
	}
	c.reversed.take(false, dt)
}

// allOff says that no compressor of the group runs.
func (c *Checker) allOff(now *Now) bool {
	for _, p := range now.Phases {
		if p != phase.Off {
			return false
		}
	}
	return true
}

// checkDepth finds suctions deeper than single-stage plants run: below −45 °C
// compressors are not released (from memory), and one that is built for it has a
// refrigerant that is not in vacuum there.
func (c *Checker) checkDepth(now *Now, dt int64) {
	for i := range now.Superheat {
		v, m := now.Superheat[i], &c.machines[i]
		runs := settled(now.Phases[i])
		switch deep := v.Pressure < deepestAir*c.group.Atmosphere && float64(v.Dew) < deepestDew; {
		case runs && deep:
			m.vacuum.take(true, dt)
		case runs && float64(v.Dew) > deepestDew+depthBack:
			m.vacuum.take(false, dt)
		}
		if time.Duration(m.vacuum.held) < depthLong {
			continue
		}
		if !runs {
			c.keep(TooDeep, c.group.Compressors[i].Pressure.Point)
			continue
		}
		c.hold(TooDeep, c.group.Compressors[i].Pressure.Point, superheat.ReadsLow, now.At-m.vacuum.held, func() string {
			return fmt.Sprintf("the compressor runs at a suction of %.2f bar absolute, dew %.0f °C, which no such plant does: this looks like %s",
				v.Pressure/1e5, v.Dew, c.guessWet(&v, true, "a suction pressure that reads low; check transmitter, unit and refrigerant"))
		})
	}
}

// checkStopped compares with the machine room, where its temperature is known:
// a pipe that has stood for long is as warm as the room; one that runs is not.
func (c *Checker) checkStopped(now *Now, dt int64) {
	allOff := c.allOff(now) && c.allTold(now)
	for i := range now.Superheat {
		v := &now.Superheat[i]
		t := float64(v.Temperature)
		have := !math.IsNaN(t) && !math.IsNaN(now.Ambient)
		point := c.group.Compressors[i].Temperature.Point
		if c.machines[i].off.take(allOff, dt) >= stoppedLong && have && math.Abs(t-now.Ambient) > stoppedBy {
			c.hold(NotAtAmbient, point, leanOf(t-now.Ambient), now.At-c.machines[i].off.held, func() string {
				what := "a wrong curve, unit or zero"
				for _, g := range c.guesses(v.Pressure, v.Temperature) {
					if g.pipe != v.Temperature && math.Abs(float64(g.pipe)-now.Ambient) < restFit {
						what = g.says
					}
				}
				return fmt.Sprintf("stopped for more than %d min, the pipe reads %.1f °C in a room of %.1f °C: this looks like %s; check unit and probe, in melting ice",
					int(stoppedLong.Minutes()), t, now.Ambient, what)
			})
		}
		near := have && c.surelyRuns(i, now) && math.Abs(t-now.Ambient) < clampNear && now.Ambient-float64(v.DelayedDew) > clampAboveBy
		if c.machines[i].room.take(near, dt) >= clampLong {
			c.hold(LooseClamp, point, superheat.ReadsHigh, now.At-c.machines[i].room.held, func() string {
				return fmt.Sprintf("the running suction line reads %.1f °C, as the room does (%.1f °C): this looks like a clamp that hangs beside the pipe; check that it is tight and insulated",
					t, now.Ambient)
			})
		}
	}
}
