package plant

import "fmt"

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

func newGroup(d Group, store *Store, f *fluid, h *humidity, seed uint64) (*group, error) {
	g := &group{Group: d, fluid: f, dew: d.DewC, storeWater: store.Humidity * h.at(store.StoreC)}
	total := 0.0
	for _, c := range d.Circuits {
		total += c.LoadKW
	}
	suction := f.at(d.DewC)
	g.high.dew, g.high.dirt, g.high.fans = d.CondenseC, 1, 0.5
	g.high.refresh(f, d.SubcoolK)

	if d.HeaderVolumeL == 0 {
		g.HeaderVolumeL = float64(4 * total)
	}
	inner := 0.0
	for i := range d.Circuits {
		c, err := newCircuit(d.Circuits[i], g, store, h, seed)
		if err != nil {
			return nil, fmt.Errorf("circuit %q: %w", d.Circuits[i].Name, err)
		}
		if c.Position < 1 || c.Position > len(d.Compressors) {
			return nil, fmt.Errorf("circuit %q: tap %d: there are taps 1 to %d", c.Name, c.Position, len(d.Compressors))
		}
		inner += c.coil.full * coilCells / f.at(d.DewC).rhoLiq
		g.circuits = append(g.circuits, c)
	}
	g.volume = g.HeaderVolumeL / 1000
	g.gas = float64(suction.rhoGas * g.volume * 0.95)
	g.warm = 10

	flow := total * 1000 / (suction.hGas + float64(8*suction.cpGas) - g.high.liquidEnthalpy)
	shaft := 0.0
	for i := range d.Compressors {
		c := newCompressor(d.Compressors[i], g, flow)
		g.compressors = append(g.compressors, c)
		g.header.sections = append(g.header.sections, newSection(flow, d))
		shaft += float64(c.CapacityKW * 1000 * 0.5)
	}
	g.header.split = d.HeaderSplit
	g.draws = make([]float64, len(g.compressors))
	capacity := 0.0
	for _, c := range g.compressors {
		capacity += float64(c.CapacityKW * 1000)
	}
	g.high.conductance = (capacity + shaft) / 10
	g.high.heatStore = float64(4000 * total)

	if d.Accumulator.VolumeL > 0 {
		bore := d.Accumulator.HoleMM / 1000
		g.vessel = &accumulator{Accumulator: d.Accumulator, liquid: d.Accumulator.StartKg, hole: 3.14159265 / 4 * bore * bore}
	}
	switch {
	case d.Critical:
		g.high.just = float64(0.15 * total)
		g.high.mass = g.high.just
	default:
		g.high.mass = float64(3 * total)
	}
	if d.ChargeKg > 0 {
		g.high.mass = d.ChargeKg
	}
	g.rack = rack{Control: d.Control, set: d.DewC}
	return g, nil
}

func newSection(flow float64, d Group) section {
	return section{tube: tube{
		cells: []cell{{wall: d.DewC + 15, gas: d.DewC + 15}},
		boil:  15, gas: 3, flow: flow, wall: 2500, hold: 3, wet: 0.03, full: 2, contact: d.HeaderBoil,
	}, out: stream{temperature: d.DewC + 15}, outside: [1]around{{conductance: 0.5}}}
}

func newCompressor(d Compressor, g *group, flow float64) *compressor {
	suction := g.fluid.at(g.DewC)
	if d.Clearance == 0 {
		d.Clearance = 0.03
		if d.Kind == "scroll" {
			d.Clearance = 0.015
		}
	}
	ratio := g.high.pressure / suction.pressure
	filling := float64(0.97 * (1 - float64(d.Clearance*(ratio-1))))
	const superheat = 12.0
	mass := d.CapacityKW * 1000 / (suction.hGas + float64(superheat*suction.cpGas) - g.high.liquidEnthalpy)
	density := suction.rhoGas * (g.DewC + 273.15) / (g.DewC + superheat + 273.15)
	c := &compressor{
		Compressor: d, swept: mass / (filling * density), speed: 1, time: 600, off: 600,
		inlet: stream{temperature: g.DewC + 15}, head: 60, discharge: 60,
		sump: sump{oil: d.OilKg, temperature: 40, refrigerant: 0.02, heater: 1},
		drop: tube{
			cells: []cell{{wall: g.DewC + 15, gas: g.DewC + 15}, {wall: g.DewC + 15, gas: g.DewC + 15}},
			boil:  6, gas: 6 + float64(120*mass), flow: mass, wall: 500, hold: 1, wet: 0.004, full: 0.5, contact: 0.1,
		},
	}
	return c
}

