package cause

import (
	"math"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/filter"
	"dewgap/analyze/units"
)

// circuitFeature is one piece of evidence that a circuit is the source.
type circuitFeature int

const (
	circuitOutletLow       circuitFeature = iota // its outlet came down from normal to dew
	circuitRestarted                             // its valve opened just before the floodback
	circuitFresh                                 // it went back to refrigeration lately
	circuitFreshUnmeasured                       // it did, and no outlet temperature can clear it
	circuitFoundBefore                           // earlier floodbacks came from it
	circuitShutDriesUp                           // the compressors dry up while it is shut
	circuitAirCold                               // its air is colder than usual: overfed coils make cold air
	circuitAirFar                                // its air is further above dew than with a clean coil
	circuitAirVeryFar                            // its air is so by far
	circuitOutletSwings                          // its outlet swings more than its neighbours'
	circuitDefrostCold                           // its last defrost left ice
	circuitShut                                  // it gets no liquid
	circuitDefrostOdd                            // its last defrost was much shorter or longer than its neighbours'
	circuitHotGasOn                              // hot gas condenses in it: what comes of it is liquid
	circuitFeatureCount
)

// circuitDegrees holds how plain each feature of a circuit is, 0 to 1.
type circuitDegrees [circuitFeatureCount]float64

// circuitWeights are the logarithms of odds that a plain feature gives to its
// circuit. Common practice, no source.
var circuitWeights = circuitDegrees{
	circuitOutletLow: 6, circuitRestarted: 2.4, circuitFresh: 2, circuitFreshUnmeasured: 2, circuitFoundBefore: 1.6,
	circuitShutDriesUp: 3.6, circuitAirCold: 1.2, circuitAirFar: 2, circuitAirVeryFar: 2, circuitOutletSwings: 1.6,
	circuitDefrostCold: 1.2, circuitShut: -1.2, circuitHotGasOn: 3.5, circuitDefrostOdd: 1.5,
}

// logOdds adds up the features of a circuit.
func (d *circuitDegrees) logOdds() float64 {
	sum := 0.0
	for f := range d {
		sum += circuitWeights[f] * d[f]
	}
	return sum
}

// Common practice, no source.
const (
	freshTau    = 600.0  // s
	freshAtMost = 3600.0 // s
)

// circuitDegrees returns what supports circuit i as the source at this instant
// of a floodback that began at a time.
func (g *Group) circuitDegrees(i int, base *baseline, began int64) (d circuitDegrees) {
	c := &g.coils[i]
	low := c.lowness(base)
	if !math.IsNaN(low) {
		d[circuitOutletLow] = low
	}
	if ago := c.ago(g.now); !c.isShut() && ago < freshAtMost {
		d[circuitFresh] = math.Exp(-ago / freshTau)
		if math.IsNaN(low) {
			d[circuitFreshUnmeasured] = d[circuitFresh]
		}
	}
	d[circuitRestarted] = filter.LinearStep(c.ago(began), 180, 60)
	if c.measured { // what was found of an unmeasured coil was a guess
		d[circuitFoundBefore] = g.histories[i].part()
	}
	d[circuitShutDriesUp] = g.driesUp(i)
	d[circuitAirCold] = filter.LinearStep(c.air.Value()-base.air, -0.7, -2)
	gapOver := c.gapNow(g.now) - base.cleanGap
	d[circuitAirFar] = filter.LinearStep(gapOver, 1, 4)
	d[circuitAirVeryFar] = filter.LinearStep(gapOver, 3, 8)
	others := g.otherSwings(i)
	if math.IsNaN(others) {
		others = 0.5 // K, usual of a quiet outlet
	}
	d[circuitOutletSwings] = filter.LinearStep(c.swings.swing()-others, 0.7, 3)
	d[circuitDefrostCold] = c.defrostColdness()
	d[circuitShut] = degreeOf(c.isShut())
	d[circuitHotGasOn] = filter.LinearStep(c.inHotGas(began), 30, 90)
	ratio := c.last.Length() / g.neighboursDefrost(i)
	d[circuitDefrostOdd] = max(muchShorter(ratio), muchLonger(ratio))
	return d
}

// driesUp returns how much supports circuit i because the compressors dried up
// while it was shut, by more than while others were.
func (g *Group) driesUp(i int) float64 {
	gain := g.coils[i].shut.gain.Value()
	others := fromOthers(len(g.coils), i, func(j int) float64 { return g.coils[j].shut.gain.Value() })
	if math.IsNaN(others) { // nothing to compare with
		return 0.3 * filter.LinearStep(gain, 4, 8)
	}
	return filter.LinearStep(gain-max(others, 3), 0, 4)
}

// What is worth a reason; common practice, no source.
const (
	reasonLowness = 0.35
	reasonGap     = 1.5 // K
	reasonSwing   = 2.0 // K
	reasonCold    = 0.5
	reasonDriesUp = 0.2
)

// circuitReasons returns what supports circuit i as the source now.
func (g *Group) circuitReasons(i int, base *baseline) (why []evidence.Item) {
	c := &g.coils[i]
	add := func(code evidence.Code, values ...evidence.Value) { why = append(why, evidence.New(code, values...)) }
	if c.lowness(base) > reasonLowness {
		add(evidence.CircuitOutletLow, kelvin("superheat", c.lowest()), kelvin("normal", base.normal))
	}
	if ago := c.ago(g.now); ago < freshAtMost {
		add(evidence.CircuitRestarted, evidence.Duration("ago", time.Duration(ago*float64(second))))
	}
	if over := c.gapNow(g.now) - base.cleanGap; over > reasonGap {
		add(evidence.CircuitAirFarAboveDew, kelvin("more", over))
	}
	if swing := c.swings.swing(); swing > reasonSwing {
		add(evidence.CircuitOutletSwings, kelvin("swing", swing))
	}
	if c.defrostColdness() > reasonCold {
		add(evidence.CircuitDefrostCold, evidence.Temperature("peak", c.last.Peak))
	}
	if g.driesUp(i) > reasonDriesUp {
		add(evidence.CircuitShutDriesUp, kelvin("rise", c.shut.gain.Value()))
	}
	if !c.measured && !c.isShut() {
		add(evidence.CircuitOutletNotMeasured)
	}
	return why
}

func kelvin(name string, k float64) evidence.Value { return evidence.Difference(name, units.Kelvin(k)) }
