package plant

// stage of a circuit's defrost.
type stage uint8

const (
	cooling stage = iota
	pumpingDown
	heating
	dripping
	fansWaiting
)

// circuit is one evaporator with what belongs to it.
type circuit struct {
	Circuit
	valve valve
	coil  evaporator
	stub  tube // the pipe at the coil's outlet, under the bulb
	line  tube
	air   air

	outsideStub [1]around
	outsideLine []around
	lineHeat    float64 // W/K

	stage      stage
	since      float64 // s in this stage
	countdown  float64 // s to the next defrost
	forced     bool
	calling    bool // the thermostat wants cold
	own        ownPressure
	heaters    float64 // factor: failed heaters
	flow       float64 // kg/s through the valve
	out        stream  // into the header
	passing    float64 // kg/s of gas, smoothed over 10 s: the pressure drop follows it
	dewBefore  float64 // °C in the coil, the step before
	lineBefore float64 // the same in the line
	duty       float64 // W into the refrigerant in coil and stub
	noise      random

	load loadMemory
}

// refrigerating reports whether liquid may enter the coil.
func (c *circuit) refrigerating() bool { return c.stage == cooling || c.stage == fansWaiting }

// defrosting is the contract's: from pump-down to the end of dripping.
func (c *circuit) defrosting() bool { return !c.refrigerating() }

// signal is the circuit's defrost input.
func (c *circuit) signal() bool {
	return c.stage == pumpingDown || c.stage == heating || c.Defrost.SignalDrip && c.stage == dripping
}

func (c *circuit) enter(s stage) { c.stage, c.since = s, 0 }

// sequence moves the defrost on and returns the share of fans that are switched
// on and the heat of the heaters.
func (c *circuit) sequence(dt float64) (fans, heat float64) {
	d := &c.Defrost
	c.since += dt
	if d.EveryH > 0 {
		c.countdown -= dt
	}
	due := c.forced || d.EveryH > 0 && c.countdown <= 0
	if due && c.refrigerating() {
		c.forced = false
		if d.EveryH > 0 && c.countdown <= 0 {
			c.countdown += float64(d.EveryH * 3600)
		}
		c.load.beforeDefrost()
		c.enter(pumpingDown)
	}
	switch c.stage {
	case pumpingDown:
		if c.since >= d.PumpDownS {
			c.enter(heating)
		}
		return 1, 0
	case heating:
		done := min(c.coil.coldest(), c.stub.cells[0].wall+2) >= d.TerminationC
		if done || c.since >= d.LimitMin*60 {
			c.enter(dripping)
		}
		if d.Kind == "off_cycle" {
			return 1, 0
		}
		if d.Kind == "electric" {
			return 0, float64(d.HeatKW * 1000 * c.heaters)
		}
		return 0, 0
	case dripping:
		if c.since >= d.DripS {
			c.enter(fansWaiting)
			c.load.restarted()
		}
	case fansWaiting:
		// the stat of the fans feels the coil's outlet end
		if d.Kind == "off_cycle" || c.since >= d.FanMaxS || c.coil.cells[coilCells-1].wall <= d.FanC {
			c.enter(cooling)
			return 1, 0
		}
	default:
		return 1, 0
	}
	if d.Kind == "off_cycle" {
		return 1, 0
	}
	return 0, 0
}

// thermostat opens and shuts the liquid valve.
func (c *circuit) thermostat() {
	if c.ThermostatK <= 0 {
		c.calling = true
		return
	}
	if c.air.air > c.AirC+float64(c.ThermostatK/2) {
		c.calling = true
	} else if c.air.air < c.AirC-float64(c.ThermostatK/2) {
		if c.calling {
			c.load.satisfied()
		}
		c.calling = false
	}
}

