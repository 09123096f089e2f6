package plant

// newGroup sizes a suction group from its circuits' loads and its design point.
func newGroup(d Group, store *Store, f *fluid, h *humidity, seed uint64) *group {
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
	for i := range d.Circuits {
		g.circuits = append(g.circuits, newCircuit(d.Circuits[i], g, store, h, seed))
	}
	g.volume = g.HeaderVolumeL / 1000
	g.gas = float64(suction.rhoGas * g.volume * 0.95)
	g.warm = 10

	flow := total * 1000 / (suction.hGas + float64(8*suction.cpGas) - g.high.liquidEnthalpy)
	shaft, capacity := 0.0, 0.0
	for i := range d.Compressors {
		c := newCompressor(d.Compressors[i], g)
		g.compressors = append(g.compressors, c)
		g.header.sections = append(g.header.sections, newSection(flow, d))
		shaft += float64(c.CapacityKW * 1000 * 0.5)
		capacity += float64(c.CapacityKW * 1000)
	}
	g.header.split = d.HeaderSplit
	g.draws = make([]float64, len(g.compressors))
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
	return g
}

// newSection is the piece of header at one compressor's tap.
func newSection(flow float64, d Group) section {
	return section{tube: tube{
		cells: []cell{{wall: d.DewC + 15, gas: d.DewC + 15}},
		boil:  15, gas: 3, flow: flow, wall: 2500, hold: 3, wet: 0.03, full: 2, contact: d.HeaderBoil,
	}, out: stream{temperature: d.DewC + 15}, outside: [1]around{{conductance: 0.5}}}
}

// newCompressor sizes a compressor from its capacity at the group's design point.
func newCompressor(d Compressor, g *group) *compressor {
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
	return &compressor{
		Compressor: d, swept: mass / (filling * density), speed: 1, time: 600, off: 600,
		inlet: stream{temperature: g.DewC + 15}, head: 60, discharge: 60,
		sump: sump{oil: d.OilKg, temperature: 40, refrigerant: 0.02, heater: 1},
		drop: tube{
			cells: []cell{{wall: g.DewC + 15, gas: g.DewC + 15}, {wall: g.DewC + 15, gas: g.DewC + 15}},
			boil:  48, // W/K: as in the circuits' lines, for some 1.9 m
			gas:   6 + float64(120*mass), flow: mass, wall: 500, hold: 1, wet: 0.004, full: 0.5, contact: 0.1,
		},
	}
}
