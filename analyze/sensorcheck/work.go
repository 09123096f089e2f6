package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// The work of compression checks suction against discharge without any
// learning. Extra is how much hotter the discharge is than an ideal (isentropic)
// compression would make it, as a share of the ideal rise: 1/efficiency − 1,
// about 0.3 to 1.0 for a healthy machine, less what the discharge line loses to
// the room. Below zero the gas would have been compressed with less work than
// possible; far above, with several times as much. Limits: common practice, no
// source.
const (
	workMean    = 20 * time.Minute
	workSettle  = int64(8 * time.Minute) // of running; the discharge line is slow
	workHold    = 30 * time.Minute
	workLeast   = -0.08 // below: impossible
	workMost    = 1.3   // above: not this gas
	workDry     = 6.0   // K of superheat shown; at dew, wet gas cools the discharge for good reason
	workWet     = 8.0   // K; a discharge that is too hot matters where superheat shows little
	workLow     = 0.1   // a guess explains it when extra falls between these …
	workHigh    = 1.0
	workOverLow = 3.0 // K; … and superheat between these
	workOverTop = 35.0
	vapourFrom  = -50.0 // °C; the vapour tables begin at this dew
)

// Vapour is what the work of compression needs of a refrigerant.
type Vapour interface {
	Vapour(units.Pascal, units.Celsius) (refrigerant.State, error)
	TemperatureAtEntropy(p units.Pascal, entropy float64) (units.Celsius, error)
}

// work follows one compressor's extra.
type work struct {
	from      int64   // since when it can be judged; 0: it cannot
	mean      float64 // of extra; NaN before the first
	low, high since
	hot       float64 // °C; at the last judgement
	over      float64 // K; superheat shown
}

func (c *Checker) checkWork(now *Now, dt int64) {
	if c.vapour == nil {
		return
	}
	for i := range c.machines {
		w := &c.machines[i].work
		x, ok := c.extra(i, now)
		if !ok {
			w.from = 0 // what was judged before the stop still counts
			c.keepWork(i)
			continue
		}
		if w.from == 0 {
			w.from = now.At
		}
		if now.At-w.from < workSettle {
			c.keepWork(i)
			continue
		}
		if math.IsNaN(w.mean) {
			w.mean = x
		}
		w.mean += (x - w.mean) * min(1, float64(dt)/float64(workMean))
		w.over = float64(now.Superheat[i].Superheat)
		w.low.take(w.mean < workLeast && w.over > workDry, dt)
		w.high.take(w.mean > workMost && w.over < workWet, dt)
		c.sayWork(i, now)
	}
}

// keepWork keeps standing what stands while a compressor cannot be judged.
func (c *Checker) keepWork(i int) {
	c.keep(WorkImpossible, c.group.Compressors[i].Temperature.Point)
	c.keep(WorkImpossible, c.group.Compressors[i].Pressure.Point)
}

// extra returns the extra of a compressor now.
func (c *Checker) extra(i int, now *Now) (float64, bool) {
	k, v := &c.group.Compressors[i], &now.Superheat[i]
	hot, ok := known(k.Discharge, now.At)
	high, ok2 := known(c.group.DischargePressure, now.At)
	if p := now.Phases[i]; !ok || !ok2 || p == phase.Off || p == phase.Start || !(hot-float64(v.Temperature) > hotBy) {
		return 0, false
	}
	c.machines[i].work.hot = hot
	return c.extraOf(v.Pressure, v.Temperature, units.Pascal(high), hot)
}

// extraOf returns the extra of a compression from a suction pressure and pipe
// temperature to a discharge pressure and temperature.
func (c *Checker) extraOf(low units.Pascal, pipe units.Celsius, high units.Pascal, hot float64) (float64, bool) {
	if math.IsNaN(float64(low)) || math.IsNaN(float64(pipe)) {
		return 0, false
	}
	if dew, err := c.group.Line.Dew(low); err != nil {
		return 0, false
	} else if dew < vapourFrom {
		// Not in the tables: a higher suction pressure needs less work, which is
		// the cautious side.
		if low, err = c.group.Line.DewPressure(vapourFrom); err != nil {
			return 0, false
		}
	} else if pipe < dew {
		pipe = dew
	}
	s, err := c.vapour.Vapour(low, pipe)
	if err != nil {
		return 0, false
	}
	ideal, err := c.vapour.TemperatureAtEntropy(high, s.Entropy)
	if err != nil || float64(ideal-pipe) < 10 {
		return 0, false
	}
	return (hot - float64(ideal)) / float64(ideal-pipe), true
}

// sayWork holds what stands against a compressor's suction.
func (c *Checker) sayWork(i int, now *Now) {
	w := &c.machines[i].work
	tooCold, tooHot := time.Duration(w.low.held) >= workHold, time.Duration(w.high.held) >= workHold
	if !tooCold && !tooHot {
		if w.mean < workLeast && w.over > workDry || w.mean > workMost && w.over < workWet {
			c.keepWork(i)
		}
		return
	}
	k := &c.group.Compressors[i]
	guess, blamed := c.guessWork(i, now, tooCold)
	if c.doubted(k.Pressure.Point) {
		c.keepWork(i) // said once, and of the pressure
		return
	}
	point, lean, held := k.Temperature.Point, superheat.ReadsHigh, w.low.held
	if tooHot {
		lean, held = superheat.ReadsLow, w.high.held
	}
	if blamed {
		point, lean = k.Pressure.Point, -lean
	}
	c.hold(WorkImpossible, point, lean, now.At-held, func() string {
		what := "less than any compressor needs"
		if tooHot {
			what = "several times what a compressor needs"
		}
		return fmt.Sprintf("from this suction (superheat %.0f K) a discharge of %.0f °C would take %s (%+.0f %% over the ideal compression): %s",
			w.over, w.hot, what, w.mean*100, guess)
	})
}

// guessWork names what would explain the work, and whether that is the
// pressure. Where several compressors of a header show the same, it is.
func (c *Checker) guessWork(i int, now *Now, tooCold bool) (says string, pressure bool) {
	high, _ := known(c.group.DischargePressure, now.At)
	v := &now.Superheat[i]
	for _, g := range c.guesses(v.Pressure, v.Temperature) {
		dew, err := c.group.Line.Dew(g.pressure)
		if err != nil {
			continue
		}
		over := float64(g.pipe.Above(dew))
		x, ok := c.extraOf(g.pressure, g.pipe, units.Pascal(high), c.machines[i].work.hot)
		if ok && x > workLow && x < workHigh && over > workOverLow && over < workOverTop {
			return fmt.Sprintf("this looks like %s (superheat would be %.0f K, the work %+.0f %%); %s", g.says, over, x*100, g.check), g.pressure != v.Pressure
		}
	}
	if tooCold {
		return "this looks like a pipe's sensor that reads warm, a suction pressure that reads low, or liquid injected into the compressor; check clamp, insulation and transmitter", false
	}
	return "this looks like a pipe's sensor that reads cold, a suction pressure that reads high, or a failing machine; check probe and transmitter", false
}
