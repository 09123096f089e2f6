package commissioning

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dewgap/alert"
	"dewgap/analyze/frame"
	"dewgap/config"
)

// check makes one outcome of a criterion. A failed one is a remark where the
// configuration says so.
func (j *judge) check(criterion string, met bool, measured, limit float64, unit, text string) Check {
	c := Check{Criterion: criterion, Outcome: Met, Measured: figure(measured, 1000), Limit: figure(limit, 1000), Unit: unit, Text: text}
	if !met {
		c.Outcome = NotMet
		if remarkOnly(j.rules, criterion) {
			c.Outcome = Remark
		}
	}
	return c
}

func remarkOnly(rules config.Commissioning, criterion string) bool {
	return slices.Contains(rules.RemarkOnly, criterion)
}

func notRecorded(criterion, text string) Check {
	return Check{Criterion: criterion, Outcome: NotRecorded, Text: text}
}

// verdict returns the verdict that the outcome of one criterion allows.
func (c Check) verdict() Verdict {
	switch c.Outcome {
	case NotMet:
		return Fail
	case CannotTell:
		return NotJudged
	case Remark:
		return PassRemarks
	}
	return Pass
}

func (j *judge) kelvin(d float64) string { return j.view.Difference(d) }

// recovered checks that the load is back in time.
func (j *judge) recovered(c cycle, s Stages) Check {
	const name = "recovered"
	k := &j.track.circuits[c.circuit]
	limit := j.rules.Recovered.Seconds()
	switch {
	case s.Pulldown == nil:
		return notRecorded(name, "the end of the pulldown is not in the recording")
	case !slices.ContainsFunc(k.air[c.from:c.to+1], known):
		return notRecorded(name, fmt.Sprintf("the circuit has no air temperature: its load cannot be compared, and its pulldown is taken as %s", Length(s.Pulldown)))
	}
	took := *s.Pulldown
	back := took <= limit && took < pulldownLimit(&j.track.site.Groups[k.group]).Seconds()
	text := fmt.Sprintf("load back within 10 %% after %s", length(took))
	if !back {
		text = fmt.Sprintf("load not back within 10 %% after %s; allowed %s", length(took), length(limit))
	}
	return j.check(name, back, took, limit, "s", text)
}

func (j *judge) termination(c cycle, s Stages) Check {
	const name = "termination"
	k := &j.track.circuits[c.circuit]
	if s.EndedAt == nil {
		return notRecorded(name, "what ended the defrost cannot be told from this recording")
	}
	at := fmt.Sprintf(" (coil outlet %s)", j.view.Temperature(*s.EndedAt))
	nothing := math.NaN()
	switch {
	case !k.pastMelting(*s.EndedAt):
		return j.check(name, false, nothing, nothing, "", "the defrost ended by time, with the coil not past melting"+at)
	case s.Termination == "time" && k.kind != frame.OffCycle:
		return j.check(name, false, nothing, nothing, "", "the defrost ended by the clock, as all of this circuit did"+at)
	case s.Termination == "temperature":
		return j.check(name, true, nothing, nothing, "", "the defrost ended by temperature"+at)
	}
	return j.check(name, true, nothing, nothing, "", "the coil was past melting when the defrost ended"+at)
}

func (j *judge) plateau(c cycle, s Stages) Check {
	const name = "plateau"
	k := &j.track.circuits[c.circuit]
	switch {
	case k.kind == frame.OffCycle:
		return notRecorded(name, "an off-cycle defrost warms too slowly to show a melting plateau")
	case !slices.ContainsFunc(k.coil[c.from:c.to+1], known):
		return notRecorded(name, "the circuit has no coil outlet temperature")
	case s.PlateauAt == nil:
		return notRecorded(name, "no melting plateau was seen: little ice, or the sensor does not sit where ice melts")
	}
	off := math.Abs(*s.PlateauAt)
	return j.check(name, off <= float64(j.rules.Plateau), off, float64(j.rules.Plateau), "K",
		fmt.Sprintf("at the melting plateau (%s) the coil's sensor read %s", Length(s.Plateau), j.view.Temperature(*s.PlateauAt)))
}

