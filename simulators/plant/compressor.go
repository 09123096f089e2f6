package plant

// compressor draws from its drop on the header.
type compressor struct {
	Compressor
	drop  tube
	swept float64 // m³/s at full speed

	on    bool
	speed float64
	time  float64 // s since the last start or stop
	off   float64 // s of the stop before the last start

	inlet     stream  // at the suction service valve
	draw      float64 // kg/s of gas compressed
	fromDrop  float64 // kg/s boiled in the drop
	out       float64 // kg/s into the discharge
	enthalpy  float64 // J/kg there
	power     float64 // W into the refrigerant
	discharge float64 // °C of the discharge pipe
	head      float64 // °C of the metal before it
	sump      sump
	failed    bool
}

// sump is oil with refrigerant dissolved in it.
type sump struct {
	oil         float64 // kg
	refrigerant float64 // kg
	temperature float64 // °C
	release     float64 // kg/s boiling out, last step; negative: going in
	heater      float64 // factor: a failed heater
}

// liquid share that falls into the oil instead of going into the cylinders
// (common practice for which is larger; numbers from memory).
func (c *compressor) toSump() float64 {
	switch c.Kind {
	case "air_cooled_semi_hermetic":
		return 0.1
	case "refrigerant_cooled_semi_hermetic":
		return 0.6
	}
	return 0.5
}

// gasDrawn returns the gas drawn at a dew temperature, kg/s.
func (c *compressor) gasDrawn(s *saturation, highPressure float64) float64 {
	if !c.on {
		return 0
	}
	ratio := highPressure / s.pressure
	filling := max(float64(0.97*(1-float64(c.Clearance*(ratio-1)))), 0.2)
	superheat := max(c.inlet.temperature-s.dew, 0)
	return c.swept * c.speed * filling * s.rhoGas * (s.dew + 273.15) / (s.dew + superheat + 273.15)
}

// compress works out the discharge from what came in.
func (c *compressor) compress(dt float64, f *fluid, s *saturation, high *highSide, room float64) {
	liquid := c.inlet.liquid
	fall := float64(liquid * c.toSump())
	if c.sump.refrigerant > 1.5*c.sump.oil { // the crankcase is full to the ports
		fall = 0
	}
	cylinders := liquid - fall
	c.out, c.power, c.enthalpy = 0, 0, 0
	shaft := 0.0
	if c.on && c.draw > 0 {
		superheat := max(c.inlet.temperature-s.dew, 0)
		hIn, entropy := f.gasAt(s.dew, superheat)
		_, ideal := f.superheatOfEntropy(high.dew, entropy)
		ratio := high.pressure / s.pressure
		efficiency := float64(c.Isentropic * max(1-float64(0.012*max(ratio-3, 3-ratio)), 0.6))
		shaft = c.draw * max(ideal-hIn, 0) / efficiency
		motor := float64(shaft / (1 - c.MotorLoss) * c.MotorLoss)
		if c.Kind == "air_cooled_semi_hermetic" {
			motor = 0
		}
		// oil and shell to the room; common practice, no source
		lost := float64(shaft * min(0.05+float64(0.0012*max(c.head-room, 0)), 0.2))
		c.power = shaft + motor - lost
		c.out = c.draw + cylinders
		c.enthalpy = (float64(c.draw*hIn) + float64(cylinders*s.hLiquid) + c.power) / c.out
		hot := high.dew
		if sat := high.state.hGas; c.enthalpy > sat {
			hot += f.superheatOfEnthalpy(high.dew, c.enthalpy)
		}
		c.head += (hot - c.head) * dt / (dt + 60)
		c.discharge += (c.head - c.discharge) * dt / (dt + 25)
	} else {
		c.out = cylinders // none: a stopped machine draws nothing
		c.enthalpy = s.hLiquid
		c.head += (room - c.head) * dt / (dt + 2400)
		c.discharge += (c.head - c.discharge) * dt / (dt + 300)
	}
	c.sump.step(dt, fall, shaft, c.CapacityKW, c.on, c.HeaterW, s, c.inlet.temperature, room)
	c.time += dt
}

// step: oil takes up refrigerant when it is hardly warmer than the dew of its
// gas, the more the longer, and gives it up when it runs. Shares and times
// from memory; the direction from trade literature on migration.
func (o *sump) step(dt, fall, shaft, capacity float64, on bool, heaterW float64, s *saturation, inlet, room float64) {
	size := 0.5 + float64(capacity/16)
	heatCapacity := float64(14000 * size) // J/K: oil and the iron around it
	above := max(o.temperature-s.dew, 0) / 7
	equilibrium := o.oil * 0.6 / (1 + float64(above*above))
	time := 5400.0
	if on {
		time = 600
		if o.refrigerant > equilibrium {
			time = 100
		}
	}
	o.refrigerant += float64(fall * dt)
	o.release = (o.refrigerant - equilibrium) / time
	if !on && o.release > 0 {
		o.release *= 4
	}
	// what boils needs heat, and the oil gives none below the dew of its gas
	const boil = 60.0 // W/K, from memory
	if o.release > 0 {
		o.release = min(o.release, boil*max(o.temperature-s.dew, 0)/s.latent())
	}
	o.refrigerant -= float64(o.release * dt)

	heat := float64(-o.release * s.latent())
	toGas, toRoom := 0.5, float64(3*size)
	if on {
		toGas = float64(4 * size)
		heat += float64(0.07 * shaft)
	} else {
		heat += float64(heaterW * o.heater)
	}
	mass := heatCapacity / dt
	o.temperature = (float64(mass*o.temperature) + heat + float64(toGas*inlet) + float64(toRoom*room)) / (mass + toGas + toRoom)
}
