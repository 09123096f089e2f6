package commissioning

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/frame"
)

// How stages are read from the coil outlet: common practice, no source.
const (
	warmingBy    = 3.0             // K over the minutes before: heat has reached the coil
	plateauSlope = 0.5             // K/min; slower is melting
	plateauNear  = 3.0             // K from 0 °C; farther is no melting, or no thermometer
	minPlateau   = 180.0           // s
	clearHeated  = 3.0             // °C; a heated coil's outlet is past melting
	clearOff     = 1.0             // °C; the same where only air warms the coil
	airTurns     = 0.5             // K under its highest since the restart
	together     = 5 * time.Minute // circuits that come back within it share the disturbance
	before       = 5 * time.Minute // what the coil was at before
)

// cycle is one defrost with the rows it covers.
type cycle struct {
	circuit, number int
	span            span
	from, to        int // rows
	cut             bool
	why             string // reason for cut
	gap             int64  // ns at which a gap in the data begins; 0 where there is none
}

// cycles returns every defrost of the recording, in order of time.
func (t *Track) cycles(watched time.Duration) []cycle {
	var all []cycle
	for i := range t.circuits {
		c := &t.circuits[i]
		for n, s := range c.cycles {
			end := len(t.at) - 1
			if n+1 < len(c.cycles) {
				end = c.cycles[n+1].row - 1
			}
			all = append(all, t.cycle(i, n+1, s, end, watched))
		}
	}
	slices.SortStableFunc(all, func(a, b cycle) int { return int(min(max(a.span.Began-b.span.Began, -1), 1)) })
	return all
}

// cycle places a defrost that must be over at row end. It lasts until the
// pulldown is over, and at least as long as is to be watched.
func (t *Track) cycle(circuit, number int, s span, end int, watched time.Duration) cycle {
	c := cycle{circuit: circuit, number: number, span: s, from: min(t.rowAt(s.Began), s.row), to: end}
	until := max(s.Over, s.Resumed+int64(watched))
	if s.Over != 0 {
		c.to = min(t.rowAt(until), end)
	}
	gap, at := t.widest(max(c.from-1, 0), c.to)
	switch {
	case c.from == 0:
		c.cut, c.why = true, "the recording begins within this defrost"
	case gap > maxGap:
		c.cut, c.why, c.gap = true, "nothing was recorded for "+length(gap.Seconds()), t.at[at]
	case s.Resumed == 0 && end < len(t.at)-1:
		c.cut, c.why = true, "the circuit was not seen to refrigerate again"
	case s.Resumed == 0:
		c.cut, c.why = true, "the recording ends before the circuit refrigerates again"
	case s.Over == 0 && end < len(t.at)-1:
		c.cut, c.why = true, "the next defrost began before this one's pulldown was over"
	case s.Over == 0:
		c.cut, c.why = true, "the recording ends before the pulldown is over"
	case until > t.at[end]:
		c.cut, c.why = true, "less than "+length(watched.Seconds())+" were recorded between the restart and the end, or the next defrost"
	}
	return c
}

// stages measures a cycle on its coil and air.
func (t *Track) stages(c cycle) Stages {
	s, k := c.span, &t.circuits[c.circuit]
	out := Stages{
		HeatEnded: instantOr(s.Ended), Resumed: instantOr(s.Resumed), Steady: instantOr(s.Over), Termination: "unknown",
	}
	if !(c.cut && c.from == 0) {
		out.Began = instantOr(s.Began)
	}
	out.Heat, out.Drip, out.Pulldown = apart(s.Began, s.Ended), apart(s.Ended, s.Resumed), apart(s.Resumed, s.Over)
	heatEnd := c.to
	if s.Ended != 0 {
		heatEnd = t.rowAt(s.Ended)
	}
	if row, ok := t.warming(k, c.from, heatEnd); ok && k.kind != frame.OffCycle && out.Began != nil {
		out.Warming = instantOr(t.at[row])
		out.PumpDown = apart(s.Began, t.at[row])
	}
	if k.kind != frame.OffCycle {
		if from, to, level := t.plateau(k, c.from, heatEnd); to > from {
			out.PlateauBegan, out.PlateauEnded = instantOr(t.at[from]), instantOr(t.at[to])
			out.Plateau, out.PlateauAt = apart(t.at[from], t.at[to]), figure(level, 10)
		}
	}
	dripEnd := c.to
	if s.Resumed != 0 {
		dripEnd = t.rowAt(s.Resumed)
	}
	out.Peak = figure(highest(k.coil[c.from:min(dripEnd+1, len(k.coil))]), 10)
	if s.Ended != 0 {
		out.EndedAt = figure(t.mean(k.coil, heatEnd, s.Ended-int64(30*time.Second)), 10)
		out.Termination = t.termination(c, out.EndedAt)
	}
	if row, ok := t.airTurns(k, dripEnd, c.to); ok && s.Resumed != 0 {
		out.AirCooling = instantOr(t.at[row])
	}
	return out
}