// step moves the circuit on by dt seconds at the header's dew temperature.
func (c *circuit) step(dt float64, g *group, store *Store, h *humidity, header float64) {
	c.thermostat()
	fans, heat := c.sequence(dt)
	c.air.slow += -c.air.slow*dt/600 + float64(c.noise.normal()*sqrt(2*dt/600))

	dew := header + c.drop()
	c.passing += (max(c.out.gas, 0) - c.passing) * dt / (dt + 10)
	inLine := dew
	if c.Defrost.Kind == "hot_gas" {
		dew = c.ownDew(dt, g, dew)
	}
	s := g.fluid.at(dew)
	change := dew - c.dewBefore
	c.dewBefore = dew

	feeding := c.refrigerating() && c.calling
	c.flow = c.valve.step(dt, c.stub.cells[0].wall, c.air.air, g.fluid, &s, g.high.pressure, g.high.liquidDensity, feeding)
	c.flow = min(c.flow, g.high.available/dt)
	x := min(max((g.high.liquidEnthalpy-s.hLiquid)/s.latent(), 0), 1)
	in := stream{gas: float64(c.flow * x), liquid: float64(c.flow * (1 - x)), temperature: dew}
	if hot := c.own.hotGas; hot > 0 {
		over := (g.dischargeEnthalpy() - s.hGas) / s.cpGas
		in.gas += hot
		in.temperature += float64(over * hot / in.gas)
	}

	stray := float64(in.liquid * c.coil.starved())
	in.liquid -= stray

	c.coil.updateSurroundings(dt, &c.air, h, fans, heat)
	out := c.coil.tube.step(dt, in, &s, change, c.coil.around[:])
	c.coil.settle(dt)

	// the outlet pipe is brazed to the coil and lies in the air behind it
	const brazed = 3.0 // W/K
	inCase := 0.2 + float64(0.4*fans)
	end := c.coil.cells[coilCells-1].wall
	c.outsideStub[0] = around{conductance: brazed + inCase, temperature: (float64(brazed*end) + float64(inCase*c.coil.leaving)) / (brazed + inCase)}
	out = c.stub.step(dt, out, &s, change, c.outsideStub[:])
	out.liquid += stray
	c.duty = c.coil.fromWall + c.stub.fromWall

	sLine := s
	changeLine := change
	if c.own.isolated {
		out = c.hold(dt, out)
		sLine = g.fluid.at(inLine)
	}
	if c.Defrost.Kind == "hot_gas" {
		changeLine = inLine - c.lineBefore
		c.lineBefore = inLine
	}
	for i := range c.outsideLine {
		c.outsideLine[i] = around{conductance: c.lineHeat / float64(len(c.outsideLine)), temperature: (store.StoreC + store.RoomC) / 2}
	}
	c.out = c.line.step(dt, out, &sLine, changeLine, c.outsideLine)

	latent := 0.0
	for _, m := range c.coil.moist {
		latent += float64(m * vapourHeat)
	}
	c.air.surge = float64(c.load.surge * (1 + float64(store.LoadNoise*c.air.slow)))
	c.air.step(dt, store, c.coil.fromAir, latent)
	c.load.step(dt, c)
}

// drop is the dew temperature lost from coil to header at the present flow.
func (c *circuit) drop() float64 {
	r := c.passing / c.line.flow
	return float64(c.Line.DropK * min(float64(r*r), 4))
}

// boiling is how evaporation answers to dew, kg/(s K).
func (c *circuit) boiling() float64 {
	k := c.line.boiling
	if !c.own.isolated {
		k += c.coil.boiling + c.stub.boiling
	}
	return k
}

// flash is how much gas the circuit's liquid makes when its dew falls, kg/K.
func (c *circuit) flash() float64 {
	m := c.line.flash
	if !c.own.isolated {
		m += c.coil.flash + c.stub.flash
	}
	return m
}

// loadMemory detects when a circuit's load is back to what it was before its
// defrost (contract, section 5): smoothed duty within a tenth for two minutes
// on end. A circuit whose thermostat cycles is back when it is satisfied.
type loadMemory struct {
	surge  float64 // factor on infiltration: door events
	slow   float64 // W, time constant 3 min
	usual  float64 // W, time constant 20 min, while cooling
	before float64
	near   float64 // s within a tenth
	since  float64 // s since restart
	down   bool    // pulling down
}

func (l *loadMemory) beforeDefrost() { l.before, l.down = l.usual, false }
func (l *loadMemory) restarted()     { l.down, l.near, l.since, l.slow = true, 0, 0, 0 }
func (l *loadMemory) satisfied()     { l.down = false }

func (l *loadMemory) step(dt float64, c *circuit) {
	// since a restart, the mean of what has been seen: a smoothed load that
	// climbed from nothing would pass through the band on its way up
	l.slow += (c.duty - l.slow) * dt / (dt + min(l.since, 180))
	if !l.down {
		if c.refrigerating() {
			l.usual += (c.duty - l.usual) * dt / (dt + 1200)
		}
		return
	}
	l.since += dt
	off := l.slow - l.before
	if off < 0.1*l.before && off > -0.1*l.before && l.since > 300 {
		l.near += dt
	} else {
		l.near = 0
	}
	if l.near >= 120 || l.since >= 3600 {
		l.down = false
		l.usual = l.before
	}
}
