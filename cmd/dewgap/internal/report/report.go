// Package report writes the acceptance record and the inspection report for
// people: as text for a terminal, and as one self-contained HTML file that prints
// on A4 and Letter.
//
// It may import alert, analyze, commissioning, config, explain and inspection. The same
// record gives the same bytes: no clock, no random, no map order.
package report

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"dewgap/cmd/dewgap/internal/commissioning"
)

// JSON writes the record for programs.
func JSON(w io.Writer, r *commissioning.Record) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(r)
}

// words turns figures of a record into text in the reader's units.
type words struct{ view commissioning.View }

func (w words) kelvin(d *float64) string {
	if d == nil {
		return "–"
	}
	return w.view.Difference(*d)
}

func (w words) celsius(t *float64) string {
	if t == nil {
		return "–"
	}
	return w.view.Temperature(*t)
}

// clock writes the time of day.
func (w words) clock(t *time.Time) string {
	if t == nil {
		return "–"
	}
	return w.view.Clock(*t)
}

var outcomes = map[commissioning.Outcome]string{
	commissioning.Met: "met", commissioning.Remark: "remark", commissioning.NotMet: "NOT MET",
	commissioning.CannotTell: "cannot tell", commissioning.NotRecorded: "not recorded",
}

var criteria = map[string]string{
	"floor": "Floor held", "above_dew": "Above dew", "start": "Start", "floodback": "No wet gas", "second_dip": "One dip at most",
	"recovered": "Load back", "steady": "Steady running", "hunting": "No hunting", "uncertainty": "Uncertainty",
	"discharge": "Discharge", "sump": "Oil sump", "termination": "Termination", "plateau": "Zero at the plateau", "equalised": "Equalised check",
}

func defrostName(kind string) string { return strings.ReplaceAll(kind, "_", "-") }

func share(score float64) string { return fmt.Sprintf("%.0f %%", 100*score) }

// stageLine is one line of a cycle's course.
type stageLine struct{ Mark, What, At, Lasted, Note string }

// course lists the stages of a cycle in order of time; Mark is the figure that
// the plots carry at that instant.
func (w words) course(c *commissioning.Cycle) []stageLine {
	s := &c.Stages
	pumpDown, note := commissioning.Length(s.PumpDown), ""
	if s.Warming == nil && c.Defrost != "off_cycle" {
		note = "no input shows when the coil began to warm"
	}
	if c.Defrost == "off_cycle" {
		pumpDown = "–"
	}
	lines := []stageLine{{"1", "Defrost begins", w.clock(s.Began), pumpDown, note}}
	if s.Warming != nil {
		lines[0].Note = "pump-down, until the coil outlet warms"
		lines = append(lines, stageLine{"", "Coil outlet warms", w.clock(s.Warming), "", ""})
	}
	if s.PlateauBegan != nil {
		lines = append(lines, stageLine{"", "Melting plateau", w.clock(s.PlateauBegan) + "–" + w.clock(s.PlateauEnded), commissioning.Length(s.Plateau), "at " + w.celsius(s.PlateauAt)})
	}
	lines = append(lines, stageLine{"2", "Heat ends", w.clock(s.HeatEnded), commissioning.Length(s.Heat),
		w.ended(s)})
	if c.Defrost == "off_cycle" {
		lines[len(lines)-1].What = "Defrost ends"
	}
	lines = append(lines, stageLine{"3", "Refrigerating again", w.clock(s.Resumed), commissioning.Length(s.Drip), "drip"})
	if c.Defrost != "off_cycle" {
		lines = append(lines, w.fanLine(s))
	}
	return append(lines, stageLine{"4", "Pulldown over", w.clock(s.Steady), commissioning.Length(s.Pulldown), "from refrigerating again to the load before"})
}

// ended writes how the heat ended.
func (w words) ended(s *commissioning.Stages) string {
	coil := fmt.Sprintf("coil outlet %s, highest %s", w.celsius(s.EndedAt), w.celsius(s.Peak))
	if s.Termination == "unknown" {
		return coil
	}
	return "by " + s.Termination + "; " + coil
}

// fanLine writes what is known of the fan delay: no input shows the fans.
func (w words) fanLine(s *commissioning.Stages) stageLine {
	if s.AirCooling == nil || s.Resumed == nil {
		return stageLine{"", "Fan delay", "–", "", "no input shows the fans"}
	}
	seconds := s.AirCooling.Sub(*s.Resumed).Seconds()
	return stageLine{"", "Air begins to cool", w.clock(s.AirCooling), commissioning.Length(&seconds), "no input shows the fans; by now they run"}
}

// parts writes where an uncertainty comes from, the small parts left out.
func parts(s commissioning.Sensors) string {
	var list []string
	for _, p := range s.Parts {
		if p.Share < 0.05 {
			continue
		}
		text := p.Name + " " + share(p.Share)
		if p.Assumed {
			text += " (assumed)"
		}
		list = append(list, text)
	}
	return strings.Join(list, ", ")
}

const assumedMeans = "Shares of the variance. Assumed: the configuration does not state the sensor, and a typical installation is taken."

// lowest writes the lowest superheat with its uncertainty and the floor that held
// at that time: in a pulldown, that of the pulldown.
func (w words) lowest(m *commissioning.Machine) string {
	if m.Lowest == nil {
		return "–"
	}
	return fmt.Sprintf("%s ± %s, floor %s", w.kelvin(m.Lowest), w.kelvin(m.Uncertainty), w.kelvin(m.LowestFloor))
}

// byHand is what no recording shows, to be filled in.
var byHand = []string{
	"Pressure transmitters against a calibrated gauge, stopped or at rest: within 0.5 % of the span",
	"Temperature sensors in an ice bath: within 0.5 K (0.9 °F) of 0 °C (32 °F)",
	"Suction-line clamps: with the foam off for 2 min the reading moves by less than 1 K (1.8 °F)",
	"The two largest circuits brought out of defrost together",
	"One cycle at the lowest compressor stage",
	"Refrigerant, refrigerant charge and altitude as configured",
}

// cautions stand on every record.
var cautions = []string{
	"dewgap only reads and reports. It stops, starts and sets nothing, is no safety device, and replaces no pressure, temperature, oil or gas-detection cut-out.",
	"Before hands go on: isolate, lock out and tag, and prove the absence of voltage. Heaters and fans of a defrosting coil start by themselves; capacitors and drives hold their charge for minutes.",
	"The circuit is under pressure when it stands, too; R744 stands near 69 bar at 28 °C (1000 psi at 82 °F). Liquid between two closed valves bursts pipes as it warms. Never braze on a charged line; pressure-test with nitrogen through a regulator, never with oxygen or air.",
	"Refrigerant is handled and recovered, never vented, by persons certified for it. Flammable refrigerants (A2L, A3): ventilation, detection, no sparks. Ammonia and R744: danger to breathing.",
	"Cold liquid burns, discharge lines are hot, fans turn, floors are iced. Local codes, the makers' instructions and licensed practice come before this paper.",
}

const scope = "This record holds what was measured while these cycles ran, and judges it by the criteria printed in it. A contact sensor on a cold pipe reads high, never low: the true superheat is at most what is shown."

// onSite writes what was found for the events of a cycle, to stand beside the
// likely circuits and causes.
func (w words) onSite(c *commissioning.Cycle) (lines []string) {
	for i := range c.Found {
		lines = append(lines, c.Found[i].Text(w.view))
	}
	return lines
}
