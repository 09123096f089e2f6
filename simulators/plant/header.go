package plant

// header is the common pipe: one section for each compressor's tap, in the
// order of the configuration. Branches enter at sections; gas runs to where it
// is drawn; liquid runs with it and turns into take-offs more readily than gas.
type header struct {
	sections []section
	split    float64
}

type section struct {
	tube
	inbox   float64 // kg/s of liquid that neighbours sent in the last step
	out     stream  // leaving the section in all directions
	branch  inflow  // from the branches that enter here
	drawn   stream  // into the compressor's drop
	outside [1]around
}

// inflow is the sum of streams, some of which may draw gas back.
type inflow struct {
	gas, liquid float64 // kg/s, all
	forward     float64 // kg/s of gas of those that flow forward
	warmth      float64 // Σ gas × temperature of those
}

func (f *inflow) add(s stream) {
	forward := max(s.gas, 0)
	f.gas += s.gas
	f.liquid += s.liquid
	f.forward += forward
	f.warmth += float64(forward * s.temperature)
}

// temperature of the mixed gas; other when none flows.
func (f *inflow) temperature(other float64) float64 {
	if f.forward < 1e-9 {
		return other
	}
	return f.warmth / f.forward
}

// enter adds a branch's stream to section i.
func (h *header) enter(i int, s stream) { h.sections[i].branch.add(s) }

// step shares what entered among the take-offs. draws is the gas each
// compressor takes from the header, kg/s. It returns the rate at which liquid
// boiled in the header, kg/s.
func (h *header) step(dt float64, draws []float64, s *saturation, change, room float64) float64 {
	n := len(h.sections)
	stored := 0.0 // gas that stays, or comes from, the sections' own store
	for i := range h.sections {
		stored += h.sections[i].branch.gas - draws[i]
	}
	stored /= float64(n)

	boiled := 0.0
	fromLeft := 0.0 // gas from the section to the left, kg/s; negative: to it
	for i := range h.sections {
		c := &h.sections[i]
		toRight := fromLeft + c.branch.gas - draws[i] - stored
		if i == n-1 {
			toRight = 0
		}
		entering := c.branch
		if fromLeft > 0 {
			entering.add(stream{gas: fromLeft, temperature: h.sections[i-1].out.temperature})
		}
		if toRight < 0 {
			entering.add(stream{gas: -toRight, temperature: h.sections[i+1].out.temperature})
		}
		in := stream{gas: entering.forward, liquid: entering.liquid + c.inbox, temperature: entering.temperature(c.out.temperature)}
		c.inbox = 0
		c.outside[0].temperature = room
		before := in.gas
		c.out = c.tube.step(dt, in, s, change, c.outside[:])
		boiled += c.out.gas - before

		// liquid chooses among the ways out
		right, left := max(toRight, 0), max(-fromLeft, 0)
		down := float64(h.split * draws[i])
		ways := right + left + down
		c.drawn = stream{gas: draws[i], temperature: c.out.temperature}
		switch {
		case ways < 1e-9:
			c.inbox = c.out.liquid
		default:
			c.drawn.liquid = c.out.liquid * down / ways
			if left > 0 {
				h.sections[i-1].inbox += c.out.liquid * left / ways
			}
			if right > 0 {
				h.sections[i+1].inbox += c.out.liquid * right / ways
			}
		}
		fromLeft = toRight
	}
	for i := range h.sections {
		h.sections[i].branch = inflow{}
	}
	return boiled
}

// accumulator is a vessel that keeps liquid back and bleeds it through a hole.
type accumulator struct {
	Accumulator
	liquid float64 // kg
	hole   float64 // m²
	out    stream
}

const gravity = 9.80665

// step passes a stream through the vessel and returns what leaves and the rate
// of boiling in it, kg/s.
func (a *accumulator) step(dt float64, in stream, s *saturation, change, room float64) (stream, float64) {
	full := float64(a.VolumeL / 1000 * s.rhoLiq)
	a.liquid += float64(in.liquid * dt)
	out := in
	out.liquid = 0
	// gas brushes over cold liquid and walls
	heat := float64(a.HeatWK * (room - s.dew))
	gas := max(in.gas, 0)
	if a.liquid > 0 && in.temperature > s.dew {
		part := float64(0.7 * wetted(a.liquid/(0.05*full)))
		heat += float64(part * gas * s.cpGas * (in.temperature - s.dew))
		out.temperature -= float64(part * (in.temperature - s.dew))
	} else if gas > 0 {
		out.temperature += min(heat/(gas*s.cpGas), 3)
		heat = 0
	}
	boiled := min(max(heat*dt/s.latent()-a.liquid*s.cpLiquid*change/s.latent(), float64(-a.liquid*0.1)), a.liquid)
	a.liquid -= boiled

	head := s.rhoLiq * gravity * a.HeightMM / 1000 * a.liquid / full
	flow := float64(0.6 * a.hole * sqrt(float64(2*s.rhoLiq*(head+500)))) // 500 Pa: the bend's suction, common practice
	if gas <= 0 {
		flow = 0
	}
	flow = min(float64(flow*dt), a.liquid)
	a.liquid -= flow
	if over := a.liquid - float64(0.85*full); over > 0 { // the inlet of the bend is under liquid
		spill := over * dt / (dt + 2)
		a.liquid -= spill
		flow += spill
	}
	out.liquid = flow / dt
	out.gas += boiled / dt
	return out, boiled / dt
}
