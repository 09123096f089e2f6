package plant

import (
	"fmt"
	"strings"
)

// activeFault is a fault with its times, in seconds since Start.
type activeFault struct {
	Fault
	from, to int64 // to < from: for good
	turn     func(on bool)
	on, done bool
}

// FaultKind is a kind of fault, for the documentation.
type FaultKind struct{ Name, Target, Amount, Meaning string }

// FaultKinds lists what Fault.Kind can be.
func FaultKinds() []FaultKind {
	return []FaultKind{
		{"valve_oversized", "circuit", "factor on valve.size", "the orifice is too big for the coil"},
		{"valve_stuck_open", "circuit", "opening, 0 to 1", "the valve stays at this opening"},
		{"valve_hunting", "circuit", "factor on the valve's gain", "the spring is set or the controller tuned too sharply"},
		{"bulb_loose", "circuit", "share of the bulb's contact that is with the air, 0 to 1", "the bulb feels the case instead of the pipe"},
		{"iced_coil", "circuit", "kg of ice put on at once", "ice that defrosts have left over days"},
		{"low_airflow", "circuit", "share of the air that is left, 0 to 1", "fans failed or blocked"},
		{"defrost_incomplete", "circuit", "share of the defrost heat that is left, 0 to 1", "heaters failed; the defrost ends by its limit"},
		{"warm_load", "circuit", "K by which the goods are warmed at once", "warm goods put in"},
		{"door_surge", "circuit", "factor on infiltration", "doors or blinds open"},
		{"overcharge", "group", "kg added to the high side at once", "too much refrigerant"},
		{"liquid_in_accumulator", "group", "kg put into the accumulator at once", "what a slug has left there"},
		{"accumulator_hole", "group", "mm, the bore it has now", "the oil return hole is plugged or too wide"},
		{"hot_gas_drain", "circuit", "factor on defrost.drain", "condensate is not driven back: differential too low"},
		{"hot_gas_bleed", "circuit", "factor on defrost.bleed_s", "the coil's pressure is let down too fast (below 1), or not before the suction stop opens (large)"},
		{"liquid_valve_leak", "circuit", "share of the design flow through the shut liquid valve", "dirt in its seat"},
		{"crankcase_heater_failed", "compressor", "-", "the oil is not kept warm while it stands"},
		{"compressor_failed", "compressor", "-", "it does not run"},
		{"condenser_dirty", "group", "share of the conductance that is left", "condensing temperature rises"},
		{"force_defrost", "circuit", "-", "a defrost begins now"},
		{"sensor_frozen", "input", "-", "the value stands still"},
		{"sensor_open", "input", "-", "broken wire: the reading fails"},
		{"sensor_lost", "input", "-", "nothing is read"},
		{"sensor_loose", "input", "share added to the contact error", "a clamp that came off or lost its insulation"},
		{"sensor_offset", "input", "K or bar", "a constant error"},
		{"sensor_drift", "input", "K or bar a day", "a growing error"},
		{"sensor_noise", "input", "factor on its noise", "a bad contact or an unscreened wire"},
		{"sensor_gauge", "input", "-", "a gauge transmitter read as an absolute one: one standard atmosphere too low"},
		{"source_gap", "source", "-", "nothing arrives from a whole group"},
		{"source_timeout", "source", "-", "every read of a whole group's controller times out"},
	}
}

// Inject lets a fault begin now; it lasts f.ForMin minutes, or for good if that
// is 0. f.AtMin is not used.
func (p *Plant) Inject(f Fault) error { return p.schedule(f, p.seconds) }

// ForceDefrost begins a defrost of a circuit, GROUP.CIRCUIT.
func (p *Plant) ForceDefrost(circuit string) error {
	return p.Inject(Fault{Kind: "force_defrost", Target: circuit})
}

func (p *Plant) schedule(f Fault, from int64) error {
	turn, err := p.resolve(f)
	if err != nil {
		return err
	}
	a := &activeFault{Fault: f, from: from, to: from - 1, turn: turn}
	if f.ForMin > 0 {
		a.to = from + int64(f.ForMin*60)
	}
	p.faults = append(p.faults, a)
	return nil
}

func (p *Plant) runFaults() {
	for _, f := range p.faults {
		if !f.on && !f.done && p.seconds >= f.from {
			f.on = true
			f.turn(true)
		}
		if f.on && f.to >= f.from && p.seconds >= f.to {
			f.on, f.done = false, true
			f.turn(false)
		}
	}
}

// faultsOf names the faults at work in a group.
func (p *Plant) faultsOf(group string) string {
	var b []string
	for _, f := range p.faults {
		if f.on && (f.Target == group || strings.HasPrefix(f.Target, group+".")) && f.Kind != "force_defrost" {
			b = append(b, f.Kind+"@"+f.Target)
		}
	}
	return strings.Join(b, " ")
}

