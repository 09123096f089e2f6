package plant

const coilCells = 8

// evaporator is a coil in the air of its case.
type evaporator struct {
	tube
	around    [coilCells]around
	airSide   float64 // W/K, fans on, no frost, all cells
	area      float64 // m², outer
	airFlow   float64 // kg/s, fans on, no frost
	half      float64 // kg of frost that halves the air
	still     float64 // share of conductance with fans off
	fans      float64 // share of the fans that turn, 0–1; a fault or dirt lowers it
	water     float64 // kg of melt water on the coil
	moist     [coilCells]float64
	fromAir   float64 // W, sensible and latent, last step
	fromHeat  float64 // W of heaters into the coil
	gathering float64 // kg/s of frost
}

// air is the inside of a case.
type air struct {
	air, product     float64 // °C
	water            float64 // kg/kg
	airHeat, goods   float64 // J/K
	exchange         float64 // W/K between air and goods
	walls            float64 // W/K
	infiltration     float64 // kg/s at design
	internal         float64 // W
	surge            float64 // factor on infiltration
	slow             float64 // slow noise of it, standard deviation 1
	intake, moisture float64 // W from the store (dry and by walls), kg/s of water: last step
}

// frost returns the ice on the coil, kg.
func (e *evaporator) frost() float64 {
	m := 0.0
	for i := range e.cells {
		m += e.cells[i].frost
	}
	return m
}

// warmest and coldest wall of the coil, °C.
func (e *evaporator) walls() (coldest, warmest float64) {
	coldest, warmest = e.cells[0].wall, e.cells[0].wall
	for i := range e.cells {
		coldest, warmest = min(coldest, e.cells[i].wall), max(warmest, e.cells[i].wall)
	}
	return
}

// meet works out what surrounds each cell: air as far as frost and fans let
// it, heaters, and the heat of the moisture that freezes out.
func (e *evaporator) meet(dt float64, a *air, h *humidity, fans, heat float64) {
	frost := e.frost()
	x := frost / e.half
	moved := fans * e.fans / (1 + float64(x*x))
	share := 1.0 / coilCells
	capacity := float64(e.airFlow * moved * airHeat * share)
	side := float64(e.airSide * share * sqrt(moved))
	if natural := float64(e.airSide * share * e.still); side < natural {
		side, capacity = natural, e.airFlow*airHeat*share*(e.still+e.still)
	}
	e.gathering = 0
	wet, fromWet := 0.0, 0.0
	for i := range e.cells {
		c := &e.cells[i]
		g := side
		if c.frost > 0 {
			area := float64(e.area * share)
			g = 1 / (1/side + c.frost/(frostGrain*frostThread*area*area))
		}
		n := g / capacity
		g = capacity * n / (1 + float64(0.5*n)) // lies between 1−exp(−n) and well mixed
		if g > capacity {
			g = capacity
		}
		o := &e.around[i]
		o.conductance, o.temperature, o.heat = g, a.air, float64(heat*share)
		saturated := h.at(c.wall)
		e.moist[i] = 0
		if a.water > saturated {
			k := g / airHeat // Lewis number 1
			wet += k
			fromWet += float64(k * saturated)
			rate := float64(k * (a.water - saturated))
			e.moist[i] = rate
			o.heat += float64(rate * vapourHeat)
			if c.wall < 0 {
				o.heat += float64(rate * iceFusion)
				c.frost += float64(rate * dt)
				e.gathering += rate
			} else {
				e.water += float64(rate * dt)
			}
		}
	}
	const inside = 3.0 // kg of air in a case, with what damp surfaces hold
	flow := float64(a.infiltration * a.surge)
	a.water = (float64(inside/dt*a.water) + float64(flow*a.moisture) + fromWet) / (inside/dt + flow + wet)
}

// settle counts the heat after the tube's step and lets melt water drain or
// freeze again.
func (e *evaporator) settle(dt float64) {
	e.fromAir, e.fromHeat = 0, 0
	for i := range e.cells {
		c, o := &e.cells[i], &e.around[i]
		e.fromAir += float64(o.conductance*(o.temperature-c.wall)) + float64(e.moist[i]*vapourHeat)
		e.water += float64(c.melted * dt)
		if c.wall < -0.5 && e.water > 0 {
			ice := float64(e.water * dt / (dt + 60) / coilCells)
			e.water -= ice
			c.frost += ice
			c.wall += ice * iceFusion / e.wall
		}
	}
	e.water -= e.water * dt / (dt + 60)
}

// step moves the air of the case on.
func (a *air) step(dt float64, s *Store, fromAir, latent, fanHeat float64) {
	flow := float64(a.infiltration * a.surge)
	sensible := fromAir - latent
	outside := a.walls + float64(flow*airHeat)
	mass := a.airHeat / dt
	a.air = (float64(mass*a.air) + float64(outside*s.StoreC) + float64(a.exchange*a.product) + a.internal + fanHeat - sensible) / (mass + outside + a.exchange)
	a.product += a.exchange * (a.air - a.product) * dt / a.goods
	a.intake = float64(outside*(s.StoreC-a.air)) + a.internal + fanHeat
}
