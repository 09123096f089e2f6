package recording

import (
	"fmt"
	"strings"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// Column is one input of a recording.
type Column struct {
	Point reading.Point
	Unit  string // as in the header, such as barg, degC or bool

	index int // of the point in the site
	unit  units.Unit
	air   float64 // added to a gauge pressure, Pa; 0 otherwise
	kind  reading.Kind
	plain bool // the number is SI already
}

// unitNames is what a recording accepts for a kind of quantity.
var unitNames = map[reading.Kind]string{
	reading.Pressure:    "Paa, kPaa, bara, psia, Pag, kPag, barg or psig",
	reading.Temperature: "degC, degF or K",
	reading.Switch:      "bool",
	reading.Share:       "%",
}

// parseColumn reads one cell of the header, PATH:UNIT.
func parseColumn(cell string, atmosphere units.Pascal) (Column, error) {
	path, unit, found := strings.Cut(cell, ":")
	point, err := reading.ParsePath(path)
	if err != nil {
		return Column{}, err
	}
	c := Column{Point: point, Unit: unit, kind: point.Role.Kind()}
	right := fmt.Errorf("column %q: a %s is in %s, written %s:%s", cell, c.kind, unitNames[c.kind], path, ownUnit(c.kind))
	if !found {
		return Column{}, right
	}
	if c.kind == reading.Switch {
		if unit != "bool" {
			return Column{}, right
		}
		c.plain = true
		return c, nil
	}
	c.unit, err = units.ParseUnit(unit)
	if err != nil {
		return Column{}, right
	}
	switch c.unit.Quantity {
	case units.AbsolutePressure:
		found = c.kind == reading.Pressure
	case units.GaugePressure:
		found = c.kind == reading.Pressure
		c.air = float64(atmosphere)
	case units.Temperature:
		found = c.kind == reading.Temperature
	case units.Share:
		found = c.kind == reading.Share
	default:
		found = false
	}
	if !found {
		return Column{}, right
	}
	c.plain = c.unit.Name == ownUnit(c.kind)
	return c, nil
}

// ownUnit is the unit in which we write a kind of quantity.
func ownUnit(k reading.Kind) string {
	switch k {
	case reading.Pressure:
		return "Paa"
	case reading.Temperature:
		return "degC"
	case reading.Share:
		return "%"
	}
	return "bool"
}

// value turns the number of a cell into SI.
func (c *Column) value(number float64) float64 {
	if c.plain {
		return number
	}
	return c.unit.SI(number) + c.air
}

// Lookup returns a lookup for Open over a site's points. Its error names the
// points that there are.
func Lookup(points []reading.Point) func(path string) (int, error) {
	index := make(map[string]int, len(points))
	paths := make([]string, len(points))
	for i, p := range points {
		index[p.Path], paths[i] = i, p.Path
	}
	return func(path string) (int, error) {
		if i, ok := index[path]; ok {
			return i, nil
		}
		const most = 12
		known := strings.Join(paths[:min(len(paths), most)], ", ")
		if len(paths) > most {
			known += fmt.Sprintf(" and %d more", len(paths)-most)
		}
		return 0, fmt.Errorf("the site has no input %q; it has %s", path, known)
	}
}
