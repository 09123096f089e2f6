package plant

// highSide is condenser, receiver and liquid line.
type highSide struct {
	dew       float64 // °C, condensing
	state     saturation
	pressure  float64
	mass      float64 // kg
	just      float64 // kg that a critically charged condenser should hold
	available float64 // kg that may leave in one step

	liquidEnthalpy, liquidDensity float64

	conductance float64 // W/K, fans at full speed
	heatStore   float64 // J/K
	fans        float64
	dirt        float64 // factor on conductance: a fault
	rejected    float64 // W, last step
}

func (h *highSide) refresh(f *fluid, subcooling float64) {
	h.state = f.at(h.dew)
	h.pressure = h.state.pressure
	h.liquidEnthalpy = h.state.hLiquid - float64(subcooling*h.state.cpLiquid)
	h.liquidDensity = float64(h.state.rhoLiq * (1 + float64(0.003*subcooling)))
}

// step condenses what came: heat in W over the liquid's enthalpy.
func (h *highSide) step(dt, heat, outdoor, minimum float64, critical bool) {
	want := (h.dew-minimum)/6 + 0.1 // fans rise over 6 K
	h.fans += (min(max(want, 0.08), 1) - h.fans) * dt / (dt + 20)
	free := 1.0
	if critical && h.mass > h.just {
		free = max(1-(h.mass-h.just)/(1.5*h.just), 0.15) // liquid stands in the tubes
	}
	g := float64(h.conductance * h.fans * free * h.dirt)
	// the liquid in it follows the condensing temperature
	mass := (h.heatStore + float64(max(h.mass, 0)*h.state.cpLiquid)) / dt
	next := (float64(mass*h.dew) + heat + float64(g*outdoor)) / (mass + g)
	h.rejected = float64(g * (next - outdoor))
	h.dew = max(next, -10)
}
