package inspection

import (
	"fmt"
	"time"

	"dewgap/alert"
	"dewgap/analyze/frame"
	"dewgap/analyze/units"
)

// Sign is what a finding would show inside a machine, beside what was recorded.
type Sign struct {
	Finding  string   `json:"finding"`
	Recorded string   `json:"recorded"` // for people
	Inside   []string `json:"inside"`
}

// What liquid does first in each kind of machine. Common practice, no source.
var floodbackInside = map[frame.CompressorKind][]string{
	frame.Scroll: {
		"Upper bearing and drive bushing dry, wiped or scored before anything else: diluted oil fails first where it has the longest way from the sump.",
		"Oil thin and low in viscosity, full of refrigerant; foam marks high on the shell. Have a sample tested.",
		"Scroll tips and flanks clean and bright in wet running, chipped or broken after gross slugging.",
	},
	frame.AirCooledSemiHermetic: {
		"Pistons and cylinder walls washed free of oil and worn, without marks of heat: the gas enters at the head.",
		"Rods and wrist pins worn by what washed down; the bearings near the oil pump may still look good.",
		"Suction reeds bent or broken, gasket blown between chambers, a rod broken: a slug of liquid at once.",
	},
	frame.RefrigerantCooledSemiHermetic: {
		"Main bearings worn, those farthest from the oil pump most: liquid falls into the crankcase and oil is diluted and carried out.",
		"Vertical play of the crankshaft; shaft scored more towards the far end. The rotor may have dropped on to the stator and shorted the winding.",
		"Pistons, cylinders and valves often still good: the motor boils off a part before it reaches them.",
	},
}

// What a flooded start does. Common practice, no source.
var startInside = map[frame.CompressorKind][]string{
	frame.Scroll:                        {"Bearings scored although no running time was wet: the oil foamed and left with the first gas. Crankcase heater, check valve and pump-down are part of the inspection."},
	frame.AirCooledSemiHermetic:         {"Rods and crankshaft scored irregularly, some rods broken where they seized, others good. Crankcase heater and pump-down are part of the inspection."},
	frame.RefrigerantCooledSemiHermetic: {"Rods and crankshaft scored irregularly, rods broken where they seized, centre and far bearings not worse than others. Crankcase heater and pump-down are part of the inspection."},
}

// signs lists what each finding would show inside a machine of kind k; all kinds
// where the configuration states none.
func (r *Report) signs(k frame.CompressorKind) []Sign {
	of := func(texts map[frame.CompressorKind][]string) []string {
		if list, ok := texts[k]; ok {
			return list
		}
		var all []string
		for _, kind := range []frame.CompressorKind{frame.Scroll, frame.AirCooledSemiHermetic, frame.RefrigerantCooledSemiHermetic} {
			for _, text := range texts[kind] {
				all = append(all, KindWords(kindName(kind))+": "+text)
			}
		}
		return all
	}
	signs := []Sign{
		{"Floodback: liquid comes back while it runs", r.floodbackRecorded(), of(floodbackInside)},
		{"Flooded start: refrigerant had condensed in the oil at standstill", countWords(len(r.FloodedStarts), "flooded start"), of(startInside)},
	}
	sump := "the oil sump was not recorded"
	if w := r.Recorded; w != nil && w.SumpSeconds > 0 {
		sump = fmt.Sprintf("the sump was within %s of suction dew for %s of %s running", r.View.Difference(float64(SumpClose)), span(w.SumpNearSeconds), span(w.SumpSeconds))
		if w.LowestSumpOverDewK != nil {
			sump += ", lowest " + r.View.Difference(*w.LowestSumpOverDewK) + " above dew"
		}
	}
	// Common practice, no source.
	return append(signs, Sign{"Liquid in the oil", sump, []string{
		"Oil that thins and boils when it is let stand open; low viscosity in the test of a sample.",
		"Bearings polished or wiped with oil still in the sump: it was there and did not carry.",
	}})
}

func (r *Report) floodbackRecorded() string {
	if r.Exposure.Events == 0 {
		return "none recorded"
	}
	text := fmt.Sprintf("%s, %s below the floor", countWords(r.Exposure.Events, "floodback"), span(r.Exposure.Seconds))
	for _, p := range r.BySeverity {
		if p.Events > 0 {
			text += fmt.Sprintf("; %s: %d, %s", p.Name, p.Events, span(p.Seconds))
		}
	}
	return text
}

// otherwise lists what would point to a reason that is not liquid. Common
// practice, no source.
func (r *Report) otherwise(k frame.CompressorKind) []Sign {
	hot := "the discharge temperature was not recorded"
	if w := r.Recorded; w != nil && w.DischargeSeconds > 0 {
		hot = fmt.Sprintf("discharge above %s for %s of %s running", r.View.Temperature(float64(DischargeHot)), span(w.DischargeHotSeconds), span(w.DischargeSeconds))
		if w.HighestDischargeC != nil {
			hot += ", highest " + r.View.Temperature(*w.HighestDischargeC)
		}
	}
	heat := []string{
		"Discoloured or blued parts, carbon on the discharge side, dark oil with a burnt smell and high acid in a sample.",
		"A burnt spot on the winding near the discharge side.",
	}
	if k != frame.Scroll {
		heat = append(heat, "Discoloured valve plate, burnt reeds, worn rings, cylinders scored with marks of heat.")
	}
	if k == frame.Scroll || k == 0 {
		heat = append(heat, "Scroll tips worn or galled, discharge end discoloured.")
	}
	return []Sign{
		{"Oil loss", "dewgap has no input for oil level or oil pressure", []string{
			"All bearings evenly scored and little oil in the sump.",
			"Oil found elsewhere: low points of suction lines, traps, coils, an accumulator. Short runs, failed defrosts and low load keep it there.",
		}},
		{"Overheating", hot + "; " + countWords(len(r.HighSuperheat), "event") + " of high superheat", heat},
		{"Electrical", "dewgap has no input for voltage and none that is kept for current", []string{
			"Evenly burnt windings: overload. Two of three phases: a phase was missing. Start winding only: start gear.",
		}},
	}
}

