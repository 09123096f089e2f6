package cause

import "math"

// clue is one piece of evidence that a circuit is the source, 0 to 1.
type clue int

const (
	outletLow    clue = iota // its outlet came down from normal to dew
	restarted                // its valve opened just before the floodback
	fresh                    // it went back to refrigeration lately
	freshUnseen              // … and its outlet cannot tell
	blamedBefore             // earlier floodbacks came from it
	driesUp                  // the compressors dry up while it is shut
	airCold                  // overfed coils make cold air
	airFar                   // its air stands further over dew than with a clean coil
	airVeryFar               // … by far
	outletSwings             // its outlet swings more than its neighbours'
	meltCold                 // its last defrost left ice
	isShutNow                // it gets no liquid
	clueCount
)

// clues returns what speaks for circuit i as the source at this instant.
func (g *Group) clues(i int, base *baseline, began int64) (q [clueCount]float64) {
	c := &g.coils[i]
	low := c.lowness(base)
	if !math.IsNaN(low) {
		q[outletLow] = low
	}
	if ago := c.ago(g.now); !c.isShut() && ago < 3600 {
		q[fresh] = math.Exp(-ago / 600)
		if math.IsNaN(low) {
			q[freshUnseen] = q[fresh]
		}
	}
	q[restarted] = ramp(c.ago(began), 180, 60)
	if c.known { // what an unmeasured coil was blamed for was a guess
		q[blamedBefore] = g.earlier[i].part()
	}
	q[driesUp] = g.driedUp(i)
	q[airCold] = ramp(c.air.now()-base.air, -0.7, -2)
	q[airFar] = ramp(c.gapNow(g.now)-base.cleanGap, 1, 4)
	q[airVeryFar] = ramp(c.gapNow(g.now)-base.cleanGap, 3, 8)
	other := g.otherSwings(i)
	if math.IsNaN(other) {
		other = 0.5
	}
	q[outletSwings] = ramp(c.wave.swing()-other, 0.7, 3)
	q[meltCold] = coldDefrost(c.kind, float64(c.last.Peak), c.last.Ended)
	q[isShutNow] = yes(c.isShut())
	return q
}

// driedUp is how much speaks for circuit i because the compressors dried up
// while it was shut, more than while others were.
func (g *Group) driedUp(i int) float64 {
	others := fromOthers(len(g.coils), i, func(j int) float64 { return g.coils[j].gain.now() })
	if math.IsNaN(others) {
		return 0.3 * ramp(g.coils[i].gain.now(), 4, 8)
	}
	return ramp(g.coils[i].gain.now()-max(others, 3), 0, 4)
}

// clueWeights are the logarithms of odds that a clue gives to its circuit;
// what each is stands with the clues. Common practice, no source.
var clueWeights = [clueCount]float64{
	outletLow: 6, fresh: 2, freshUnseen: 2, restarted: 2.4, blamedBefore: 1.6, driesUp: 3.6, airCold: 1.2,
	isShutNow: -1.2, airFar: 2, airVeryFar: 2, outletSwings: 1.6, meltCold: 1.2,
}

// blame adds up clues.
func blame(q *[clueCount]float64) float64 {
	b := 0.0
	for i := range q {
		b += clueWeights[i] * q[i]
	}
	return b
}
