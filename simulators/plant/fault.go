package plant

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// activeFault is a fault with its times, in seconds since Start.
type activeFault struct {
	Fault
	id       int
	from, to int64 // to < from: for good
	turn     func(on bool)
	on, done bool
}

// FaultKind is a kind of fault: what it acts on, what its amount means and
// between which bounds it lies. Both bounds are 0 if there is no amount.
type FaultKind struct {
	Name, Target, Amount string
	Low, High            float64
	Meaning              string
}

// Momentary reports that a fault of this kind happens at once: it cannot last, nor
// be taken back.
func (k FaultKind) Momentary() bool {
	switch k.Name {
	case "iced_coil", "warm_load", "overcharge", "liquid_in_accumulator", "force_defrost":
		return true
	}
	return false
}

// FaultKinds lists what Fault.Kind can be.
func FaultKinds() []FaultKind {
	return []FaultKind{
		{"valve_oversized", "circuit", "factor on valve.size", 0.1, 10, "the orifice is too big for the coil"},
		{"valve_stuck_open", "circuit", "opening, 0 to 1", 0, 1, "the valve stays at this opening"},
		{"valve_hunting", "circuit", "factor on the valve's gain", 0.1, 20, "the spring is set or the controller tuned too sharply"},
		{"bulb_loose", "circuit", "share of the bulb's contact that is with the air, 0 to 1", 0, 1, "the bulb feels the case instead of the pipe"},
		{"iced_coil", "circuit", "kg of ice put on at once", 0, 100, "ice that defrosts have left over days"},
		{"low_airflow", "circuit", "share of the air that is left, 0 to 1", 0, 1, "fans failed or blocked"},
		{"defrost_incomplete", "circuit", "share of the defrost heat that is left, 0 to 1", 0, 1, "heaters failed; the defrost ends by its limit"},
		{"warm_load", "circuit", "K by which the goods are warmed at once", -40, 40, "warm goods put in"},
		{"door_surge", "circuit", "factor on infiltration", 0, 20, "doors or blinds open"},
		{"overcharge", "group", "kg added to the high side at once; negative: taken out", -50, 50, "too much refrigerant, or a leak"},
		{"liquid_in_accumulator", "group", "kg put into the accumulator at once", 0, 50, "what a slug has left there"},
		{"accumulator_hole", "group", "mm, the bore it has now", 0, 10, "the oil return hole is plugged or too wide"},
		{"hot_gas_drain", "circuit", "factor on defrost.drain", 0, 1.1, "condensate is not driven back: differential too low"},
		{"hot_gas_bleed", "circuit", "factor on defrost.bleed_s", 0.02, 100, "the coil's pressure is let down too fast (below 1), or not before the suction stop opens (large)"},
		{"liquid_valve_leak", "circuit", "share of the design flow through the shut liquid valve", 0, 1, "dirt in its seat"},
		{"crankcase_heater_failed", "compressor", "-", 0, 0, "the oil is not kept warm while it stands"},
		{"compressor_failed", "compressor", "-", 0, 0, "it does not run"},
		{"condenser_dirty", "group", "share of the conductance that is left", 0.05, 1, "condensing temperature rises"},
		{"force_defrost", "circuit", "-", 0, 0, "a defrost begins now"},
		{"sensor_frozen", "input", "-", 0, 0, "the value stands still"},
		{"sensor_open", "input", "-", 0, 0, "broken wire: the reading fails"},
		{"sensor_lost", "input", "-", 0, 0, "nothing is read"},
		{"sensor_loose", "input", "share added to the contact error", 0, 1, "a clamp that came off or lost its insulation"},
		{"sensor_offset", "input", "K or bar", -100, 100, "a constant error"},
		{"sensor_drift", "input", "K or bar a day", -100, 100, "a growing error"},
		{"sensor_noise", "input", "factor on its noise", 0, 1000, "a bad contact or an unscreened wire"},
		{"sensor_gauge", "input", "-", 0, 0, "a gauge transmitter read as an absolute one: one standard atmosphere too low"},
		{"source_gap", "group", "-", 0, 0, "nothing arrives from a whole group"},
		{"source_timeout", "group", "-", 0, 0, "every read of a whole group's controller times out"},
	}
}

// mostFaults bounds what Inject takes.
const mostFaults = 1000

