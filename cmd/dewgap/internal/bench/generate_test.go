package bench

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// generatedFault is something that a generated store can suffer from.
type generatedFault struct {
	name   string
	kind   string // of the simulator
	amount func(r *rand.Rand) float64
	cause  string // contract's word, where floodback follows
	late   bool   // begins within the recording
	sensor string // role of the input that the fault falsifies
	group  bool   // no circuit is at fault
	built  bool   // it is how the store is made: nothing happens to it
	shape  func(s *generatedStore)
}

func between(low, high float64) func(r *rand.Rand) float64 {
	return func(r *rand.Rand) float64 { return low + (high-low)*r.Float64() }
}

var generatedFaults = []generatedFault{
	{name: "valve_stuck_open", amount: between(0.75, 1), cause: "valve_stuck_open"},
	{name: "valve_oversized", amount: between(1.8, 2.8), cause: "valve_oversized"},
	{name: "valve_hunting", amount: between(3, 6), cause: "valve_hunting"},
	{name: "iced_coil", amount: between(8, 16), cause: "iced_coil", late: true},
	{name: "low_airflow", amount: between(0.15, 0.35), cause: "low_airflow", late: true},
	{name: "defrost_incomplete", amount: between(0.1, 0.3), cause: "defrost_incomplete", shape: func(s *generatedStore) {
		s.defrost, s.frost = "electric", 8+8*s.r.Float64()
	}},
	{name: "hot_gas_carryover", kind: "hot_gas_drain", amount: between(0.3, 0.6), cause: "hot_gas_carryover", shape: func(s *generatedStore) { s.defrost = "hot_gas" }},
	{name: "load_change_after_defrost", built: true, cause: "load_change_after_defrost", shape: func(s *generatedStore) {
		// The coil fills while its fans wait for too long.
		s.lt, s.comps, s.defrost, s.fanWait = true, 2+s.r.IntN(2), "electric", 400+400*s.r.Float64()
	}},
	{name: "overcharge", amount: between(0.2, 0.3), cause: "overcharge", late: true, group: true, shape: func(s *generatedStore) {
		s.lt, s.comps, s.circs, s.mode, s.capillary = false, 1, 1, "thermostat", true
	}},
	{name: "accumulator_full", kind: "liquid_in_accumulator", amount: between(6, 9), cause: "accumulator_full", late: true, group: true, shape: func(s *generatedStore) {
		s.lt, s.comps, s.accumulator = true, 2, 7+2*s.r.Float64()
	}},
	{name: "bulb_loose", amount: between(0.4, 0.8)},
	{name: "flooded_start", kind: "crankcase_heater_failed", shape: func(s *generatedStore) {
		// A unit out of doors in winter, with long stops.
		s.lt, s.comps, s.circs, s.mode = false, 1, 1, "thermostat"
		s.outdoor, s.room, s.capacity, s.stop = -6+6*s.r.Float64(), -5+5*s.r.Float64(), 2.2, 3000+4000*s.r.Float64()
	}},
	{name: "sensor_frozen", sensor: "suction_temperature", late: true},
	{name: "sensor_loose", amount: between(0.3, 0.5), sensor: "suction_temperature", late: true, shape: func(s *generatedStore) { s.lt, s.comps = true, 3 }},
	{name: "sensor_offset", amount: between(9, 14), sensor: "suction_temperature", late: true, shape: func(s *generatedStore) { s.comps = 3 }},
}

// FaultNames lists the faults that a Case can have.
func FaultNames() []string {
	var names []string
	for _, f := range generatedFaults {
		names = append(names, f.name)
	}
	return names
}

// generatedStore is what a fault may shape of a store before it is generated.
type generatedStore struct {
	r             *rand.Rand
	lt            bool
	comps, circs  int
	mode          string // of the group's control
	outdoor, room float64
	capacity      float64 // of the compressors, over the load
	line          float64 // m, from coil to header
	stop          float64 // s, shortest of a compressor
	defrost       string  // of the circuit at fault, where it matters
	frost         float64 // kg, on its coil
	fanWait       float64 // s, that its fans stand after a defrost; 0: as usual
	capillary     bool    // one small cabinet whose charge is critical
	accumulator   float64 // l; 0: none
}