// apart returns the seconds from a to b; nil where one of them did not come.
func apart(a, b int64) *float64 {
	if a == 0 || b == 0 {
		return nil
	}
	return figure(float64(b-a)/1e9, 1)
}

// mean returns the mean of x over the rows up to row that are no older than ns.
func (t *Track) mean(x []float32, row int, ns int64) float64 {
	sum, n := 0.0, 0
	for i := min(row, len(x)-1); i >= 0 && t.at[i] >= ns; i-- {
		if known(x[i]) {
			sum += float64(x[i])
			n++
		}
	}
	return sum / float64(n)
}

func highest(x []float32) float64 {
	top := math.NaN()
	for _, v := range x {
		if known(v) && !(float64(v) <= top) {
			top = float64(v)
		}
	}
	return top
}

// warming finds the row at which the heat has reached the coil outlet. What
// comes before is pump-down: with its liquid shut off a coil warms only
// towards the air.
func (t *Track) warming(k *circuitTrack, from, to int) (int, bool) {
	cold := t.mean(k.coil, from, t.at[from]-int64(before))
	air := t.mean(k.air, from, t.at[from]-int64(before))
	level := cold + warmingBy
	if air > level {
		level = air
	}
	for i := from; i <= to && i < len(k.coil); i++ {
		if float64(k.coil[i]) > level {
			return i, true
		}
	}
	return 0, false
}

// plateau finds the longest time for which the coil outlet hardly moves near
// 0 °C, and the level that it keeps.
func (t *Track) plateau(k *circuitTrack, from, to int) (first, last int, level float64) {
	const side = int64(45 * time.Second)
	begun := -1
	for i := from; i <= min(to, len(k.coil)-1); i++ {
		early := t.mean(k.coil, i, t.at[i]-side)
		late := t.mean(k.coil, min(t.rowAt(t.at[i]+side), to), t.at[i])
		slope := (late - early) / (float64(side) / 60e9)
		if math.Abs(slope) <= plateauSlope && math.Abs(late) <= plateauNear {
			if begun < 0 {
				begun = i
			}
			if t.at[i]-t.at[begun] > t.at[last]-t.at[first] {
				first, last = begun, i
			}
			continue
		}
		begun = -1
	}
	if float64(t.at[last]-t.at[first])/1e9 < minPlateau {
		return 0, 0, math.NaN()
	}
	values := slices.Clone(k.coil[first : last+1])
	slices.Sort(values)
	return first, last, float64(values[len(values)/2])
}

// pastMelting reports whether the ice was gone when the heat ended.
func (k *circuitTrack) pastMelting(endedAt float64) bool {
	if k.kind == frame.OffCycle {
		return endedAt >= clearOff
	}
	return endedAt >= clearHeated
}

// termination returns what ended the heat: time where the coil outlet was not
// past melting or all defrosts of the circuit are of the same whole minutes,
// as a clock makes them; temperature where their lengths differ. One alone
// shows nothing.
func (t *Track) termination(c cycle, endedAt *float64) string {
	k := &t.circuits[c.circuit]
	switch {
	case endedAt == nil:
		return "unknown"
	case !k.pastMelting(*endedAt):
		return "time"
	case c.from == 0:
		return "unknown" // its length is not known
	}
	own := c.span.Ended - c.span.Began
	row := t.at[c.from+1] - t.at[c.from]
	others, same := 0, 0
	for i, s := range k.cycles {
		if i == c.number-1 || s.Ended == 0 || s.row == 0 {
			continue
		}
		others++
		if d := s.Ended - s.Began - own; max(d, -d) <= row {
			same++
		}
	}
	minute := int64(time.Minute)
	off := (own+minute/2)%minute - minute/2
	switch {
	case others >= 1 && same < others:
		return "temperature"
	case others >= 2 && max(off, -off) <= row:
		return "time"
	}
	return "unknown"
}

// airTurns finds the row at which the air begins to cool after the restart: by
// then the fans run.
func (t *Track) airTurns(k *circuitTrack, from, to int) (int, bool) {
	top := math.NaN()
	for i := from; i <= min(to, len(k.air)-1); i++ {
		now := t.mean(k.air, i, t.at[i]-int64(30*time.Second))
		if !(now <= top) {
			top = now
		}
		if now < top-airTurns {
			return i, true
		}
	}
	return 0, false
}
