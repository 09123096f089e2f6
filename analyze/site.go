// Package analyze turns rows of readings into states (what each compressor is
// doing, with superheat, margin and uncertainty) and findings (evidence that
// something is wrong).
//
// It is pure: no I/O, no clock, no goroutine, no logging. Time comes with the
// rows, so that live, demo and replay are one path. It may import the standard
// library's pure packages and its own sub-packages; a test forbids the rest.
package analyze

import (
	"dewgap/analyze/floodback"
	"dewgap/analyze/frame"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

// Site is a site as analysis sees it: what is there, not how it is read.
// config builds it; it is a value and never changes.
type Site struct {
	Name       string
	Atmosphere units.Pascal // pressure of the air, for gauge transmitters
	Groups     []Group
	// Points are the inputs that exist; a Reading refers to one by its index.
	Points []reading.Point
	// Sensors states what is known of each point's sensor; same index as Points.
	Sensors []superheat.Sensor
}

// PressureUnit returns the unit in which the site's first suction pressure is
// read; none where the site file names no unit.
func (s *Site) PressureUnit() units.Unit {
	for i := range s.Points {
		if p := &s.Points[i]; p.Role == reading.SuctionPressure && p.Unit.IsPressure() {
			return p.Unit
		}
	}
	return units.Unit{}
}

// Group is a suction group: one refrigerant, one suction pressure.
type Group struct {
	Name        string
	Refrigerant *refrigerant.Fluid
	Phase       phase.Settings
	Detect      floodback.Settings
	Superheat   superheat.Settings // group-wide defaults; Sensors override per point
	Ambient     units.Celsius      // of the machine room, where configured; NaN otherwise
	Compressors []Compressor
	Circuits    []Circuit
}

// Compressor of a group.
type Compressor struct {
	Name string
	Kind frame.CompressorKind
}

// Circuit of a group: one evaporator, or several that defrost together.
type Circuit struct {
	Name    string
	Defrost frame.DefrostKind
}