// limits lists what the record cannot show.
func (r *Report) limits(in *Input) []string {
	var list []string
	add := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	if r.Since != nil {
		add("Events that ended before %s are left out. One that was open then is counted whole.", r.View.Stamp(*r.Since))
	}
	r.ledgerLimits(add)
	if w := r.Recorded; w == nil {
		add("There is no recording: plots, the oil sump, the discharge, and running hours by month are missing.")
	} else {
		add("Recordings cover %s to %s. Gaps in them: %s. Phase not known: %s.", r.View.Stamp(w.From), r.View.Stamp(w.To), span(w.GapSeconds), span(w.UnknownSeconds))
		if w.SumpSeconds == 0 {
			add("No oil sump temperature: dilution of the oil cannot be followed.")
		}
		if w.DischargeSeconds == 0 {
			add("No discharge temperature: how wet the gas was, and overheating, cannot be followed.")
		}
	}
	if n := len(r.Doubts); n > 0 {
		add("%s. Superheat is not judged while its inputs are in doubt.", countWords(n, "time")+" a sensor was in doubt or delivered nothing, "+span(r.doubtSeconds())+" in all")
	}
	if n := len(r.Withdrawn); n > 0 {
		add("%s proved false by a doubt of its inputs. They are listed and are no part of the exposure.", countWords(n, "event"))
	}
	open := 0
	for _, ev := range r.Floodbacks {
		if ev.Closed == nil {
			open++
		}
	}
	if open > 0 {
		add("%s still open: figures are those of the last entry in the journal, at most some minutes old.", countWords(open, "floodback"))
	}
	add("Liquid that comes and goes between two readings, and what happened before dewgap was installed or while it was off.")
	add("Which machine stood at this place: a replaced compressor has the same name here. Compare with the work log.")
	add("A contact sensor on a cold pipe reads high, never low: the true superheat is at most what is shown.")
	return append(list, in.Remarks...)
}

func (r *Report) ledgerLimits(add func(string, ...any)) {
	t := r.Ledger
	if t == nil {
		add("There is no exposure ledger: running hours and starts are those of recordings alone.")
		return
	}
	if r.Replayed {
		add("There is no journal: events and totals are what a replay of the recordings shows, and what people did is missing.")
	} else {
		add("The ledger counts from %s to %s, whatever --since is.", r.View.Stamp(t.Since), r.View.Stamp(*r.LedgerAt))
	}
	watched := 0.0
	for _, s := range t.PhaseSeconds {
		watched += s
	}
	// Running time can be carried over from a ledger of old, which had no phases.
	if total := r.LedgerAt.Sub(t.Since).Seconds(); watched > 0 && total-watched >= 1 {
		add("For %s of that nobody watched, and for %s more the phase was not known.", span(total-watched), span(t.PhaseSeconds[frame.Unknown.String()]))
	}
	var opened uint64
	for _, n := range t.Events {
		if n.Kind == "floodback" {
			opened += n.Opened
		}
	}
	held := uint64(len(r.Floodbacks))
	for _, ev := range r.Withdrawn {
		if ev.Kind == "floodback" {
			held++
		}
	}
	if r.Since == nil && held < opened {
		add("The ledger counts %d floodbacks and the journal holds %d: older ones were let go, and their exposure is in the ledger's figures alone.", opened, held)
	}
}

// doubtSeconds is the time in which at least one input was in doubt.
func (r *Report) doubtSeconds() float64 {
	var end time.Time
	total := time.Duration(0)
	for _, ev := range r.Doubts { // in order of opening
		to := r.lastKnown(&ev)
		from := ev.Opened
		if from.Before(end) {
			from = end
		}
		if to.After(from) {
			total += to.Sub(from)
			end = to
		}
	}
	return total.Seconds()
}

// lastKnown is when ev closed, or the newest instant that anything is known of.
func (r *Report) lastKnown(ev *alert.Event) time.Time {
	switch {
	case ev.Closed != nil:
		return *ev.Closed
	case r.LedgerAt != nil:
		return *r.LedgerAt
	case r.Recorded != nil:
		return r.Recorded.To
	}
	return ev.Opened
}

// KindWords writes a kind of compressor for people.
func KindWords(kind string) string {
	switch kind {
	case "scroll":
		return "scroll"
	case "air_cooled_semi_hermetic":
		return "air-cooled semi-hermetic"
	case "refrigerant_cooled_semi_hermetic":
		return "refrigerant-cooled semi-hermetic"
	}
	return "kind not stated"
}

func countWords(n int, what string) string {
	switch n {
	case 0:
		return "no " + what
	case 1:
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func span(seconds float64) string { return units.Span(time.Duration(seconds * float64(time.Second))) }
