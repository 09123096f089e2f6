package plant

const coilCells = 8

// evaporator is a coil in the air of its case.
type evaporator struct {
	tube
	around  [coilCells]around
	airSide float64 // W/K, fans on, no frost, all cells
	area    float64 // m², outer
	airFlow float64 // kg/s, fans on, no frost
	half    float64 // kg of frost that halves the air
	still   float64 // share of conductance with fans off
	spread  float64 // W/K through the fins from cell to cell
	fans    float64 // share of the fans that turn, 0–1; a fault or dirt lowers it
	water   float64 // kg of melt water on the coil
	moist   [coilCells]float64
	fromAir float64 // W, sensible and latent, last step
	leaving float64 // °C, air that has passed the coil
}

// Of the heaters' heat, a part goes into the fins that they touch, the rest
// into the air between the fins, which gives it to the coldest of them first.
// Common practice, no source.
const (
	touching = 0.4
	stirred  = 0.25 // conductance of that air to the fins over that with fans
)

// air is the inside of a case.
type air struct {
	air, product   float64 // °C
	water          float64 // kg/kg
	airHeat, goods float64 // J/K
	exchange       float64 // W/K between air and goods
	walls          float64 // W/K
	infiltration   float64 // kg/s at design
	internal       float64 // W
	surge          float64 // factor on infiltration
	slow           float64 // slow noise of it, standard deviation 1
	moisture       float64 // kg/kg of the store
}

// starved returns the share of liquid that leaves the coil unboiled, past the
// bulb on top of the pipe: when much of the air is missing, fans that stand and
// ice that has grown together leave some passes of tubes without any, and what
// enters those runs through. None while two thirds of the air move. Common
// practice for the effect [trade literature on maldistribution and wet
// outlets]; numbers without a source.
func (e *evaporator) starved() float64 {
	return float64(0.8 * max(0.65-e.airShare(), 0))
}

// airShare returns the share of the design's air that frost and failed fans let
// through while the fans are on.
func (e *evaporator) airShare() float64 {
	x := e.frost() / e.half
	return e.fans / (1 + float64(x*x))
}

// frost returns the ice on the coil, kg.
func (e *evaporator) frost() float64 {
	m := 0.0
	for i := range e.cells {
		m += e.cells[i].frost
	}
	return m
}

// addFrost adds ice to the coil, kg, evenly.
func (e *evaporator) addFrost(kg float64) {
	for i := range e.cells {
		e.cells[i].frost += float64(kg / coilCells)
	}
}

// coldest wall of the coil, °C.
func (e *evaporator) coldest() float64 {
	t := e.cells[0].wall
	for i := range e.cells {
		t = min(t, e.cells[i].wall)
	}
	return t
}

// airConductance works out the conductance from air to each cell, and the air that it
// meets there: as far as frost and fans let it.
func (e *evaporator) airConductance(a *air, fans float64) (g [coilCells]float64, between float64) {
	const share = 1.0 / coilCells
	moved := fans * e.airShare()
	side := float64(e.airSide * share * sqrt(moved))
	if natural := float64(e.airSide * share * e.still); side < natural {
		side, moved = natural, 2*e.still
	}
	// the rows of tubes are interlaced: all cells see the mean of the air that
	// enters and leaves
	const past = 0.7 // share of the air's cooling at which that mean lies; fits 1−exp(−n) within 4 % up to n = 3
	stream := float64(e.airFlow * airHeat * moved / past)
	sum, from := stream, float64(stream*a.air)
	for i := range e.cells {
		c := &e.cells[i]
		g[i] = side
		if c.frost > 0 {
			area := float64(e.area * share)
			g[i] = 1 / (1/side + c.frost/(frostGrain*frostThread*area*area))
			if c.wall > -0.1 { // ice melts away from the fins; bare ones are as warm as the air
				g[i] *= 0.3 + float64(0.7*min(c.frost/(thinFrost*area), 1))
			}
		}
		sum += g[i]
		from += float64(g[i] * c.wall)
	}
	between = from / sum
	e.leaving = a.air - (a.air-between)/past
	return g, between
}

// updateSurroundings works out what surrounds each cell: air, heaters, and the heat of the
// moisture that freezes out.
func (e *evaporator) updateSurroundings(dt float64, a *air, h *humidity, fans, heat float64) {
	const share = 1.0 / coilCells
	g, between := e.airConductance(a, fans)
	wet, fromWet := 0.0, 0.0
	mean := e.mean()
	pocket := mean // °C of the air that the heaters warm between the fins
	if heat > 0 {
		pocket += float64(heat * (1 - touching) / (e.airSide * stirred))
	}
	for i := range e.cells {
		c, o := &e.cells[i], &e.around[i]
		o.conductance, o.temperature = g[i], between
		o.heat = float64(heat*touching*share) + float64(e.spread*e.bend(i))
		if heat > 0 {
			o.heat += float64(e.airSide * stirred * share * (pocket - c.wall))
		}
		// a fin is cooled by all the tubes that pass through it
		saturated := h.at(mean + float64(0.4*(c.wall-mean)))
		e.moist[i] = 0
		if a.water > saturated {
			k := g[i] / airHeat // Lewis number 1
			wet += k
			fromWet += float64(k * saturated)
			rate := float64(k * (a.water - saturated))
			e.moist[i] = rate
			o.heat += float64(rate * vapourHeat)
			if c.wall < 0 {
				o.heat += float64(rate * iceFusion)
				c.frost += float64(rate * dt)
			} else {
				e.water += float64(rate * dt)
			}
		}
	}
	const inside = 3.0 // kg of air in a case, with what damp surfaces hold
	flow := float64(a.infiltration * a.surge)
	a.water = (float64(inside/dt*a.water) + float64(flow*a.moisture) + fromWet) / (inside/dt + flow + wet)
}

// mean wall of the coil, °C.
func (e *evaporator) mean() float64 {
	sum := 0.0
	for i := range e.cells {
		sum += e.cells[i].wall
	}
	return float64(sum / coilCells)
}

// bend is by how much the neighbours of a cell are warmer than it, K.
func (e *evaporator) bend(i int) float64 {
	k := 0.0
	if i > 0 {
		k += e.cells[i-1].wall - e.cells[i].wall
	}
	if i < coilCells-1 {
		k += e.cells[i+1].wall - e.cells[i].wall
	}
	return k
}

// settle counts the heat after the tube's step and lets melt water drain or
// freeze again.
func (e *evaporator) settle(dt float64) {
	e.fromAir = 0
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
func (a *air) step(dt float64, s *Store, fromAir, latent float64) {
	flow := float64(a.infiltration * a.surge)
	sensible := fromAir - latent
	outside := a.walls + float64(flow*airHeat)
	mass := a.airHeat / dt
	a.air = (float64(mass*a.air) + float64(outside*s.StoreC) + float64(a.exchange*a.product) + a.internal - sensible) / (mass + outside + a.exchange)
	a.product += a.exchange * (a.air - a.product) * dt / a.goods
}
