package plant

// rack starts and stops the compressors of a group.
type rack struct {
	Control
	set   float64 // °C dew
	above float64 // s
	below float64 // s
	high  bool    // the high-pressure cut-out has tripped
}

func (r *rack) step(dt float64, g *group) {
	off := g.dew - r.set
	r.high = g.high.dew > r.HighCutOutC || r.high && g.high.dew > r.HighCutOutC-15
	if r.high {
		for _, c := range g.compressors {
			c.turn(false)
		}
		return
	}
	if r.Mode == "thermostat" {
		r.follow(g.circuits[0].calling && !g.circuits[0].defrosting(), g)
		return
	}
	trim := r.trim(dt, off, g)
	if r.Mode == "pump_down" {
		r.pumpDown(off, g)
		return
	}
	if off > r.BandK && trim >= 1 {
		r.above += dt
	} else {
		r.above = 0
	}
	if off < -r.BandK && trim <= 0 {
		r.below += dt
	} else {
		r.below = 0
	}
	if off < -r.CutOutK {
		for _, c := range g.compressors {
			c.turn(false)
		}
		return
	}
	switch {
	case r.above >= r.UpS || off > r.BandK && r.idle(g): // a pressure switch has no delay
		if c := r.longest(g, false, r.MinimumOffS); c != nil {
			c.turn(true)
			r.above = 0
		}
	case r.below >= r.DownS:
		if c := r.longest(g, true, r.MinimumOnS); c != nil {
			c.turn(false)
			r.below = 0
		}
	}
}

// idle reports that no compressor runs.
func (r *rack) idle(g *group) bool {
	for _, c := range g.compressors {
		if c.on {
			return false
		}
	}
	return true
}

// trim moves the speed of running machines with a drive and returns where they
// stand: 1 at full speed or without a drive, 0 at the lowest or without one.
func (r *rack) trim(dt, off float64, g *group) float64 {
	at, drives := 0.0, false
	for _, c := range g.compressors {
		if !c.on || c.MinimumSpeed >= 1 {
			continue
		}
		drives = true
		c.speed = min(max(c.speed+float64(0.02*off*dt), c.MinimumSpeed), 1)
		at = max(at, (c.speed-c.MinimumSpeed)/(1-c.MinimumSpeed))
	}
	if !drives {
		if off > 0 {
			return 1
		}
		return 0
	}
	return at
}

// longest returns the compressor that has been in its state longest, at least
// for wait seconds; a machine with a drive is started first and stopped last.
func (r *rack) longest(g *group, on bool, wait float64) *compressor {
	var best *compressor
	for _, c := range g.compressors {
		if c.on != on || c.time < wait || c.failed {
			continue
		}
		drive := c.MinimumSpeed < 1
		if best == nil || !on && drive && best.MinimumSpeed >= 1 || on && !drive && best.MinimumSpeed < 1 ||
			drive == (best.MinimumSpeed < 1) && c.time > best.time {
			best = c
		}
	}
	return best
}

// pumpDown runs the machines by a low-pressure switch: all start above the band
// and stop at the cut-out, which they reach when no circuit asks for liquid.
func (r *rack) pumpDown(off float64, g *group) {
	for _, c := range g.compressors {
		switch {
		case off < -r.CutOutK:
			c.turn(false)
		case off > r.BandK && !c.on && c.time >= r.MinimumOffS && !c.failed:
			c.turn(true)
		}
	}
}

// follow runs the one compressor with the thermostat.
func (r *rack) follow(call bool, g *group) {
	c := g.compressors[0]
	switch {
	case call && !c.on && c.time >= r.MinimumOffS && !c.failed:
		c.turn(true)
	case !call && c.on && c.time >= r.MinimumOnS:
		c.turn(false)
	}
}

func (c *compressor) turn(on bool) {
	if c.on == on {
		return
	}
	if on {
		c.off = c.time
	}
	c.on, c.time = on, 0
}