// dips makes the criteria of the superheat through defrost and pulldown.
func (j *judge) dips(m *machineTrack, c cycle, f *figures) []Check {
	allowed := j.rules.BelowFloor.Seconds()
	least := float64(j.rules.OverUncertainty)
	checks := []Check{
		j.check("floor", f.below <= allowed, f.below, allowed, "s",
			fmt.Sprintf("below the floor for %s, lowest margin %s; allowed %s", length(f.below), j.kelvin(tenth(f.margin)), length(allowed))),
		j.check("above_dew", f.above >= least, f.above, least, "K",
			fmt.Sprintf("lowest superheat %s ± %s; less its uncertainty at the worst %s, at least %s", j.kelvin(tenth(f.lowest)), j.kelvin(tenth(f.uncertainty)), j.kelvin(f.above), j.kelvin(least))),
		j.floodback(m, c),
		j.start(m, c, f),
		j.check("second_dip", f.dips <= 1, float64(f.dips), 1, "dips", plural(f.dips, "dip")+" below the floor"),
	}
	if math.IsNaN(f.above) {
		checks[1] = Check{Criterion: "above_dew", Outcome: CannotTell, Text: "the lowest superheat is not known"}
	}
	return checks
}

// floodback checks that analysis graded no floodback as minor or major. One of
// grade risk is judged by the floor alone.
func (j *judge) floodback(m *machineTrack, c cycle) Check {
	for _, ev := range j.overlapping("floodback", c.from, c.to) {
		if j.concerns(ev, m) && ev.Severity != "risk" {
			text := fmt.Sprintf("floodback %s from %s", ev.Severity, j.view.Clock(ev.Began))
			if ev.MinSuperheatK != nil && ev.MinMarginK != nil {
				text += fmt.Sprintf(", the event's lowest superheat %s, lowest margin %s", j.kelvin(*ev.MinSuperheatK), j.kelvin(*ev.MinMarginK))
			}
			if len(ev.Evidence) > 0 {
				text += ": " + j.words.Text(ev.Evidence[len(ev.Evidence)-1])
			}
			return j.check("floodback", false, math.NaN(), math.NaN(), "", text)
		}
	}
	for _, ev := range j.during("floodback", c.from, c.to) {
		if j.concerns(ev, m) && ev.Withdrawn != nil {
			return Check{Criterion: "floodback", Outcome: CannotTell, Text: fmt.Sprintf("floodback %s from %s was withdrawn: %s", ev.Severity, j.view.Clock(ev.Began), j.words.Text(*ev.Withdrawn))}
		}
	}
	return j.check("floodback", true, math.NaN(), math.NaN(), "", "no wet gas was found")
}

func (j *judge) start(m *machineTrack, during cycle, f *figures) Check {
	for _, ev := range j.overlapping("flooded_start", during.from, during.to) {
		if j.concerns(ev, m) {
			return j.check("start", false, f.startWet, maxWetStart, "s", strings.Join(append([]string{"flooded start at " + j.view.Clock(ev.Began)}, j.words.Texts(ev.Evidence)...), ": "))
		}
	}
	c := j.check("start", true, f.startWet, maxWetStart, "s",
		fmt.Sprintf("in the first 120 s after a start the line was at dew, within the uncertainty, for %s", length(f.startWet)))
	if f.startWet > maxWetStart {
		c.Outcome = Remark // the line lags too much to fail a start
	}
	return c
}

