package plant

// ownPressure is the state of a coil whose suction stop is shut, as it is
// during a hot-gas defrost and until its pressure has been let down.
type ownPressure struct {
	isolated bool
	dew      float64 // °C in the coil
	gas      float64 // kg of gas in the coil
	rate     float64 // kg/s of gas that the coil made in the last step
	hotGas   float64 // kg/s taken from the discharge
	drained  float64 // kg/s of condensate driven back to the liquid header
	drain    float64 // factor on the share that is drained: a fault
	bleed    float64 // factor on the time of letting down: a fault
	volume   float64 // m³
	bled     float64 // kg/s let down into the suction line
}

// ownDew returns the dew temperature in the coil: the line's, or its own while
// the suction stop is shut. The coil's gas follows from its own balance, solved
// implicitly because a few grams make a kelvin.
func (c *circuit) ownDew(dt float64, g *group, line float64) float64 {
	o := &c.own
	o.hotGas, o.drained, o.bled = 0, 0, 0
	if c.stage == heating && !o.isolated {
		s := g.fluid.at(line)
		o.isolated, o.dew, o.gas, o.rate = true, line, float64(s.rhoGas*o.volume), 0
		g.gas -= o.gas
	}
	if !o.isolated {
		return line
	}
	s := g.fluid.at(o.dew)
	per := float64((g.fluid.at(o.dew+1).rhoGas - s.rhoGas) * o.volume) // kg/K
	if c.stage == heating {
		// the gas valve passes what condenses, up to its capacity, and no more
		// than keeps the coil a little below the condenser
		most := c.Defrost.HotGasKW * 1000 * c.heaters / s.latent()
		limit := min(g.high.dew-4, c.Defrost.TerminationC+8)
		o.hotGas = min(most, max(0, -o.rate+o.hotGas+((limit-o.dew)*per)/5))
	} else {
		time := float64(c.Defrost.BleedS * o.bleed)
		if c.refrigerating() {
			time = min(time, 3) // the suction stop opens
		}
		below := float64(g.fluid.at(line).rhoGas * o.volume)
		o.bled = max(o.gas-below, 0) / time
		if o.dew-line < 0.5 {
			o.isolated = false
			g.gas += o.gas
			o.gas, o.bled = 0, 0
			return line
		}
	}
	supply := o.hotGas + o.rate - o.bled
	o.dew += (o.gas - float64(s.rhoGas*o.volume) + float64(dt*supply)) / (per + float64(dt*(c.coil.boiling+c.stub.boiling)))
	return o.dew
}

// hold keeps what leaves the coil in it, or lets it down into the line.
func (c *circuit) hold(dt float64, s *saturation, out stream) stream {
	o := &c.own
	o.rate = out.gas - o.hotGas
	o.gas += float64((out.gas - o.bled) * dt)
	if c.stage != heating {
		return stream{gas: o.bled, liquid: out.liquid, temperature: out.temperature}
	}
	// condensate leaves through the check valve around the expansion valve
	last := &c.stub.cells[0]
	last.liquid += float64(out.liquid * dt)
	condensing := max(-o.rate, 0)
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
	return stream{temperature: out.temperature}
}
