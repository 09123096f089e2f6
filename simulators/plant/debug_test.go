package plant

import "fmt"

func DebugNames(p *Plant) (n []string) {
	for _, g := range p.groups {
		n = append(n, g.Name+".dew", g.Name+".hidew", g.Name+".himass")
		for _, c := range g.circuits {
			b := g.Name + "." + c.Name
			n = append(n, b+".opening", b+".flow", b+".frost", b+".cliq", b+".lliq", b+".duty", b+".wall0", b+".wall7", b+".bulb", b+".outT", b+".outl", b+".stage", b+".cdew", b+".down", b+".prod")
		}
		if g.vessel != nil {
			n = append(n, g.Name+".vessel")
		}
	}
	return
}
func DebugValues(p *Plant) (n []float64) {
	for _, g := range p.groups {
		n = append(n, g.dew, g.high.dew, g.high.mass)
		for _, c := range g.circuits {
			n = append(n, c.valve.opening, c.flow*1000, c.coil.frost(), c.coil.mass(), c.line.mass(), c.duty, c.coil.cells[0].wall, c.coil.cells[7].wall, c.valve.bulb, c.out.temperature, c.out.liquid*1000, float64(c.stage), c.dewBefore, number(c.load.down), c.air.product)
		}
		if g.vessel != nil {
			n = append(n, g.vessel.liquid)
		}
	}
	return
}
func DebugBalance(p *Plant) string {
	s := ""
	for _, g := range p.groups {
		s += fmt.Sprintf("%s in %.4g out %.4g mass %.5f ", g.Name, g.ledger.in, g.ledger.out, g.mass())
	}
	return s
}
