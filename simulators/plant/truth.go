package plant

import "strings"

// Truth is the state of one compressor that no sensor measures.
type Truth struct {
	Group, Compressor string
	Phase             string  // by the contract, section 5, from true loads
	Running           bool    //
	LiquidFraction    float64 // mass of liquid over mass of all that enters; 0 when off
	SuperheatK        float64 // of what enters, had its liquid boiled in it; 0 when it cannot all boil; means nothing when off
	SumpRefrigerantKg float64 // dissolved in the oil
	SumpAboveDewK     float64 // oil over dew
	Faults            string  // active in the group: kind@target, separated by spaces
	Restarting        string  // circuits in pulldown, separated by spaces
}

// Truth returns one entry for each compressor, in order of the description.
// The slice is overwritten by the next Step.
func (p *Plant) Truth() []Truth { return p.truth }

// updateTruth fills truth after a step.
func (p *Plant) updateTruth() {
	p.truth = p.truth[:0]
	for _, g := range p.groups {
		defrosting, down := false, []string{}
		for _, c := range g.circuits {
			defrosting = defrosting || c.defrosting()
			if c.load.down && c.refrigerating() {
				down = append(down, c.Name)
			}
		}
		faults := p.faultsOf(g.Name)
		for _, c := range g.compressors {
			t := Truth{
				Group: g.Name, Compressor: c.Name, Running: c.on,
				SumpRefrigerantKg: c.sump.refrigerant, SumpAboveDewK: c.sump.temperature - g.dew,
				Faults: faults, Restarting: strings.Join(down, " "),
			}
			t.LiquidFraction, t.SuperheatK = g.entering(c)
			switch {
			case !c.on:
				t.Phase = "off"
			case c.time < 120 && c.off >= 60:
				t.Phase = "start"
			case len(down) > 0:
				t.Phase = "pulldown"
			case defrosting:
				t.Phase = "defrost"
			default:
				t.Phase = "steady"
			}
			p.truth = append(p.truth, t)
		}
	}
}

// entering returns how wet what enters a compressor is, and its superheat.
func (g *group) entering(c *compressor) (liquidFraction, superheat float64) {
	gas, liquid := max(c.inlet.gas, 0), c.inlet.liquid
	if !c.on || gas+liquid <= 0 {
		return 0, c.drop.cells[1].wall - g.dew
	}
	s := g.fluid.at(g.dew)
	over := (float64(gas*s.cpGas*(c.inlet.temperature-s.dew)) - float64(liquid*s.latent())) / (gas + liquid) / s.cpGas
	return liquid / (gas + liquid), max(over, 0)
}

// CircuitTruth is how a circuit stands.
type CircuitTruth struct {
	Group, Name string
	Stage       string  // cooling, pump_down, defrost, drip, fan_delay
	IceKg, AirC float64 // on the coil; in the case
}

// Circuits returns one entry for each circuit, in order of the description.
func (p *Plant) Circuits() []CircuitTruth {
	var list []CircuitTruth
	for _, g := range p.groups {
		for _, c := range g.circuits {
			stage := [...]string{"cooling", "pump_down", "defrost", "drip", "fan_delay"}[c.stage]
			list = append(list, CircuitTruth{g.Name, c.Name, stage, c.coil.frost(), c.air.air})
		}
	}
	return list
}