// Inject starts a fault with the next Step; it lasts f.ForMin minutes, or
// until it is cleared if that is 0. f.AtMin is not used. The number returned is
// for Clear.
func (p *Plant) Inject(f Fault) (id int, err error) {
	if len(p.faults) >= mostFaults {
		return 0, fmt.Errorf("%d faults are at work already: clear some", mostFaults)
	}
	return p.schedule(f, p.seconds)
}

// Clear ends a fault of Inject or of the description.
func (p *Plant) Clear(id int) error {
	for i, f := range p.faults {
		if f.id != id {
			continue
		}
		if f.kind().Momentary() && f.on {
			return fmt.Errorf("%s happened at once and cannot be taken back", f.Kind)
		}
		if f.on {
			f.turn(false)
		}
		p.faults = slices.Delete(p.faults, i, i+1)
		p.reapply(f)
		return nil
	}
	return ErrNoFault
}

// ErrNoFault reports that there is no fault with this number, or no more.
var ErrNoFault = errors.New("no such fault is at work")

// reapply turns on what still works on the same part: of two faults of one kind,
// one may have been cleared.
func (p *Plant) reapply(gone *activeFault) {
	for _, f := range p.faults {
		if f.on && f.Kind == gone.Kind && f.Target == gone.Target && !f.kind().Momentary() {
			f.turn(true)
		}
	}
}

// ActiveFault is a fault that is active, or will be.
type ActiveFault struct {
	ID int
	Fault
	On bool
}

// Faults lists what is active or still to come.
func (p *Plant) Faults() []ActiveFault {
	var list []ActiveFault
	for _, f := range p.faults {
		if !f.done {
			list = append(list, ActiveFault{f.id, f.Fault, f.on})
		}
	}
	return list
}

func (p *Plant) schedule(f Fault, from int64) (id int, err error) {
	turn, err := p.resolve(f)
	if err != nil {
		return 0, err
	}
	p.lastFault++
	a := &activeFault{Fault: f, id: p.lastFault, from: from, to: from - 1, turn: turn}
	if f.ForMin > 0 {
		a.to = from + int64(f.ForMin*60)
	}
	p.faults = append(p.faults, a)
	return a.id, nil
}

func (p *Plant) runFaults() {
	ended := false
	for _, f := range p.faults {
		if !f.on && p.seconds >= f.from {
			f.on = true
			f.turn(true)
			if f.Kind == "force_defrost" { // nothing of it lasts
				f.done, ended = true, true
			}
		}
		if f.on && f.to >= f.from && p.seconds >= f.to {
			f.on, f.done, ended = false, true, true
			f.turn(false)
			p.reapply(f)
		}
	}
	if ended {
		p.faults = slices.DeleteFunc(p.faults, func(f *activeFault) bool { return f.done })
	}
}

func (f *activeFault) kind() FaultKind {
	k, _ := kindOf(f.Kind)
	return k
}

func kindOf(name string) (FaultKind, bool) {
	for _, k := range FaultKinds() {
		if k.Name == name {
			return k, true
		}
	}
	return FaultKind{}, false
}

// faultsOf names the faults active in a group.
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
	kind, ok := kindOf(f.Kind)
	a := f.Amount
	switch {
	case !ok:
		return nil, fmt.Errorf("kind %q is none of those listed in the scenario format", f.Kind)
	case kind.High == 0 && a != 0:
		return nil, fmt.Errorf("kind %s: amount %g: it takes none", f.Kind, a)
	case !(a >= kind.Low && a <= kind.High):
		return nil, fmt.Errorf("kind %s: amount %g: %g to %g (%s)", f.Kind, a, kind.Low, kind.High, kind.Amount)
	case !(f.ForMin >= 0):
		return nil, fmt.Errorf("kind %s: for_min %g: not below 0", f.Kind, f.ForMin)
	}
	switch kind.Target {
	case "input":
		for i := range p.sensors {
			if p.sensors[i].info.Path == f.Target {
				return sensorFault(&p.sensors[i], f.Kind, a), nil
			}
		}
	case "group":
		for _, g := range p.groups {
			switch {
			case g.Name != f.Target:
			case strings.HasPrefix(f.Kind, "source_"):
				return p.sourceFault(g.Name, f.Kind), nil
			default:
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
	}
	return nil, fmt.Errorf("kind %s: there is no %s %q", f.Kind, kind.Target, f.Target)
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
			s.offsetByFault = choose(on, a, 0)
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
				g.high.mass = max(g.high.mass+a, 0)
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
				c.coil.addFrost(a)
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