// injected is the fault of a generated store as the score needs it.
type injected struct {
	cause, circuit, input string
	minutes               float64 // after the first row
}

func (f *injected) settle(c *Comparison, start time.Time) {
	if f.cause != "" {
		c.Fault.Causes = []string{f.cause}
	}
	c.Fault.Circuit, c.Fault.Input = f.circuit, f.input
	c.Fault.From = start.Add(time.Duration(f.minutes * float64(time.Minute)))
	c.mislead()
}

// describe generates the store of a case as a scenario.
func (t Case) describe() (string, *injected) {
	r := rand.New(rand.NewPCG(t.Seed, 11))
	s := &generatedStore{r: r, lt: r.IntN(2) == 0, comps: 1 + r.IntN(3), circs: 2 + r.IntN(3), mode: "suction",
		outdoor: 5 + 20*r.Float64(), room: 18 + 12*r.Float64(), capacity: 1.35, stop: 180, line: 55}
	var fault *generatedFault
	if i := slices.IndexFunc(generatedFaults, func(f generatedFault) bool { return f.name == t.Fault }); i >= 0 {
		fault = &generatedFaults[i]
		if fault.shape != nil {
			fault.shape(s)
		}
	}
	dew, air, fluid := -10.0, 2.0, []string{"R513A", "R448A", "R134a", "R404A"}[r.IntN(4)]
	if s.lt {
		s.line *= 35.0 / 55
		dew, air, fluid = -32, -20, []string{"R448A", "R404A", "R407F", "R452A"}[r.IntN(4)]
	}
	if s.capillary {
		dew, air, fluid, s.capacity = -10, 3, "R290", 0.28
	}
	if fault != nil && fault.cause != "" {
		s.line *= 0.6 // one that does not dry up what a coil lets through
	}
	var b strings.Builder
	w := func(f string, a ...any) { fmt.Fprintf(&b, f+"\n", a...) }
	w("name = \"bench\"\nsite = \"bench\"\nwarm_up_h = 7\nhours = %g", t.Hours)
	var omit []string
	if t.Missing.Running {
		omit = append(omit, "*.*.running")
	}
	if t.Missing.Defrost {
		omit = append(omit, "*.*.defrost")
	}
	if t.Bare && t.Fault != "flooded_start" { // nothing else could show it
		omit = append(omit, "*.*.discharge_temperature", "*.*.sump_temperature")
	}
	if len(omit) > 0 {
		w("omit = [\"%s\"]", strings.Join(omit, `", "`))
	}
	w("[store]\noutdoor_c = %.1f\nmachine_room_c = %.1f", s.outdoor, s.room)
	w("[sensors]\ntemperature_lag_s = %.1f\ntemperature_noise_k = %.3f\npressure_noise_bar = %.4f", (10+30*r.Float64())*t.Lag, 0.05*t.Noise, 0.05*t.Noise) // up to 0.2 bar (trade notes, section 13) where a noisy store is doubled
	w("[[suction_group]]\nname = \"g\"\nrefrigerant = %q\ndew_c = %g", fluid, dew)
	if s.capillary {
		w("critically_charged = true")
	}
	if s.accumulator > 0 {
		w("  [suction_group.accumulator]\n  volume_l = %.1f\n  hole_mm = 2.2", s.accumulator)
	}
	w("  [suction_group.control]\n  mode = %q\n  minimum_off_s = %.0f", s.mode, s.stop)
	s.compressors(w)
	victim := r.IntN(s.circs)
	s.circuits(w, victim, air)
	if fault == nil {
		return b.String(), &injected{}
	}
	injected := fault.inject(w, r, s, victim)
	return b.String(), injected
}

