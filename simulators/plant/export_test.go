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

// Discharge returns where the discharge pipe of a compressor settles when gas of
// the given superheat, with a share of liquid, enters it at a suction and a
// condensing dew, °C.
func Discharge(refrigerant, kind string, dew, condensing, superheat, liquid float64) (float64, error) {
	f, err := fluidOf(refrigerant)
	if err != nil {
		return 0, err
	}
	g := &group{Group: Group{DewC: dew}, fluid: f}
	g.high.dew = condensing
	g.high.refresh(f, 4)
	c := newCompressor(Compressor{Kind: kind, CapacityKW: 8, Isentropic: 0.65, MotorLoss: 0.1, OilKg: 2.5}, g)
	c.on = true
	s := f.at(dew)
	for range 3600 {
		c.inlet = stream{gas: 0.05, temperature: dew + superheat}
		c.draw = c.gasDrawn(&s, g.high.pressure)
		c.inlet.liquid = c.draw * liquid / (1 - liquid)
		c.compress(substep, f, &s, &g.high, 24)
	}
	return c.discharge, nil
}

// CostOfLiquid passes gas of 20 K superheat with 1 % of liquid through a long
// insulated tube and returns the K that it lost.
func CostOfLiquid(refrigerant string, dew float64) (float64, error) {
	f, err := fluidOf(refrigerant)
	if err != nil {
		return 0, err
	}
	s := f.at(dew)
	t := tube{cells: make([]cell, 20), boil: 20, gas: 5, flow: 0.05, wall: 50, hold: 1, wet: 0.0005, full: 1, contact: 0.5}
	for i := range t.cells {
		t.cells[i] = cell{wall: dew + 20, gas: dew + 20}
	}
	outside := make([]around, len(t.cells))
	var out stream
	for range 7200 {
		out = t.step(substep, stream{gas: 0.0495, liquid: 0.0005, temperature: dew + 20}, &s, 0, outside)
	}
	return dew + 20 - out.temperature, nil
}