// gasPerKelvin is how the mass of gas in the low side answers to dew, kg/K.
func (g *group) density(dew float64) float64 {
	s := g.fluid.at(dew)
	return s.rhoGas * (dew + 273.15) / (dew + g.warm + 273.15)
}

// step moves the group on by dt seconds.
func (g *group) step(dt, outdoor float64, store *Store, h *humidity) {
	g.rack.step(dt, g)
	g.solvePressure(dt)
	s := g.fluid.at(g.dew)

	g.high.available = max(g.high.mass-0.02, 0)
	if g.Critical { // gas enters the valve when the condenser's foot runs dry
		g.high.available *= dt / (dt + 20)
	}
	intoGas, intoHigh, heatHigh := 0.0, 0.0, 0.0
	var all inflow
	for _, c := range g.circuits {
		c.step(dt, g, store, h, g.dew)
		g.high.available -= float64(c.flow * dt)
		g.ledger.in += float64((c.coil.fromWall + c.stub.fromWall + c.line.fromWall) * dt)
		intoGas += c.out.gas
		intoHigh += c.own.drained - c.flow - c.own.hotGas
		heatHigh += float64(c.own.drained * (g.fluid.at(c.dewBefore).hLiquid - g.high.liquidEnthalpy))
		if g.vessel == nil {
			g.header.enter(c.Position-1, c.out)
		} else {
			all.add(c.out)
		}
	}
	if g.vessel != nil {
		in := stream{gas: all.gas, liquid: all.liquid, temperature: all.temperature(g.vessel.out.temperature)}
		out, boiled := g.vessel.step(dt, in, &s, g.change, store.RoomC)
		g.vessel.out = out
		intoGas += boiled
		g.header.enter(0, out)
	}

	wanted := 0.0
	for _, c := range g.compressors {
		c.draw = c.wants(&s, g.high.pressure)
		wanted += c.draw
	}
	there := max(g.gas, 0) / (2 * dt) // nobody draws what is not there
	for i, c := range g.compressors {
		if wanted > there {
			c.draw *= there / wanted
		}
		g.draws[i] = max(c.draw-c.fromDrop-float64(c.sump.release*0.9), 0)
	}
	intoGas += g.header.step(dt, g.draws, &s, g.change, store.RoomC)

	discharged, hot := 0.0, 0.0
	for i, c := range g.compressors {
		in := g.header.sections[i].drawn
		c.outside[0] = around{conductance: c.InletWK / 2, temperature: store.RoomC}
		outside := [2]around{c.outside[0], c.outside[0]}
		c.inlet = c.drop.step(dt, in, &s, g.change, outside[:])
		c.fromDrop = c.inlet.gas - in.gas
		if c.inlet.gas <= 0 {
			c.inlet.temperature = c.drop.cells[1].wall
		}
		intoGas += c.fromDrop
		c.compress(dt, g.fluid, &s, &g.high, store.RoomC)
		intoGas += c.sump.release - c.draw
		discharged += c.out
		hot += float64(c.out * c.enthalpy)
		g.ledger.in += float64((c.power + c.drop.fromWall + g.header.sections[i].fromWall + float64(c.sump.release*s.latent())) * dt)
	}
	g.discharged = discharged
	g.gas += float64(intoGas * dt)
	g.high.mass += float64((discharged + intoHigh) * dt)
	if g.gas < 0 { // what condenses in an emptied low side comes over the valves, a few grams
		g.high.mass += g.gas
		g.gas = 0
	}
	hotGas := 0.0
	for _, c := range g.circuits {
		hotGas += c.own.hotGas
	}
	heat := hot - float64(discharged*g.high.liquidEnthalpy) + heatHigh - float64(hotGas*(g.dischargeEnthalpy()-g.high.liquidEnthalpy))
	g.high.step(dt, heat, outdoor, g.MinimumC, g.Critical)
	g.ledger.out += float64(g.high.rejected * dt)
	g.high.refresh(g.fluid, g.subcooling())
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
		m := c.wants(&s, g.high.pressure)
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
