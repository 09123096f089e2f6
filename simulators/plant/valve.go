package plant

// valve is an expansion device between liquid line and coil.
type valve struct {
	Valve
	nominal  float64 // kg/s, design flow of the coil
	pressure float64 // Pa, design pressure difference
	density  float64 // kg/m³, design liquid
	spring   float64 // Pa
	stroke   float64 // Pa from shut to open
	mop      float64 // Pa, most pressure of the bulb

	bulb    float64 // °C
	opening float64 // 0–1
	slow    float64 // K, electronic: error over time

	size, stuck, gain float64 // faults: factor, opening held (<0: none), factor
	loose             float64 // share of the bulb's contact lost to the air
}

func newValve(v Valve, f *fluid, dew float64) valve {
	p := f.pressure(dew)
	return valve{
		Valve:  v,
		spring: f.pressure(dew+v.StaticK) - p,
		stroke: f.pressure(dew+v.StaticK+v.RangeK) - f.pressure(dew+v.StaticK),
		mop:    f.pressure(v.MopC) + float64(0.5*(f.pressure(dew+v.StaticK)-p)),
		bulb:   dew + 10, size: 1, stuck: -1, gain: 1,
	}
}

// step moves the valve by dt seconds and returns the flow in kg/s. pipe is the
// suction pipe under the bulb, air what surrounds it; feeding means that the
// liquid valve is open, cooling that the controller wants flow.
func (v *valve) step(dt, pipe, air float64, f *fluid, coil *saturation, liquidPressure, liquidDensity float64, feeding bool) float64 {
	felt := pipe + float64(v.loose*(air-pipe))
	v.bulb += (felt - v.bulb) * dt / (dt + v.BulbLagS)
	switch v.Kind {
	case "capillary":
		v.opening = 1
	case "electronic":
		v.electronic(dt, coil, feeding)
	default:
		// the bulb's charge pushes open, coil pressure and spring push shut
		force := float64((min(f.pressure(v.bulb), v.mop) - coil.pressure - v.spring/v.gain) / v.stroke * v.gain)
		slack := v.Friction
		switch {
		case force > v.opening+slack:
			v.opening = force - slack
		case force < v.opening-slack:
			v.opening = force + slack
		}
		v.opening = min(max(v.opening, 0), 1)
	}
	opening := v.opening
	if v.stuck >= 0 {
		opening = v.stuck
	}
	share := max(float64(opening*v.Size*v.size), v.Leak)
	if !feeding {
		share = min(v.SolenoidLk, share)
		if v.Kind == "capillary" {
			share = float64(opening * v.Size * v.size)
		}
	}
	drop := liquidPressure - coil.pressure
	if drop <= 0 {
		return 0
	}
	return float64(v.nominal * share * sqrt(drop/v.pressure) * sqrt(liquidDensity/v.density))
}

// electronic is a drive with a proportional and integral controller on coil
// superheat; it shuts with the liquid valve and starts again where it stood.
func (v *valve) electronic(dt float64, coil *saturation, feeding bool) {
	if !feeding {
		return
	}
	off := v.bulb - coil.dew - v.SetK
	k := float64(v.Gain * v.gain)
	want := v.opening + float64(k*(off-v.slow)) + k*off*dt/60
	v.slow = off
	travel := dt / v.StrokeS
	v.opening = min(max(want, v.opening-travel), v.opening+travel)
	v.opening = min(max(v.opening, 0.03), 1)
}
