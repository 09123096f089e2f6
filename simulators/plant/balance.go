package plant

// mass returns all refrigerant of the group, kg.
func (g *group) mass() float64 {
	m := g.gas + g.high.mass
	for _, c := range g.circuits {
		m += c.coil.mass() + c.stub.mass() + c.line.mass() + c.own.gas
	}
	for i, c := range g.compressors {
		m += c.drop.mass() + c.sump.refrigerant + g.header.sections[i].mass() + g.header.sections[i].inbox*substep
	}
	if g.vessel != nil {
		m += g.vessel.liquid
	}
	return m
}