// inject writes the fault.
func (f *generatedFault) inject(w func(string, ...any), r *rand.Rand, s *generatedStore, victim int) *injected {
	out := &injected{cause: f.cause, minutes: -400}
	if f.late {
		out.minutes = 60 + 60*r.Float64()
	}
	kind, target, amount := f.kind, fmt.Sprintf("g.k%d", victim+1), ""
	if kind == "" {
		kind = f.name
	}
	if f.amount != nil {
		amount = fmt.Sprintf("amount = %.2f", f.amount(r))
	}
	switch {
	case f.sensor != "":
		out.input = fmt.Sprintf("g.c%d.%s", 1+r.IntN(s.comps), f.sensor)
		target = out.input
	case kind == "crankcase_heater_failed":
		target = "g.c1"
	case f.group:
		target = "g"
	default:
		out.circuit = fmt.Sprintf("k%d", victim+1)
	}
	if f.built {
		return out
	}
	w("[[fault]]\nkind = %q\ntarget = %q\nat_min = %.0f\n%s", kind, target, out.minutes, amount)
	return out
}

func (s *generatedStore) load() float64 { return 3 + 4*s.r.Float64() }

func (s *generatedStore) compressors(w func(string, ...any)) {
	kind := []string{"scroll", "air_cooled_semi_hermetic", "refrigerant_cooled_semi_hermetic"}[s.r.IntN(3)]
	for i := range s.comps {
		w("  [[suction_group.compressor]]\n  name = \"c%d\"\n  kind = %q\n  capacity_kw = %.2f", i+1, kind, s.capacity*5*float64(s.circs)/float64(s.comps))
		if s.mode == "suction" && i == 0 && s.r.IntN(2) == 0 {
			w("  minimum_speed = 0.5")
		}
	}
}

func (s *generatedStore) circuits(w func(string, ...any), victim int, air float64) {
	r := s.r
	for i := range s.circs {
		defrost := "electric"
		switch {
		case i == victim && s.defrost != "":
			defrost = s.defrost
		case !s.lt && r.IntN(2) == 0:
			defrost = "off_cycle"
		case s.lt && r.IntN(3) == 0:
			defrost = "hot_gas"
		}
		if s.capillary {
			s.cabinet(w, air)
			continue
		}
		w("  [[suction_group.circuit]]\n  name = \"k%d\"\n  load_kw = %.2f\n  air_c = %g\n  tap = %d", i+1, s.load(), air+2*r.Float64(), 1+i%s.comps)
		if s.mode == "thermostat" || r.IntN(4) == 0 {
			w("  thermostat_k = %.1f", 1.5+r.Float64())
		}
		if i == victim && s.frost > 0 {
			w("    [suction_group.circuit.coil]\n    frost_kg = %.1f", s.frost)
		}
		valve := "thermostatic"
		if r.IntN(3) == 0 {
			valve = "electronic"
		}
		w("    [suction_group.circuit.valve]\n    kind = %q\n    static_superheat_k = 5\n    set_superheat_k = 8", valve)
		// Long lines in a warm store: a healthy machine holds its floor.
		w("    [suction_group.circuit.line]\n    length_m = %.0f\n    heat_w_m_k = 0.3", s.line*(0.85+0.3*r.Float64()))
		termination := 10.0
		if defrost == "off_cycle" {
			termination = 5
		}
		w("    [suction_group.circuit.defrost]\n    kind = %q\n    first_min = %.0f\n    termination_c = %g\n    drip_s = %.0f\n    signal_covers_drip = %v",
			defrost, 25+360*r.Float64(), termination, 100+200*r.Float64(), r.IntN(2) == 0)
		if i == victim && s.fanWait > 0 {
			w("    fan_c = -40\n    fan_max_s = %.0f", s.fanWait)
		}
	}
}

// cabinet is a small one with a capillary.
func (s *generatedStore) cabinet(w func(string, ...any), air float64) {
	r := s.r
	w("  [[suction_group.circuit]]\n  name = \"k1\"\n  load_kw = %.2f\n  air_c = %g\n  infiltration = 0.3\n  thermostat_k = 3", 0.7+0.3*r.Float64(), air+2*r.Float64())
	w("    [suction_group.circuit.valve]\n    kind = \"capillary\"\n    size = 1.4")
	w("    [suction_group.circuit.line]\n    length_m = 3\n    heat_w_m_k = 0.6\n    wall_j_m_k = 90")
	w("    [suction_group.circuit.defrost]\n    kind = \"off_cycle\"\n    termination_c = 5\n    limit_min = 40\n    first_min = %.0f", 25+360*r.Float64())
}
