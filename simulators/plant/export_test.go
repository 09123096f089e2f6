package plant

import "fmt"

// Broken names what has left its valid range; empty when nothing has.
func (p *Plant) Broken() string {
	for _, g := range p.groups {
		within := func(what string, v, low, high float64) string {
			if v >= low && v <= high { // not for NaN
				return ""
			}
			return fmt.Sprintf("%s.%s = %g at %d s, want %g to %g", g.Name, what, v, p.seconds, low, high)
		}
		wrong := []string{
			within("dew", g.dew, gridLow+2, 45),
			within("gas", g.gas, 0, 50),
			within("condensing dew", g.high.dew, -9.9, 75),
			within("high side", g.high.mass, -0.1, 500),
			within("warmth of the gas", g.warm, 0, 80),
		}
		tube := func(what string, t *tube) {
			for i, c := range t.cells {
				at := fmt.Sprintf("%s[%d]", what, i)
				wrong = append(wrong, within(at+".wall", c.wall, -60, 130), within(at+".gas", c.gas, -60, 150),
					within(at+".liquid", c.liquid, 0, t.full*1.001), within(at+".frost", c.frost, 0, 100))
			}
		}
		for _, c := range g.circuits {
			tube(c.Name+".coil", &c.coil.tube)
			tube(c.Name+".stub", &c.stub)
			tube(c.Name+".line", &c.line)
			wrong = append(wrong, within(c.Name+".air", c.air.air, -60, 40), within(c.Name+".valve", c.valve.opening, 0, 1),
				within(c.Name+".own dew", c.own.dew, gridLow, 75), within(c.Name+".water", c.coil.water, 0, 100))
		}
		for i, c := range g.compressors {
			tube(c.Name+".drop", &c.drop)
			tube(fmt.Sprintf("header[%d]", i), &g.header.sections[i].tube)
			wrong = append(wrong, within(c.Name+".discharge", c.discharge, -40, 220), within(c.Name+".sump", c.sump.temperature, -40, 120),
				within(c.Name+".oil", c.sump.refrigerant, -0.001, 60))
		}
		if g.vessel != nil {
			wrong = append(wrong, within("vessel", g.vessel.liquid, 0, 100))
		}
		for _, w := range wrong {
			if w != "" {
				return w
			}
		}
	}
	return ""
}
