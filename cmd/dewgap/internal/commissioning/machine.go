package commissioning

import (
	"fmt"
	"math"
	"slices"

	"dewgap/alert"
)

// finding is one reason for a verdict.
type finding struct {
	verdict Verdict
	why     string
}

type findings []finding

func (f *findings) add(v Verdict, why string) { *f = append(*f, finding{v, why}) }

// take adds the checks that were not simply met.
func (f *findings) take(of string, checks []Check) {
	for _, c := range checks {
		if v := c.verdict(); v != Pass {
			f.add(v, of+c.Text)
		}
	}
}

// sumUp returns the worst verdict, and all reasons, the worst first.
func (f findings) sumUp() (Verdict, []string) {
	sorted := slices.Clone(f)
	slices.SortStableFunc(sorted, func(a, b finding) int { return ranks[b.verdict] - ranks[a.verdict] })
	reasons := make([]string, len(sorted))
	verdict := Pass
	for i, x := range sorted {
		verdict = worse(verdict, x.verdict)
		reasons[i] = x.why
	}
	return verdict, reasons
}

// compressor judges one compressor in a cycle. It returns what counts for the
// cycle's verdict, and whether the compressor ran long enough after the restart
// with a known superheat.
func (j *judge) compressor(m *machineTrack, c cycle) (out Machine, found findings, ranAfter bool) {
	t := j.track
	f := t.figures(m, c, j.rules)
	s := t.steady(m, c, j.rules.Steady.Seconds())
	out = Machine{
		Name: m.name, Checks: []Check{},
		Running: math.Round(f.running), Known: math.Round(f.known), Suspect: math.Round(f.suspect),
		Lowest: figure(f.lowest, 10), LowestFloor: figure(f.lowestFloor, 10), Uncertainty: figure(f.uncertainty, 10), Margin: figure(f.margin, 10),
		Below: math.Round(f.below), Dose: math.Round(f.dose), Longest: math.Round(f.longest), Steady: math.Round(s.seconds),
	}
	if out.Lowest != nil {
		at := instant(t.at[f.lowestRow])
		out.LowestAt, out.LowestPhase = &at, m.phase[f.lowestRow].String()
	}
	switch why, evidence := j.unreliable(m, c, &f); {
	case f.running+f.unknown+f.started == 0:
		// A compressor that stood shows nothing of the cycle.
		out.Verdict, out.Reasons = NotJudged, []string{"did not run in this cycle"}
		return out, nil, false
	case f.running+f.unknown == 0:
		out.Checks = []Check{j.start(m, c, &f)}
		found.take("", out.Checks)
		out.Verdict, out.Reasons = found.sumUp()
		if out.Verdict != Fail {
			out.Verdict, out.Reasons = NotJudged, append(out.Reasons, "ran only in the first 120 s after a start")
		}
		return out, found, false
	case why != "":
		found.add(NotJudged, why)
		if !evidence {
			out.Verdict, out.Reasons = found.sumUp()
			return out, found, false
		}
	}
	out.Checks = slices.Concat(j.dips(m, c, &f), j.steadyRunning(m, &s), j.furtherEvidence(m, &f))
	found.take("", out.Checks)
	out.Verdict, out.Reasons = found.sumUp()
	if c.cut && out.Verdict != Fail {
		out.Verdict = NotJudged // the cycle gives the reason
	}
	return out, found, f.after >= minAfterRestart
}

// unreliable returns why the readings of a compressor are not enough to pass it;
// nothing when they are. evidence reports whether they can fail it: not with a
// sensor fault, unless analysis raised a floodback all the same, which it does
// only where the fault does not explain it.
func (j *judge) unreliable(m *machineTrack, c cycle, f *figures) (why string, evidence bool) {
	for _, ev := range j.overlapping("sensor_fault", c.from, c.to) {
		if (j.concerns(ev, m) || ev.Group == j.group(m) && ev.Compressor == "") && measures(ev.Input) {
			why = ev.Input + " has a sensor fault"
			if len(ev.Evidence) > 0 {
				why = "a sensor fault: " + j.words.Text(ev.Evidence[0])
			}
			return why, j.floods(m, c)
		}
	}
	switch share := f.known / (f.running + f.unknown); {
	case f.suspect > maxSuspect:
		return "its superheat was suspect for " + length(f.suspect), j.floods(m, c)
	case share < j.rules.Known:
		return fmt.Sprintf("its superheat was known for %s of the running; %s is asked for", percent(share), percent(j.rules.Known)), f.known > 0
	}
	return "", true
}

// floods reports whether analysis raised a floodback of the compressor in the cycle.
func (j *judge) floods(m *machineTrack, c cycle) bool {
	return slices.ContainsFunc(j.overlapping("floodback", c.from, c.to), func(ev alert.Event) bool { return j.concerns(ev, m) })
}

// concerns reports whether an event is of this compressor.
func (j *judge) concerns(ev alert.Event, m *machineTrack) bool {
	return ev.Group == j.group(m) && ev.Compressor == m.name
}

// group is the name of a compressor's group.
func (j *judge) group(m *machineTrack) string { return j.track.site.Groups[m.group].Name }
