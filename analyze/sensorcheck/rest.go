package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// What a group that stands says. Common practice, no source.
const (
	restLong      = 40 * time.Minute
	restNear      = 3.5    // K that saturation may lie outside the temperatures around it, where both sides have met, …
	restBy        = 5.0    // … and where they have not
	restDissolved = 8.0    // K that refrigerant dissolved in oil may hold saturation below the coldest place, unless a known mistake puts it right there
	restOil       = 12.0   // K over the coldest place: colder oil has taken the liquid up
	restEqual     = 30_000 // Pa between the sides that have met: then liquid lies in the coldest place
	restFit       = 2.5    // K; a guess explains it when it brings saturation this near
	plateauFlat   = 0.8    // K; …
	plateauLong   = 5 * time.Minute
	plateauIce    = 1.5 // K about 0 °C
	plateauBy     = 6.0 // K between dew and melting ice on a standing single unit
	plateauAgain  = 2   // defrosts that must say the same
	plateauSame   = 2.0 // K
)

// restWatch follows a group at rest.
type restWatch struct {
	off      since
	flat     since   // coil and dew still, while ice melts
	coil     float64 // when flat began
	dew      float64
	counted  bool    // this defrost has spoken
	offset   float64 // K; dew − ice of the last defrost that spoke
	agreed   int
	standing bool
	pressure units.Pascal
}

// checkRest compares the standing pressure with the temperatures around it.
// Where liquid lies, the refrigerant has between its bubble and its dew
// temperature; liquid goes to the coldest place, and can be nowhere warmer than
// the warmest.
func (c *Checker) checkRest(now *Now, dt int64) {
	w := &c.rest
	// Where no signal tells that all stand, sides that have met do.
	all := c.allOff(now) && (c.allTold(now) || c.equalised(now.Superheat[0].Pressure, now))
	long := w.off.take(all, dt) >= restLong
	c.checkPlateau(now, dt, all)
	if !long {
		for i := range c.group.Compressors {
			c.keep(NotEqualised, c.group.Compressors[i].Pressure.Point) // until a rest says otherwise
		}
		return
	}
	coldest, warmest := c.around(now)
	for i := range c.group.Compressors {
		p := now.Superheat[i].Pressure
		dew, err := c.group.Line.Dew(p)
		bubble, err2 := c.group.Line.Bubble(p)
		if err != nil || err2 != nil || math.IsInf(coldest, 0) {
			continue
		}
		lean, by, met := superheat.Lean(0), restBy, c.equalised(p, now)
		if met {
			by = restNear
		}
		switch {
		case float64(bubble) > warmest+by:
			lean = superheat.ReadsHigh
		case float64(dew) < coldest-by && met && !c.coldOil(coldest, now.At) && (float64(dew) < coldest-restDissolved || c.guessRest(p, coldest, coldest) != ""):
			lean = superheat.ReadsLow
		default:
			continue
		}
		c.hold(NotEqualised, c.group.Compressors[i].Pressure.Point, lean, now.At-w.off.held, func() string {
			says := c.guessRest(p, coldest, warmest)
			if says == "" {
				says = "this looks like another refrigerant than configured, the wrong altitude, or a transmitter that is off; check them against a gauge"
			}
			return fmt.Sprintf("stopped for more than %d min, the suction pressure would boil at %.1f °C, where nothing around is colder than %.1f or warmer than %.1f °C: %s",
				int(restLong.Minutes()), dew, coldest, warmest, says)
		})
	}
}

// around returns the coldest and the warmest temperature known of the group.
func (c *Checker) around(now *Now) (coldest, warmest float64) {
	coldest, warmest = math.Inf(1), math.Inf(-1)
	take := func(x float64) {
		if !math.IsNaN(x) {
			coldest, warmest = min(coldest, x), max(warmest, x)
		}
	}
	take(now.Ambient)
	for i := range now.Superheat {
		take(float64(now.Superheat[i].Temperature))
	}
	for i := range c.group.Circuits {
		for _, in := range []Input{c.group.Circuits[i].CoilOutlet, c.group.Circuits[i].Air} {
			if x, ok := known(in, now.At); ok {
				take(x)
			}
		}
	}
	return coldest, warmest
}

