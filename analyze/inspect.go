package analyze

import (
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// CircuitState is what one circuit is doing at one instant, with the times of
// its last defrost; NaN where a temperature is not known.
type CircuitState struct {
	Group, Name string
	Kind        frame.DefrostKind
	Stage       frame.Stage
	Since       int64 // of the stage, ns since 1970; 0 not known
	Last        frame.DefrostRun
	CoilOutlet  units.Celsius
	Air         units.Celsius
}

// Machine is what is known of one compressor beside its State; NaN where not
// known.
type Machine struct {
	Sump      units.Celsius
	Discharge units.Celsius
	// DischargeLearned reports whether the machine's efficiency is known, so
	// that its discharge temperature can be held against dry gas at 0 K of
	// superheat; Shortfall is how far it heads below that, and negative while
	// the machine takes superheated gas.
	DischargeLearned bool
	Shortfall        units.Kelvin
}

// Circuits appends to dst the state of every circuit after the last Observe,
// in the order of the configuration.
func (e *Engine) Circuits(dst []CircuitState) []CircuitState {
	for _, g := range e.groups {
		for i := range g.circuits {
			c, spec := &g.phases.Circuits[i], &g.spec.Circuits[i]
			stage, since := c.Stage()
			dst = append(dst, CircuitState{
				Group: g.spec.Name, Name: spec.Name, Kind: spec.Defrost, Stage: stage, Since: since, Last: c.Last,
				CoilOutlet: units.Celsius(e.value(g.circuits[i].coilOutlet)), Air: units.Celsius(e.value(g.circuits[i].air)),
			})
		}
	}
	return dst
}

// Machines appends to dst what is known of every compressor after the last
// Observe, in the order of the configuration.
func (e *Engine) Machines(dst []Machine) []Machine {
	for _, g := range e.groups {
		for i := range g.compressors {
			c := &g.compressors[i]
			learned, shortfall := c.set.Discharge()
			dst = append(dst, Machine{
				Sump: units.Celsius(e.value(c.sumpTemperature)), Discharge: units.Celsius(e.value(c.dischargeTemperature)),
				DischargeLearned: learned, Shortfall: units.Kelvin(shortfall),
			})
		}
	}
	return dst
}
