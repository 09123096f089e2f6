package sensorcheck

import (
	"fmt"
	"math"
	"time"

	"dewgap/analyze/phase"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// What coils say of the suction pressure: a thermostatic or electronic valve
// holds some 3 to 12 K at the outlet of its coil, and the air stands some 4 to
// 18 K above dew. A pressure that is wrong by a constant shifts all coils of a
// group alike. Common practice, no source.
const (
	coilHold     = time.Hour
	coilMean     = 20 * time.Minute
	coilSettle   = 30 * time.Minute // after a start, stop or defrost
	coilDry      = 14.0             // K at every outlet, …
	coilGap      = 26.0             // … with the air this far above dew, …
	coilApproach = 4.0              // … and the outlets well below the air, which starved ones are not
	coilWet      = -3.0             // K at every outlet: colder than wet gas of all coils at once, …
	coilDamp     = -0.5             // … or this at every outlet of several coils, …
	coilLineDry  = 6.0              // … though the line behind them is this dry, which wet gas cannot become
	fitDryLow    = 1.0              // a guess explains it when all outlets lie between these …
	fitDryHigh   = 12.0
	fitGapHigh   = 20.0 // … and the air above dew not more than this
)

// coilWatch follows the means of a group's coils.
type coilWatch struct {
	outlets, airs []mean // °C, of each circuit
	pressure      mean
	pipe          mean
	low, high     since // the pressure reads low or high
}

// mean is a slow mean; its zero value knows nothing.
type mean struct {
	value float64
	known bool
}

func (m *mean) take(x float64, dt int64, tau time.Duration) {
	switch {
	case math.IsNaN(x):
	case !m.known:
		m.value, m.known = x, true
	default:
		m.value += (x - m.value) * min(1, float64(dt)/float64(tau))
	}
}

func (c *Checker) checkCoils(now *Now, dt int64) {
	w := &c.coils
	k := c.runner(now)
	if k < 0 || now.At-c.changed < int64(coilSettle) {
		*w = coilWatch{outlets: w.outlets, airs: w.airs}
		clear(w.outlets)
		clear(w.airs)
		for i := range c.group.Compressors {
			c.keep(CoilsDisagree, c.group.Compressors[i].Pressure.Point)
		}
		return
	}
	v := &now.Superheat[k]
	w.pressure.take(float64(v.Pressure), dt, coilMean)
	w.pipe.take(float64(v.Temperature), dt, coilMean)
	for i := range c.group.Circuits {
		if x, ok := known(c.group.Circuits[i].CoilOutlet, now.At); ok {
			w.outlets[i].take(x, dt, coilMean)
		}
		if x, ok := known(c.group.Circuits[i].Air, now.At); ok {
			w.airs[i].take(x, dt, coilMean)
		}
	}
	dry, wet := w.judge(float64(v.Dew), float64(v.Superheat))
	low, high := w.low.take(dry, dt) >= coilHold, w.high.take(wet, dt) >= coilHold
	if !low && !high {
		if dry || wet || now.At-c.changed < int64(coilSettle+coilMean) {
			c.keep(CoilsDisagree, c.group.Compressors[k].Pressure.Point)
		}
		return
	}
	lean, held, what := superheat.ReadsLow, w.low.held, "dry by more than a valve would let them be, though their air is held"
	if high {
		lean, held, what = superheat.ReadsHigh, w.high.held, "as cold as wet gas or colder, all at once"
	}
	g, found := c.guessCoils()
	if !found {
		return
	}
	c.hold(CoilsDisagree, c.group.Compressors[k].Pressure.Point, lean, now.At-held, func() string {
		return fmt.Sprintf("every coil's outlet is %s (dew %.1f °C): this looks like %s, with which dew would be %.1f °C and every coil in order; %s",
			what, v.Dew, g.says, c.dewOf(g.pressure), g.check)
	})
}

// runner returns a compressor that runs and has a superheat, or −1.
func (c *Checker) runner(now *Now) int {
	for i, p := range now.Phases {
		if p != phase.Off && p != phase.Start && !math.IsNaN(float64(now.Superheat[i].Superheat)) {
			return i
		}
	}
	return -1
}

// judge tells whether all coils say that the pressure reads low (they seem
// dry), or that it reads high (they seem wetter than wet).
func (w *coilWatch) judge(dew, line float64) (dry, wet bool) {
	n, airs, gap, approach := 0, 0, 0.0, 0.0
	damp := line > coilLineDry
	dry, wet = true, true
	for i := range w.outlets {
		if !w.outlets[i].known {
			continue
		}
		n++
		over := w.outlets[i].value - dew
		dry, wet, damp = dry && over > coilDry, wet && over < coilWet, damp && over < coilDamp
		if w.airs[i].known {
			airs++
			gap += w.airs[i].value - dew
			approach += w.airs[i].value - w.outlets[i].value
		}
	}
	enough := airs > 0 && gap/float64(airs) > coilGap && approach/float64(airs) > coilApproach
	return n > 0 && dry && enough, n > 0 && wet || n > 1 && damp
}

func (c *Checker) dewOf(p units.Pascal) float64 {
	t, err := c.group.Line.Dew(p)
	if err != nil {
		return math.NaN()
	}
	return float64(t)
}

// guessCoils returns the mistake that puts every coil in order, if one does.
func (c *Checker) guessCoils() (guess, bool) {
	w := &c.coils
	for _, g := range c.guesses(units.Pascal(w.pressure.value), units.Celsius(w.pipe.value)) {
		if g.pressure == units.Pascal(w.pressure.value) {
			continue // of the pipe
		}
		dew, fits := c.dewOf(g.pressure), true
		for i := range w.outlets {
			if w.outlets[i].known {
				over := w.outlets[i].value - dew
				fits = fits && over > fitDryLow && over < fitDryHigh
			}
			if w.airs[i].known {
				fits = fits && w.airs[i].value-dew < fitGapHigh
			}
		}
		if over := w.pipe.value - dew; fits && over > 0 && over < workOverTop+8 {
			return g, true
		}
	}
	return guess{}, false
}
