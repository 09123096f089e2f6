package plant

// group is a suction group on its fluid.
type group struct {
	Group
	fluid       *fluid
	circuits    []*circuit
	compressors []*compressor
	header      header
	vessel      *accumulator
	high        highSide

	dew        float64 // °C at the header
	gas        float64 // kg of gas in the low side
	volume     float64 // m³ of it
	warm       float64 // K, mean superheat of that gas
	change     float64 // K, last step
	storeWater float64
	discharged float64 // kg/s by all compressors, last step
	draws      []float64
	rack       rack
	ledger     ledger
}

// ledger counts heat and refrigerant over the run, to be balanced by tests.
type ledger struct {
	in, out float64 // J into the refrigerant; out of it at the condenser
}

// density of the gas in the low side at a dew temperature, kg/m³.
func (g *group) density(dew float64) float64 {
	s := g.fluid.at(dew)
	return s.rhoGas * (dew + 273.15) / (dew + g.warm + 273.15)
}

// passage is what one step moves between low and high side.
type passage struct {
	intoGas    float64 // kg/s into the gas of the low side
	intoHigh   float64 // kg/s into the high side
	discharged float64 // kg/s by the compressors
	heat       float64 // W into the condenser, over its liquid
}

// step moves the group on by dt seconds.
func (g *group) step(dt, outdoor float64, store *Store, h *humidity) {
	g.rack.step(dt, g)
	g.solvePressure(dt)
	s := g.fluid.at(g.dew)

	var p passage
	g.evaporate(dt, &s, &p, store, h)
	g.compress(dt, &s, &p, store)

	g.discharged = p.discharged
	g.gas += float64(p.intoGas * dt)
	g.high.mass += float64((p.discharged + p.intoHigh) * dt)
	if g.gas < 0 { // what condenses in an emptied low side comes over the valves, a few grams
		g.high.mass += g.gas
		g.gas = 0
	}
	g.high.step(dt, p.heat, outdoor, g.MinimumC, g.Critical)
	g.ledger.out += float64(g.high.rejected * dt)
	g.high.refresh(g.fluid, g.subcooling())
}

// evaporate steps the circuits and lets what they return into the header, past
// the accumulator if there is one.
func (g *group) evaporate(dt float64, s *saturation, p *passage, store *Store, h *humidity) {
	g.high.available = max(g.high.mass-0.02, 0)
	if g.Critical { // gas enters the valve when the condenser's foot runs dry
		g.high.available *= dt / (dt + 20)
	}
	hotGas, drainHeat := 0.0, 0.0
	var all inflow
	for _, c := range g.circuits {
		c.step(dt, g, store, h, g.dew)
		g.high.available -= float64(c.flow * dt)
		g.ledger.in += float64((c.coil.fromWall + c.stub.fromWall + c.line.fromWall) * dt)
		p.intoGas += c.out.gas
		p.intoHigh += c.own.drained - c.flow - c.own.hotGas
		drainHeat += float64(c.own.drained * (g.fluid.at(c.dewBefore).hLiquid - g.high.liquidEnthalpy))
		hotGas += c.own.hotGas
		if g.vessel == nil {
			g.header.enter(c.Position-1, c.out)
		} else {
			all.add(c.out)
		}
	}
	p.heat = drainHeat - float64(hotGas*(g.dischargeEnthalpy()-g.high.liquidEnthalpy))
	if g.vessel != nil {
		in := stream{gas: all.gas, liquid: all.liquid, temperature: all.temperature(g.vessel.out.temperature)}
		out, boiled := g.vessel.step(dt, in, s, g.change, store.RoomC)
		g.vessel.out = out
		p.intoGas += boiled
		g.header.enter(0, out)
	}
}

// compress shares what is in the header among the compressors and steps them.
func (g *group) compress(dt float64, s *saturation, p *passage, store *Store) {
	wanted := 0.0
	for _, c := range g.compressors {
		c.draw = c.gasDrawn(s, g.high.pressure)
		wanted += c.draw
	}
	there := max(g.gas, 0) / (2 * dt) // nobody draws what is not there
	for i, c := range g.compressors {
		if wanted > there {
			c.draw *= there / wanted
		}
		g.draws[i] = max(c.draw-c.fromDrop-float64(c.sump.release*0.9), 0)
	}
	p.intoGas += g.header.step(dt, g.draws, s, g.change, store.RoomC)

	for i, c := range g.compressors {
		in := g.header.sections[i].drawn
		room := around{conductance: c.InletWK / 2, temperature: store.RoomC}
		c.inlet = c.drop.step(dt, in, s, g.change, []around{room, room})
		c.fromDrop = c.inlet.gas - in.gas
		if c.inlet.gas <= 0 {
			c.inlet.temperature = c.drop.cells[1].wall
		}
		p.intoGas += c.fromDrop
		c.compress(dt, g.fluid, s, &g.high, store.RoomC)
		p.intoGas += c.sump.release - c.draw
		p.discharged += c.out
		p.heat += float64(c.out * (c.enthalpy - g.high.liquidEnthalpy))
		g.ledger.in += float64((c.power + c.drop.fromWall + g.header.sections[i].fromWall + float64(c.sump.release*s.latent())) * dt)
	}
}

func (g *group) subcooling() float64 {
	if !g.Critical || g.high.mass <= g.high.just {
		return g.SubcoolK
	}
	return float64(g.SubcoolK * min(1+(g.high.mass-g.high.just)/g.high.just, 4))
}

// dischargeEnthalpy is what the hot-gas line carries, J/kg.
func (g *group) dischargeEnthalpy() float64 {
	return g.high.state.hGas + float64(25*g.high.state.cpGas)
}

// solvePressure finds the dew temperature at which the gas in the low side, at
// the end of the step, fills its volume: evaporation and the compressors answer
// to it within less than a second, so they are taken in.
func (g *group) solvePressure(dt float64) {
	flow, boiling, flash := 0.0, 0.0, 0.0
	warm, n := 0.0, 0.0
	for _, c := range g.circuits {
		flow += c.out.gas
		boiling += c.boiling()
		flash += c.flash()
		w := max(c.out.gas, float64(0.02*c.line.flow))
		warm += float64(w * max(c.out.temperature-g.dew, 0))
		n += w
	}
	g.warm += (warm/n - g.warm) * dt / (dt + 30)
	s := g.fluid.at(g.dew)
	next := g.fluid.at(g.dew + 1)
	draw, slope := 0.0, 0.0
	for i, c := range g.compressors {
		boiling += c.drop.boiling + g.header.sections[i].boiling
		flash += c.drop.flash + g.header.sections[i].flash
		m := c.gasDrawn(&s, g.high.pressure)
		draw += m
		slope += m * (next.rhoGas - s.rhoGas) / s.rhoGas
		flow += c.fromDrop + c.sump.release
	}
	store := float64(g.density(g.dew) * g.volume)
	perK := float64(g.density(g.dew+1)*g.volume) - store
	// what liquid flashed in the last step belongs to that step's change of dew,
	// not to this one's: taken as a rate it would make the pressure ring
	flow += flash * g.change / dt
	step := (g.gas - store + float64(dt*(flow-draw))) / (perK + flash + float64(dt*(boiling+slope)))
	step = min(max(step, -3), 3)
	g.change = step
	g.dew = min(max(g.dew+step, gridLow+2), 45)
}
