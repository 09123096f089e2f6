package alert

import (
	"fmt"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/units"
)

// Fact is one figure of an event, with its unit, for people.
type Fact struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// Facts returns the figures of e in the units of r, as page, explanation and
// summary show them: those of the event, rounded when it was written and not
// again. An event about high superheat has none, nor has one about an input.
func (e *Event) Facts(r evidence.Renderer) []Fact {
	if e.Kind == floodback.HighSuperheat.String() {
		return nil
	}
	var facts []Fact
	kelvin := func(name string, v *float64) {
		if v != nil {
			facts = append(facts, Fact{name, r.System.Difference(units.Kelvin(*v))})
		}
	}
	kelvin("Lowest superheat", e.MinSuperheatK)
	kelvin("Lowest margin over the floor", e.MinMarginK)
	kelvin("Floor at opening", e.FloorK)
	if e.SecondsBelow > 0 {
		facts = append(facts, Fact{"Below the floor", exposure(e.SecondsBelow, e.KelvinSecondsBelow, r.System)})
	}
	return facts
}

// Exposure writes the time below the floor inside floodback events, and the same
// weighted by how far, for people: "12 min, 60.5 K·min". Events that were
// withdrawn are left out.
func (t *Totals) Exposure(system units.System) string {
	return exposure(t.FloodbackSeconds-t.FloodbackWithdrawnSeconds, t.FloodbackKelvinSeconds-t.FloodbackWithdrawnKelvinSeconds, system)
}

func exposure(seconds, kelvinSeconds float64, system units.System) string {
	return fmt.Sprintf("%s, %s·min", units.Span(time.Duration(seconds*float64(time.Second))), system.Difference(units.Kelvin(kelvinSeconds/60)))
}
