package plant

// mass returns all refrigerant of the group, kg.
func (g *group) mass() float64 {
	m := g.gas + g.high.mass
	for _, c := range g.circuits {
		m += c.coil.mass() + c.stub.mass() + c.line.mass() + c.own.gas
	}
	for i, c := range g.compressors {
		m += c.drop.mass() + c.sump.refrigerant + g.header.sections[i].mass() + float64(g.header.sections[i].inbox*substep)
	}
	if g.vessel != nil {
		m += g.vessel.liquid
	}
	return m
}

// Balance is what went into and out of a group's refrigerant since the plant
// was built, and how much refrigerant there is.
type Balance struct {
	Group           string
	Mass            float64 // kg
	HeatIn, HeatOut float64 // J: coils, lines and compressors; condenser
}

// Balances returns the balance of each group.
func (p *Plant) Balances() []Balance {
	b := make([]Balance, len(p.groups))
	for i, g := range p.groups {
		b[i] = Balance{Group: g.Name, Mass: g.mass(), HeatIn: g.ledger.in, HeatOut: g.ledger.out}
	}
	return b
}