// equalised says that both sides stand at one pressure: what could flow has,
// so that there is liquid in the coldest place.
func (c *Checker) equalised(p units.Pascal, now *Now) bool {
	high, ok := known(c.group.DischargePressure, now.At)
	return ok && math.Abs(high-float64(p)) < restEqual
}

// guessRest names the mistake that would explain a standing pressure; empty:
// none that is known.
func (c *Checker) guessRest(p units.Pascal, coldest, warmest float64) string {
	for _, g := range c.guesses(p, units.Celsius(coldest)) {
		bubble, err := c.group.Line.Bubble(g.pressure)
		dew := c.dewOf(g.pressure)
		if g.pressure != p && err == nil && float64(bubble) < warmest+restFit && dew > coldest-restFit {
			return "this looks like " + g.says + "; " + g.check
		}
	}
	return ""
}

// checkPlateau watches a single unit that stands while its coil's ice melts at
// 0 °C: where refrigerant lies in it, the standing dew is 0 °C as well. It takes
// two defrosts that say the same, and a mistake that explains it: a pumped-down
// coil has no liquid.
func (c *Checker) checkPlateau(now *Now, dt int64, stopped bool) {
	w := &c.rest
	if len(c.group.Circuits) != 1 || len(c.group.Compressors) != 1 {
		return
	}
	defrosting := len(now.Defrosting) == 1 && now.Defrosting[0]
	if !defrosting {
		w.counted = false
	}
	coil, ok := known(c.group.Circuits[0].CoilOutlet, now.At)
	dew := float64(now.Superheat[0].Dew)
	still := ok && stopped && defrosting && !w.counted && math.Abs(coil) < plateauIce && !math.IsNaN(dew)
	if still && w.flat.held > 0 {
		still = math.Abs(coil-w.coil) < plateauFlat && math.Abs(dew-w.dew) < plateauFlat
	}
	if w.flat.held == 0 {
		w.coil, w.dew = coil, dew
	}
	if w.flat.take(still, dt) >= plateauLong {
		w.counted = true
		switch offset := dew - coil; {
		case math.Abs(offset) < plateauBy:
			w.agreed, w.standing = 0, false
		case w.agreed > 0 && math.Abs(offset-w.offset) < plateauSame:
			w.agreed++
			w.offset = offset
		default:
			w.agreed, w.offset = 1, offset
		}
		w.pressure = now.Superheat[0].Pressure
		w.standing = w.standing || w.agreed >= plateauAgain
	}
	if !w.standing {
		return
	}
	for _, g := range c.guesses(w.pressure, 0)[:2] { // gauge and absolute; bar for psi shows while it runs, and fits many a pumped-down pressure
		if g.pressure == w.pressure || !(math.Abs(c.dewOf(g.pressure)) <= restFit) { // a pressure without a dew explains nothing
			continue
		}
		c.hold(NotEqualised, c.group.Compressors[0].Pressure.Point, leanOf(w.offset), now.At, func() string {
			return fmt.Sprintf("while the ice of the coil melts at 0 °C, the standing pressure would boil at %.1f °C, %d defrosts in a row: this looks like %s; %s",
				c.dewOf(w.pressure), w.agreed, g.says, g.check)
		})
		return
	}
}

// coldOil says that some oil is so cold that it may have dissolved all liquid,
// so that the pressure says nothing about the coldest place.
func (c *Checker) coldOil(coldest float64, at int64) bool {
	for i := range c.group.Compressors {
		if sump, ok := known(c.group.Compressors[i].Sump, at); ok && sump < coldest+restOil {
			return true
		}
	}
	return false
}
