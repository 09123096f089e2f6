package plant

import (
	"math"
	"strings"
)

// Kind is the kind of quantity an input carries.
type Kind uint8

// Kinds of input, with the unit of Value.
const (
	Pressure    Kind = iota + 1 // Pa, absolute
	Temperature                 // °C
	Switch                      // 0 or 1
)

// InputInfo is one input of the site.
type InputInfo struct {
	Path string // by the contract, section 1
	Kind Kind
}

// sensor measures one quantity as a real one does.
type sensor struct {
	info    InputInfo
	quiet   func() float64 // true value
	around  func() float64 // °C of the air beside a clamp-on sensor
	random  random
	lag     float64 // s
	contact float64 // share of (air − pipe)
	noise   float64
	grain   float64
	offset  float64
	spike   float64
	spikes  float64 // chance a second
	lost    float64 // chance a second

	felt   float64
	value  float64
	ok     bool
	reason string

	// faults
	frozen, open, silent        bool
	gap, timeout                bool    // of its source
	loose, offsetByFault, drift float64 // loose adds to contact; drift a day
	drifted                     float64
	rough                       float64 // factor on noise
	gauge                       float64 // Pa not added
}

// step measures once a second.
func (s *sensor) step() {
	v := s.quiet()
	if s.info.Kind == Switch {
		if !s.frozen {
			s.value = v
		}
		s.ok, s.reason = true, ""
		s.fail()
		return
	}
	if s.around != nil {
		v += float64((s.contact + s.loose) * (s.around() - v))
	}
	if s.felt == unset {
		s.felt = v
	}
	s.felt += (v - s.felt) / (1 + s.lag)
	s.drifted += s.drift / 86400
	shown := s.felt + s.offset + s.offsetByFault + s.drifted + float64(s.noise*s.rough*s.random.normal()) - s.gauge
	if s.spikes > 0 && s.random.uniform() < s.spikes {
		if s.random.uniform() < 0.5 {
			shown += s.spike
		} else {
			shown -= s.spike
		}
	}
	s.ok, s.reason = true, ""
	if s.lost > 0 && s.random.uniform() < s.lost {
		s.ok = false
	}
	if s.info.Kind == Pressure {
		shown = max(shown, 0)
	}
	if !s.frozen {
		s.value = float64(math.Round(shown/s.grain) * s.grain)
	}
	s.fail()
}

// fail makes a broken sensor deliver nothing, or the reason why.
func (s *sensor) fail() {
	switch {
	case s.gap, s.silent:
		s.ok, s.reason = false, ""
	case s.timeout:
		s.ok, s.reason = false, "timeout"
	case s.open:
		s.ok, s.reason = false, "open"
	}
}

const unset = -1e9

// wire puts sensors on all that the contract has a role for, less what the
// description omits.
func (p *Plant) wire(seed uint64) error {
	q := &p.d.Sensors
	add := func(path string, kind Kind, quiet, around func() float64) {
		for _, pattern := range p.d.Omit {
			if matches(pattern, path) {
				return
			}
		}
		s := sensor{info: InputInfo{path, kind}, quiet: quiet, around: around, random: newRandom(seed, path), felt: unset, rough: 1}
		switch kind {
		case Temperature:
			s.lag, s.noise, s.grain = q.TemperatureLagS, q.TemperatureK, q.TemperatureStep
			s.offset = float64(q.TemperatureOffK * s.random.normal())
			if around != nil {
				s.contact = q.ContactError
			}
		case Pressure:
			s.lag, s.noise, s.grain = q.PressureLagS, float64(q.PressureBar*1e5), float64(q.PressureStep*1e5)
			s.offset = float64(q.PressureOffBar * 1e5 * s.random.normal())
			s.spike, s.spikes = float64(q.SpikeBar*1e5), q.SpikesPerHour/3600
			if strings.HasSuffix(path, "discharge_pressure") {
				s.noise, s.grain, s.spikes = float64(4*s.noise), float64(4*s.grain), 0
			}
		}
		if s.grain <= 0 {
			s.grain = 1e-3
		}
		s.lost = q.LostPerHour / 3600
		p.sensors = append(p.sensors, s)
		p.inputs = append(p.inputs, s.info)
	}
	room := func() float64 { return p.d.Store.RoomC }
	for _, g := range p.groups {
		add(g.Name+".suction_pressure", Pressure, func() float64 { return g.fluid.pressure(g.dew) }, nil)
		add(g.Name+".discharge_pressure", Pressure, func() float64 { return g.high.pressure }, nil)
		for _, c := range g.compressors {
			at := g.Name + "." + c.Name
			add(at+".suction_temperature", Temperature, func() float64 { return c.drop.cells[1].wall }, room)
			add(at+".running", Switch, func() float64 { return number(c.on) }, nil)
			add(at+".discharge_temperature", Temperature, func() float64 { return c.discharge }, room)
			add(at+".sump_temperature", Temperature, func() float64 { return c.sump.temperature }, room)
		}
		for _, c := range g.circuits {
			at := g.Name + "." + c.Name
			add(at+".defrost", Switch, func() float64 { return number(c.signal()) }, nil)
			add(at+".coil_outlet_temperature", Temperature, func() float64 { return c.stub.cells[0].wall }, func() float64 { return c.air.air })
			add(at+".air_temperature", Temperature, func() float64 { return c.air.air }, nil)
		}
	}
	return nil
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// matches compares a path with a pattern in which * stands for any run of
// letters between dots.
func matches(pattern, path string) bool {
	a, b := strings.Split(pattern, "."), strings.Split(path, ".")
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		before, after, star := strings.Cut(a[i], "*")
		if !star && a[i] != b[i] ||
			star && (len(b[i]) < len(before)+len(after) || !strings.HasPrefix(b[i], before) || !strings.HasSuffix(b[i], after)) {
			return false
		}
	}
	return true
}

// Inputs lists the inputs of the site. The slice belongs to the plant.
func (p *Plant) Inputs() []InputInfo { return p.inputs }

// Value returns what input i shows now: Pa absolute, °C, or 0/1. It is not ok
// when nothing could be read; Reason then returns why.
func (p *Plant) Value(i int) (value float64, ok bool) {
	return p.sensors[i].value, p.sensors[i].ok
}

// Reason returns why input i shows no value; empty when it was just not
// delivered.
func (p *Plant) Reason(i int) string { return p.sensors[i].reason }