// resolve finds what a fault acts on.
func (p *Plant) resolve(f Fault) (func(on bool), error) {
	kind := ""
	for _, k := range FaultKinds() {
		if k.Name == f.Kind {
			kind = k.Target
		}
	}
	a := f.Amount
	switch kind {
	case "input":
		for i := range p.sensors {
			if p.sensors[i].info.Path == f.Target {
				return sensorFault(&p.sensors[i], f.Kind, a), nil
			}
		}
	case "source":
		for _, g := range p.groups {
			if g.Name == f.Target {
				return p.sourceFault(g.Name, f.Kind), nil
			}
		}
	case "group":
		for _, g := range p.groups {
			if g.Name == f.Target {
				return g.fault(f.Kind, a)
			}
		}
	case "circuit":
		for _, g := range p.groups {
			for _, c := range g.circuits {
				if g.Name+"."+c.Name == f.Target {
					return c.fault(f.Kind, a), nil
				}
			}
		}
	case "compressor":
		for _, g := range p.groups {
			for _, c := range g.compressors {
				if g.Name+"."+c.Name == f.Target {
					return c.fault(f.Kind), nil
				}
			}
		}
	default:
		return nil, fmt.Errorf("kind %q is none of those listed in the scenario format", f.Kind)
	}
	return nil, fmt.Errorf("kind %s: there is no %s %q", f.Kind, kind, f.Target)
}

func choose(on bool, yes, no float64) float64 {
	if on {
		return yes
	}
	return no
}

func sensorFault(s *sensor, kind string, a float64) func(bool) {
	factor := a
	if s.info.Kind == Pressure {
		a *= 1e5
	}
	return func(on bool) {
		switch kind {
		case "sensor_frozen":
			s.frozen = on
		case "sensor_open":
			s.open = on
		case "sensor_lost":
			s.silent = on
		case "sensor_loose":
			s.loose = choose(on, factor, 0)
		case "sensor_offset":
			s.shift = choose(on, a, 0)
		case "sensor_drift":
			s.drift = choose(on, a, 0)
		case "sensor_noise":
			s.rough = choose(on, factor, 1)
		case "sensor_gauge":
			s.gauge = choose(on, atmosphere, 0)
		}
	}
}

// sourceFault silences all inputs of a group.
func (p *Plant) sourceFault(group, kind string) func(bool) {
	return func(on bool) {
		for i := range p.sensors {
			if s := &p.sensors[i]; strings.HasPrefix(s.info.Path, group+".") {
				switch kind {
				case "source_gap":
					s.gap = on
				case "source_timeout":
					s.timeout = on
				}
			}
		}
	}
}

func (g *group) fault(kind string, a float64) (func(bool), error) {
	if (kind == "liquid_in_accumulator" || kind == "accumulator_hole") && g.vessel == nil {
		return nil, fmt.Errorf("kind %s: group %q has no accumulator", kind, g.Name)
	}
	return func(on bool) {
		switch kind {
		case "overcharge":
			if on {
				g.high.mass += a
			}
		case "liquid_in_accumulator":
			if on {
				g.vessel.liquid += a
			}
		case "accumulator_hole":
			bore := choose(on, a, g.Accumulator.HoleMM) / 1000
			g.vessel.hole = float64(3.14159265 / 4 * bore * bore)
		case "condenser_dirty":
			g.high.dirt = choose(on, a, 1)
		}
	}, nil
}

func (c *compressor) fault(kind string) func(bool) {
	return func(on bool) {
		switch kind {
		case "crankcase_heater_failed":
			c.sump.heater = choose(on, 0, 1)
		case "compressor_failed":
			c.failed = on
			if on {
				c.turn(false)
			}
		}
	}
}

func (c *circuit) fault(kind string, a float64) func(bool) {
	return func(on bool) {
		switch kind {
		case "valve_oversized":
			c.valve.size = choose(on, a, 1)
		case "valve_stuck_open":
			c.valve.stuck = choose(on, a, -1)
		case "valve_hunting":
			c.valve.gain = choose(on, a, 1)
		case "bulb_loose":
			c.valve.loose = choose(on, a, 0)
		case "iced_coil":
			if on {
				c.coil.gather(a)
			}
		case "low_airflow":
			c.coil.fans = choose(on, a, 1)
		case "defrost_incomplete":
			c.heaters = choose(on, a, 1)
		case "warm_load":
			if on {
				c.air.product += a
			}
		case "door_surge":
			c.load.surge = choose(on, a, 1)
		case "hot_gas_drain":
			c.own.drain = choose(on, a, 1)
		case "hot_gas_bleed":
			c.own.bleed = choose(on, a, 1)
		case "liquid_valve_leak":
			c.valve.SolenoidLk = choose(on, a, c.Valve.SolenoidLk)
		case "force_defrost":
			if on {
				c.forced = true
			}
		}
	}
}
