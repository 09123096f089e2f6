package plant

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// check refuses what no plant can be built from, all of it at once.
func (d *Description) check() error {
	c := checker{names: map[string]bool{}}
	if len(d.Groups) == 0 {
		c.fault("", "no suction_group: at least one is needed")
	}
	c.between("", "warm_up_h", d.WarmUpH, 0, 48)
	c.between("store", "store_c", d.Store.StoreC, 5, 45)
	c.between("store", "machine_room_c", d.Store.RoomC, -20, 55)
	c.between("store", "outdoor_c", d.Store.OutdoorC, -40, 55)
	c.between("store", "load_noise", d.Store.LoadNoise, 0, 0.5)
	for _, g := range d.Groups {
		c.group(g, &d.Store)
	}
	return errors.Join(c.faults...)
}

type checker struct {
	faults []error
	names  map[string]bool // by path, of what has been seen
}

func (c *checker) fault(at, format string, a ...any) {
	if at != "" {
		at += ": "
	}
	c.faults = append(c.faults, fmt.Errorf("%s%s", at, fmt.Sprintf(format, a...)))
}

func (c *checker) between(at, key string, v, low, high float64) {
	if !(v >= low && v <= high) {
		c.fault(at, "%s = %g: %g to %g", key, v, low, high)
	}
}

func (c *checker) oneOf(at, key, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.fault(at, "%s = %q: one of %q", key, v, allowed)
	}
}

func (c *checker) name(path string) {
	_, last, _ := strings.Cut(path, ".")
	if last == "" {
		last = path
	}
	if !validName(last) {
		c.fault(path, "name %q: lower-case letters, digits, - and _, starting with a letter", last)
	}
	if c.names[path] {
		c.fault(path, "name %q is used twice", last)
	}
	c.names[path] = true
}

func (c *checker) group(g Group, store *Store) {
	c.name(g.Name)
	if len(g.Compressors) == 0 || len(g.Circuits) == 0 {
		c.fault(g.Name, "at least one compressor and one circuit are needed")
	}
	c.between(g.Name, "dew_c", g.DewC, gridLow+8, 10)
	c.between(g.Name, "condensing_c", g.CondenseC, g.DewC+20, 55)
	c.between(g.Name, "subcooling_k", g.SubcoolK, 0, 20)
	c.oneOf(g.Name, "control.mode", g.Control.Mode, "suction", "thermostat", "pump_down")
	if g.Control.Mode == "thermostat" && (len(g.Compressors) != 1 || len(g.Circuits) != 1 || g.Circuits[0].ThermostatK <= 0) {
		c.fault(g.Name, "control by thermostat needs one compressor and one circuit with thermostat_k")
	}
	for _, k := range g.Compressors {
		at := g.Name + "." + k.Name
		c.name(at)
		c.oneOf(at, "kind", k.Kind, "scroll", "air_cooled_semi_hermetic", "refrigerant_cooled_semi_hermetic")
		c.between(at, "capacity_kw", k.CapacityKW, 0.1, 500)
		c.between(at, "minimum_speed", k.MinimumSpeed, 0.1, 1)
		c.between(at, "isentropic_efficiency", k.Isentropic, 0.3, 1)
		c.between(at, "oil_kg", k.OilKg, 0.1, 50)
	}
	for _, k := range g.Circuits {
		at := g.Name + "." + k.Name
		c.name(at)
		c.circuit(at, k, g, store)
	}
}

func (c *checker) circuit(at string, k Circuit, g Group, store *Store) {
	c.oneOf(at, "valve.kind", k.Valve.Kind, "thermostatic", "electronic", "capillary")
	c.oneOf(at, "defrost.kind", k.Defrost.Kind, "off_cycle", "electric", "hot_gas")
	if k.Defrost.Kind == "hot_gas" && len(g.Circuits) < 2 {
		c.fault(at, "defrost.kind hot_gas needs a second circuit that keeps a compressor running meanwhile")
	}
	if k.Position < 1 || k.Position > len(g.Compressors) {
		c.fault(at, "tap = %d: there are taps 1 to %d", k.Position, len(g.Compressors))
	}
	c.between(at, "load_kw", k.LoadKW, 0.1, 500)
	// below: no heat would flow from air to refrigerant, or from the store to the case
	c.between(at, "air_c", k.AirC, g.DewC+k.Line.DropK+3, store.StoreC-3)
	if k.Infiltration+k.Internal > 1 {
		c.fault(at, "infiltration %g and internal %g are shares of one load: together at most 1", k.Infiltration, k.Internal)
	}
	c.between(at, "coil.capacity", k.Coil.Capacity, 0.3, 5)
	c.between(at, "coil.air_resistance", k.Coil.AirShare, 0.2, 0.95)
	c.between(at, "coil.hold_s", k.Coil.HoldS, 5, 300)
	c.between(at, "valve.size", k.Valve.Size, 0.1, 10)
	c.between(at, "valve.static_superheat_k", k.Valve.StaticK, 0, 20)
	c.between(at, "valve.opening_superheat_k", k.Valve.RangeK, 0.5, 20)
	c.between(at, "valve.mop_c", k.Valve.MopC, g.DewC, 40)
	c.between(at, "valve.stroke_s", k.Valve.StrokeS, 1, 600)
	c.between(at, "line.length_m", k.Line.LengthM, 1, 200)
	c.between(at, "line.pressure_drop_k", k.Line.DropK, 0, 5)
	c.between(at, "defrost.bleed_s", k.Defrost.BleedS, 1, 600)
}

func validName(s string) bool {
	for i := range len(s) {
		c := s[i]
		letter := c >= 'a' && c <= 'z'
		if !letter && (i == 0 || !(c >= '0' && c <= '9' || c == '-' || c == '_')) {
			return false
		}
	}
	return s != ""
}