// steadyRunning makes the criteria of steady running.
func (j *judge) steadyRunning(m *machineTrack, s *steadyFigures) []Check {
	if s.seconds == 0 {
		return []Check{notRecorded("steady", "no steady running next to the cycle"), notRecorded("hunting", "no steady running next to the cycle"),
			notRecorded("uncertainty", "no steady running next to the cycle")}
	}
	above, share := 1-s.below/s.seconds, s.uncertainty/s.floor
	checks := []Check{
		j.check("steady", above >= j.rules.SteadyAbove, above, j.rules.SteadyAbove, "share",
			fmt.Sprintf("at or above the floor for %s of %s of steady running; at least %s", percent(above), length(s.seconds), percent(j.rules.SteadyAbove))),
		j.check("hunting", true, math.NaN(), math.NaN(), "", "no hunting in steady running"),
		j.check("uncertainty", share <= j.rules.Uncertainty, share, j.rules.Uncertainty, "share",
			fmt.Sprintf("uncertainty ± %s is %s of the floor of %s; at most %s", j.kelvin(s.uncertainty), percent(share), j.kelvin(s.floor), percent(j.rules.Uncertainty))),
	}
	for _, ev := range j.overlapping("hunting", s.from, s.to) {
		if j.concerns(ev, m) {
			text := "the superheat hunts"
			if len(ev.Evidence) > 0 {
				text = j.words.Text(ev.Evidence[0])
			}
			checks[1] = j.check("hunting", false, math.NaN(), math.NaN(), "", text)
		}
	}
	return checks
}

// furtherEvidence makes the criteria beside the superheat: discharge and oil sump.
func (j *judge) furtherEvidence(m *machineTrack, f *figures) []Check {
	discharge := notRecorded("discharge", "the machine's efficiency is not learned from this recording, or no discharge temperature is recorded")
	if f.learned && !math.IsNaN(f.shortfall) {
		discharge = j.discharge(f)
	}
	sump := notRecorded("sump", "no oil sump temperature is recorded")
	if !math.IsNaN(f.sump) {
		least := float64(j.rules.SumpOverDew)
		sump = j.check("sump", f.sump >= least, f.sump, least, "K", fmt.Sprintf("oil sump at its lowest %s above suction dew; at least %s", j.kelvin(f.sump), j.kelvin(least)))
	}
	return []Check{discharge, sump}
}

// discharge checks the superheat by the discharge temperature, which is slower
// than the line and does not depend on how the line's sensor is mounted.
func (j *judge) discharge(f *figures) Check {
	allowed := j.rules.BelowFloor.Seconds()
	implied := tenth(-f.shortfall)
	if implied < 0 {
		text := fmt.Sprintf("the discharge headed up to %s below dry gas at zero superheat, for %s by more than %s", j.kelvin(-implied), length(f.short), j.kelvin(float64(j.rules.Discharge)))
		return j.check("discharge", f.short <= allowed, f.short, allowed, "s", text)
	}
	c := j.check("discharge", true, f.short, allowed, "s", fmt.Sprintf("the discharge implies a superheat of %s at its lowest", j.kelvin(implied)))
	if implied < f.impliedFloor && implied < f.lowest-f.uncertainty {
		c.Outcome = Remark
		c.Text += fmt.Sprintf(", below the floor of %s, where the suction line showed no less than %s: its sensor may be slower than the gas", j.kelvin(f.impliedFloor), j.kelvin(tenth(f.lowest)))
	}
	return c
}

// overlapping returns the events of a kind that were on at some time of rows
// [from, to] and were not withdrawn.
func (j *judge) overlapping(kind string, from, to int) []alert.Event {
	return slices.DeleteFunc(j.during(kind, from, to), func(ev alert.Event) bool { return ev.Withdrawn != nil })
}

// during returns the same, those that were withdrawn included.
func (j *judge) during(kind string, from, to int) []alert.Event {
	first, last := instant(j.track.at[from]), instant(j.track.at[to])
	var found []alert.Event
	for _, ev := range j.events {
		if ev.Kind == kind && !ev.Began.After(last) && (ev.Closed == nil || !ev.Closed.Before(first)) {
			found = append(found, ev)
		}
	}
	return found
}

// measures reports whether an input enters the superheat.
func measures(path string) bool {
	return strings.HasSuffix(path, ".suction_pressure") || strings.HasSuffix(path, ".suction_temperature")
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
