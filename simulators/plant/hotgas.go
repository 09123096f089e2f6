package plant

// ownPressure is the state of a coil whose suction stop is shut, as it is
// during a hot-gas defrost and until its pressure has been let down.
type ownPressure struct {
	isolated bool
	dew      float64 // °C in the coil
	change   float64 // K, last step
	gas      float64 // kg of gas in the coil
	made     float64 // kg/s of gas that the coil's liquid made in the last step; negative: condensed
	hotGas   float64 // kg/s taken from the discharge
	bled     float64 // kg/s of gas let into the suction line
	drained  float64 // kg/s of condensate driven back to the liquid header
	drain    float64 // factor on the share that is drained: a fault
	bleed    float64 // factor on the time of letting down: a fault
	volume   float64 // m³
}

// Common practice, no source: the regulator of the defrost gas throttles over
// the last kelvins below its setting, and an open suction stop costs 0.8 K of
// dew at the design flow.
const (
	throttleK = 4.0
	openStopK = 0.8
)

// ownDew returns the dew temperature in the coil: the line's, or its own while
// the suction stop is shut. The coil's gas follows from its own balance, solved
// implicitly because a few grams make a kelvin.
func (c *circuit) ownDew(dt float64, g *group, line float64) float64 {
	o := &c.own
	o.hotGas, o.drained, o.bled = 0, 0, 0
	if c.stage == heating && !o.isolated {
		s := g.fluid.at(line)
		*o = ownPressure{isolated: true, dew: line, gas: float64(s.rhoGas * o.volume), drain: o.drain, bleed: o.bleed, volume: o.volume}
		g.gas -= o.gas
	}
	if !o.isolated {
		return line
	}
	if c.stage != heating && o.dew-line < 0.5 {
		o.isolated = false
		g.gas += o.gas
		o.gas = 0
		return line
	}
	s := g.fluid.at(o.dew)
	perK := float64((g.fluid.at(o.dew+1).rhoGas - s.rhoGas) * o.volume) // kg/K
	slope := 0.0                                                        // kg/(s K): how the flows below answer to dew
	switch {
	case c.stage == heating:
		// no more than the compressors deliver, and than keeps the coil a little below the condenser
		limit := min(g.high.dew-throttleK, c.Defrost.TerminationC+8)
		most := min(c.Defrost.HotGasKW*1000*c.heaters/s.latent(), g.discharged)
		o.hotGas = most * min(max((limit-o.dew)/throttleK, 0), 1)
		if o.hotGas > 0 && o.hotGas < most {
			slope = most / throttleK
		}
	case c.refrigerating():
		below := g.fluid.at(line)
		next := g.fluid.at(line + openStopK)
		o.bled = float64(c.line.flow * sqrt((s.pressure-below.pressure)/(next.pressure-below.pressure)))
		slope = o.bled / (2 * (o.dew - line))
	default:
		below := float64(g.fluid.at(line).rhoGas * o.volume)
		o.bled = max(o.gas-below, 0) / (c.Defrost.BleedS * o.bleed)
		slope = perK / (c.Defrost.BleedS * o.bleed)
	}
	flash := c.coil.flash + c.stub.flash
	// as in the group: what flashed in the last step belongs to that step
	supply := o.hotGas - o.bled + o.made + float64(flash*o.change/dt)
	missing := o.gas - float64(s.rhoGas*o.volume) + float64(dt*supply)
	o.change = min(max(missing/(perK+flash+float64(dt*(c.coil.boiling+c.stub.boiling+slope))), -3), 3)
	o.dew = min(max(o.dew+o.change, gridLow+2), g.high.dew)
	return o.dew
}

// hold keeps what leaves the coil in it, or lets it down into the line.
func (c *circuit) hold(dt float64, out stream) stream {
	o := &c.own
	o.made = out.gas - o.hotGas
	o.gas += float64((out.gas - o.bled) * dt)
	if c.stage != heating {
		return stream{gas: o.bled, liquid: out.liquid, temperature: out.temperature}
	}
	// condensate leaves through the check valve around the expansion valve
	last := &c.stub.cells[0]
	last.liquid += float64(out.liquid * dt)
	over := max(last.liquid-c.stub.full, 0) // backs up in the coil, and is pushed out of a full one
	last.liquid -= over
	for i := coilCells - 1; i >= 0; i-- {
		back := min(over, c.coil.full-c.coil.cells[i].liquid)
		c.coil.cells[i].liquid += back
		over -= back
	}
	condensing := max(-o.made, 0)
	wanted := float64(condensing * min(float64(c.Defrost.Drain*o.drain), 1) * dt)
	held := c.coil.mass() + last.liquid
	if held > 0 {
		share := min(wanted/held, 1)
		for i := range c.coil.cells {
			c.coil.cells[i].liquid -= float64(c.coil.cells[i].liquid * share)
		}
		last.liquid -= float64(last.liquid * share)
		o.drained = share * held / dt
	}
	o.drained += over / dt
	return stream{temperature: out.temperature}
}
