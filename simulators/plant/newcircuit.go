package plant

// newCircuit sizes a circuit from its load and the group's design point.
func newCircuit(d Circuit, g *group, store *Store, h *humidity, seed uint64) *circuit {
	f := g.fluid
	dew := g.DewC + d.Line.DropK
	td := d.AirC - dew
	s := f.at(dew)
	q := float64(d.LoadKW * 1000)
	duty := float64(q * d.Coil.Capacity)
	nominal := q / (s.hGas + float64(6*s.cpGas) - g.high.liquidEnthalpy)
	derive(&d.ProductKJK, float64(600*d.LoadKW))
	derive(&d.Coil.MetalKJK, float64(3*d.LoadKW))
	derive(&d.Coil.InnerL, d.LoadKW)
	derive(&d.Coil.FrostHalfKg, float64(2.5*d.LoadKW))
	derive(&d.Defrost.HeatKW, float64(0.5*d.LoadKW))
	derive(&d.Defrost.HotGasKW, float64(1.1*d.LoadKW))
	derive(&d.Line.HoldS, d.Line.LengthM)

	c := &circuit{Circuit: d, valve: newValve(d.Valve, f, dew), calling: true, heaters: 1, dewBefore: dew, lineBefore: dew}
	c.valve.nominal = nominal
	c.valve.pressure = g.high.pressure - s.pressure
	c.valve.density = g.high.liquidDensity
	c.noise = newRandom(seed, g.Name+"."+d.Name)
	c.countdown = float64(d.Defrost.FirstMin * 60)
	c.own = ownPressure{volume: d.Coil.InnerL / 1000, drain: 1, bleed: 1}
	c.load = loadMemory{surge: 1, usual: q, slow: q, before: q}

	// of the resistance from air to refrigerant, the air side has its share; the
	// wetted part of the coil does nearly all of the duty
	total := duty / td
	e := &c.coil
	e.airSide = 1.6 * total / d.Coil.AirShare
	e.area = e.airSide / 25 // W/(m² K), finned and with fans, common practice
	e.airFlow = duty / (airHeat * 5)
	e.spread = float64(3 * d.LoadKW) // interlaced tubes share their fins; common practice, no source
	e.half, e.still, e.fans = d.Coil.FrostHalfKg, d.Coil.StillAir, 1
	liquid := float64(nominal * 0.75)
	full := d.Coil.InnerL / 1000 * s.rhoLiq / coilCells
	e.tube = tube{
		cells: make([]cell, coilCells),
		boil:  1.6 * total / (1 - d.Coil.AirShare) / coilCells,
		gas:   0.25 * total / coilCells,
		flow:  nominal, wall: d.Coil.MetalKJK * 1000 / coilCells,
		hold: d.Coil.HoldS / coilCells, full: full, contact: 0.7,
	}
	e.wet = float64(0.12 * liquid * e.hold)
	for i := range e.cells {
		e.cells[i] = cell{wall: dew + 3, gas: dew, liquid: liquid * e.hold * 0.5, frost: d.Coil.FrostKg / coilCells}
	}

	c.stub = tube{
		cells: []cell{{wall: dew + 6, gas: dew + 6}},
		boil:  6 * (0.5 + float64(d.LoadKW/8)), gas: 5 * (0.5 + float64(d.LoadKW/8)), flow: nominal, wall: 220 * (0.5 + float64(d.LoadKW/8)), hold: 1,
		wet: 0.1 * liquid, full: full, contact: 0.2,
	}
	const lineCells = 5
	m := d.Line.LengthM / lineCells
	c.line = tube{
		cells: make([]cell, lineCells),
		boil:  25 * m, // W/K: a wetted third of 28 mm pipe at 900 W/(m² K), common practice
		gas:   7 * m, flow: nominal, wall: d.Line.WallJMK * m,
		hold: d.Line.HoldS / lineCells, wet: 0.02 * m, full: 0.3 * m, contact: 0.15,
	}
	for i := range c.line.cells {
		t := dew + 6 + float64(2*float64(i))
		c.line.cells[i] = cell{wall: t, gas: t}
	}
	c.out = stream{gas: nominal, temperature: dew + 15}
	c.passing = nominal
	c.outsideLine = make([]around, lineCells)
	c.lineHeat = float64(d.Line.HeatWMK * d.Line.LengthM)

	c.air = air{
		air: d.AirC, product: d.AirC, airHeat: 15000 * d.LoadKW, goods: d.ProductKJK * 1000,
		exchange: 60 * d.LoadKW, internal: d.Internal * q, surge: 1,
	}
	// infiltration brings moisture: its latent heat is part of its share
	c.air.water = float64(0.8 * h.at(d.AirC))
	perKg := float64(airHeat*(store.StoreC-d.AirC)) + float64(max(g.storeWater-c.air.water, 0)*(vapourHeat+iceFusion))
	c.air.infiltration = d.Infiltration * q / perKg
	c.air.walls = (1 - d.Infiltration - d.Internal) * q / (store.StoreC - d.AirC)
	c.air.moisture = g.storeWater
	return c
}

func derive(v *float64, from float64) {
	if *v == 0 {
		*v = from
	}
}
