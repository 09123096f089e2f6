package plant

// tube is a row of cells that refrigerant passes: a coil, a suction line, the
// pipe into a compressor.
type tube struct {
	cells    []cell
	boil     float64 // W/K of a cell whose wall is wetted all over
	gas      float64 // W/K of a dry cell at the nominal flow of gas
	flow     float64 // kg/s, nominal
	wall     float64 // J/K of a cell's metal
	hold     float64 // s that liquid spends in a cell at the nominal flow of gas
	wet      float64 // kg of liquid that wet a cell all over
	full     float64 // kg of liquid that a cell can hold
	contact  float64 // share of the gas's superheat that liquid takes up in a wetted cell
	boiling  float64 // kg/(s K): how evaporation answers to a change of dew; for the pressure solver
	flash    float64 // kg/K boiled by liquid that cools itself as dew falls; for the pressure solver
	fromWall float64 // W into the refrigerant in the last step
}

type cell struct {
	wall   float64 // °C
	gas    float64 // °C, gas leaving
	liquid float64 // kg
	frost  float64 // kg, on the outside
	melted float64 // kg/s in the last step
}

// around is what is outside a cell.
type around struct {
	conductance float64 // W/K
	temperature float64 // °C
	heat        float64 // W put into the wall besides
}

// stream is what passes between parts.
type stream struct {
	gas, liquid float64 // kg/s
	temperature float64 // °C of the gas
}

// specific heat and latent heat of ice, J/(kg K) and J/kg: from memory,
// physical constants.
const (
	iceHeat   = 2100.0
	iceFusion = 333.6e3
)

// wetted returns the share of the wall that is wetted by a share r of the
// liquid that would wet it all. The square root lets the film dry out in
// finite time, as drops do.
func wetted(r float64) float64 {
	switch {
	case r <= 0:
		return 0
	case r >= 1:
		return 1
	}
	return sqrt(r)
}

// step moves the tube on by dt seconds. dew is by how much the dew temperature
// changed since the step before: liquid flashes when it falls.
func (t *tube) step(dt float64, in stream, s *saturation, dew float64, outside []around) stream {
	latent := s.latent()
	t.boiling, t.fromWall, t.flash = 0, 0, 0
	gas, liquid, tGas := in.gas, in.liquid, in.temperature
	for i := range t.cells {
		c, o := &t.cells[i], &outside[i]
		passing := max(gas, 0)
		capacity := float64(passing * s.cpGas)
		here := c.liquid + float64(liquid*dt)
		wetGas := s.dew
		if s.glide > 0.05 && liquid > 0 {
			wetGas -= s.glide * liquid / (liquid + passing)
		}

		t.flash += here * s.cpLiquid / latent
		w := wetted(here / t.wet)
		wallBoil := float64(t.boil * w)
		if c.wall < wetGas {
			wallBoil = float64(t.boil * max(w, 0.5)) // gas condenses on a colder wall, wet or not
		}
		wallGas := 0.0
		if capacity > 0 {
			// h of gas in a tube goes about with flow; √ stands for the 0.8th power
			n := t.gas * (1 - w) * sqrt(passing/t.flow) / capacity
			wallGas = capacity * n / (1 + n)
		}
		heatCapacity := (t.wall + float64(c.frost*iceHeat)) / dt
		sum := heatCapacity + wallBoil + wallGas + o.conductance
		wall := (float64(heatCapacity*c.wall) + float64(wallBoil*wetGas) + float64(wallGas*tGas) + float64(o.conductance*o.temperature) + o.heat) / sum
		boilHeat := float64(wallBoil * (wall - wetGas))
		gasHeat := float64(wallGas * (wall - tGas))
		t.boiling += wallBoil * (1 - wallBoil/sum) / latent

		mixHeat := 0.0
		if tGas > wetGas {
			mixHeat = float64(t.contact * w * capacity * (tGas - wetGas))
		}
		evaporated := (boilHeat+mixHeat)*dt/latent - here*s.cpLiquid*dew/latent
		if evaporated > here {
			// the film dries within the step: what it cannot take stays in the wall
			surplus := (evaporated - here) * latent / dt
			back := min(surplus, max(boilHeat, 0))
			boilHeat -= back
			wall += back / heatCapacity
			mixHeat -= min(surplus-back, mixHeat)
			evaporated = here
		}
		t.fromWall += boilHeat + gasHeat

		c.melted = 0
		if c.frost > 0 && wall > 0 {
			excess := float64(heatCapacity * dt * wall)
			melt := min(c.frost, excess/iceFusion)
			c.frost -= melt
			c.melted = melt / dt
			wall = (excess - float64(melt*iceFusion)) / (t.wall + float64(c.frost*iceHeat))
		}
		c.wall = wall

		rate := evaporated / dt
		leaving := capacity + float64(max(rate, 0)*s.cpGas)
		if leaving > 1e-3*t.flow*s.cpGas {
			tGas = (float64(capacity*tGas) + float64(max(rate, 0)*s.cpGas*wetGas) + gasHeat - mixHeat) / leaving
		} else {
			tGas = wall
		}
		c.gas = tGas
		gas += rate

		left := here - evaporated
		// a rush of gas does not carry liquid any faster than thrice the nominal flow (no source)
		drag := (min(max(gas, 0), float64(3*t.flow)) + float64(0.02*t.flow)) / (t.hold * t.flow)
		c.liquid = left / (1 + float64(dt*drag))
		if c.liquid > t.full {
			c.liquid = t.full
		}
		liquid = (left - c.liquid) / dt
	}
	return stream{gas: gas, liquid: liquid, temperature: tGas}
}

// mass returns the liquid in the tube, kg.
func (t *tube) mass() float64 {
	m := 0.0
	for i := range t.cells {
		m += t.cells[i].liquid
	}
	return m
}
