package commissioning

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/config"
)

// Limits that are no criteria of their own. Common practice, no source.
const (
	maxWetStart     = 30.0  // s of gas at dew in phase start
	maxSuspect      = 30.0  // s of suspect superheat
	minAfterRestart = 300.0 // s that a compressor must run after the restart to be a ranAfter of it
)

// judge turns a track into verdicts.
type judge struct {
	track  *Track
	events []alert.Event
	rules  config.Commissioning
	view   View
	words  evidence.Renderer
}

// Judge returns the record of a whole track. events are those that analysis
// raised on the way; view is how text is written. The caller fills
// in the files and the version.
func Judge(t *Track, events []alert.Event, rules config.Commissioning, view View) Record {
	j := judge{t, events, rules, view, evidence.Renderer{System: view.System, Atmosphere: t.site.Atmosphere, Pressure: view.Pressure}}
	r := Record{
		Format: Format, Site: t.site.Name, Rows: len(t.at), View: view,
		Criteria: rulesOf(rules, view), Circuits: []Circuit{}, Cycles: []Cycle{},
	}
	if len(t.at) > 0 {
		r.From, r.To = instant(t.at[0]), instant(t.at[len(t.at)-1])
	}
	for i := range t.site.Groups {
		r.Groups = append(r.Groups, j.suctionGroup(i))
	}
	for i := range t.machines {
		r.Sensors = append(r.Sensors, t.sensors(&t.machines[i]))
	}
	for _, c := range t.cycles(rules.Watched) {
		r.Cycles = append(r.Cycles, j.cycle(c))
	}
	for i := range t.circuits {
		r.Circuits = append(r.Circuits, j.circuit(i, r.Cycles))
	}
	r.sumUp()
	return r
}

// sensors puts a compressor's budget into the record.
func (t *Track) sensors(m *machineTrack) Sensors {
	s := Sensors{Group: t.site.Groups[m.group].Name, Compressor: m.name, Parts: []Part{}}
	for _, p := range m.budget.Parts {
		s.Expanded = figure(float64(m.budget.Expanded), 10)
		if share := math.Round(1000*p.Share) / 1000; share > 0 {
			s.Parts = append(s.Parts, Part{p.Name, share, p.Assumed})
		}
	}
	return s
}

// sumUp makes the verdict on all from its circuits and groups.
func (r *Record) sumUp() {
	r.Verdict, r.Reasons = Pass, []string{}
	if len(r.Cycles) == 0 {
		r.Verdict = NotJudged
		r.Reasons = append(r.Reasons, "no defrost was found in the recording: there is nothing to sign off")
		return
	}
	for _, c := range r.Circuits {
		r.Verdict = worse(r.Verdict, c.Verdict)
		if len(c.Reasons) > 0 {
			r.Reasons = append(r.Reasons, fmt.Sprintf("%s.%s: %s", c.Group, c.Name, c.Reasons[0]))
		}
	}
	for _, g := range r.Groups {
		switch g.Equalised.Outcome {
		case Remark:
			r.Verdict = worse(r.Verdict, PassRemarks)
			r.Reasons = append(r.Reasons, g.Name+": "+g.Equalised.Text)
		case NotMet:
			r.Verdict = worse(r.Verdict, Fail)
			r.Reasons = append(r.Reasons, g.Name+": "+g.Equalised.Text)
		}
	}
}

// circuit sums up the cycles of one circuit: so many must pass in a row, up to
// the last one. A cycle that the recording cuts off counts neither way; one
// that cannot be judged for another reason breaks the row.
func (j *judge) circuit(i int, cycles []Cycle) Circuit {
	k := &j.track.circuits[i]
	c := Circuit{
		Group: j.track.site.Groups[k.group].Name, Name: k.name, Defrost: defrostName(k.kind),
		Needed: j.rules.Passes, Reasons: []string{},
	}
	failed, whole, remarks := 0, 0, false
	blamed, blamedBefore := 0, 0 // since its last passes in a row began, and before
	var disturbed []string
	for n := len(cycles) - 1; n >= 0; n-- {
		x := &cycles[n]
		switch {
		case x.Group != c.Group || x.DisturbedBy != c.Name:
		case c.Passed < c.Needed:
			blamed++
		default:
			blamedBefore++
		}
		if x.Group != c.Group || x.Circuit != c.Name {
			continue
		}
		c.Cycles++
		switch {
		case x.Verdict == Fail:
			failed++
			whole++
		case x.Cut:
		default:
			whole++
			if x.DisturbedBy != "" {
				disturbed = append(disturbed, x.DisturbedBy)
			}
			if c.Passed == whole-1 && (x.Verdict == Pass || x.Verdict == PassRemarks) {
				c.Passed++
				remarks = remarks || c.Passed <= c.Needed && x.Verdict == PassRemarks
			}
		}
	}
	switch {
	case blamed > 0:
		c.Verdict = Fail
		c.Reasons = append(c.Reasons, fmt.Sprintf("its liquid failed %s of other circuits, most likely", plural(blamed, "cycle")))
		if failed > 0 {
			c.Reasons = append(c.Reasons, fmt.Sprintf("%d of its %d cycles failed", failed, c.Cycles))
		}
	case c.Passed >= c.Needed && failed > 0:
		c.Verdict = PassRemarks
		c.Reasons = append(c.Reasons, fmt.Sprintf("%d of its %d cycles failed before: write down what was changed since", failed, c.Cycles))
	case c.Passed >= c.Needed && blamedBefore > 0:
		c.Verdict = PassRemarks
		c.Reasons = append(c.Reasons, fmt.Sprintf("its liquid failed %s of other circuits before, most likely: write down what was changed since", plural(blamedBefore, "cycle")))
	case c.Passed >= c.Needed && remarks:
		c.Verdict = PassRemarks
	case c.Passed >= c.Needed:
		c.Verdict = Pass
	case failed > 0:
		c.Verdict = Fail
		c.Reasons = append(c.Reasons, fmt.Sprintf("%d of its %d cycles failed", failed, c.Cycles))
	case c.Cycles == 0:
		c.Verdict = NotJudged
		c.Reasons = append(c.Reasons, "no defrost in the recording")
	case len(disturbed) > 0:
		c.Verdict = NotJudged
		slices.Sort(disturbed)
		c.Reasons = append(c.Reasons, fmt.Sprintf("disturbed by %s in %s: judge it again once that is mended", strings.Join(slices.Compact(disturbed), " and "), plural(len(disturbed), "cycle")))
	default:
		c.Verdict = NotJudged
		c.Reasons = append(c.Reasons, fmt.Sprintf("%d passed in a row; %d are asked for", c.Passed, c.Needed))
	}
	return c
}

// cycle judges one defrost with its pulldown.
func (j *judge) cycle(c cycle) Cycle {
	t, k := j.track, &j.track.circuits[c.circuit]
	out := Cycle{
		Group: t.site.Groups[k.group].Name, Circuit: k.name, Defrost: defrostName(k.kind), Number: c.number,
		Cut: c.cut, Stages: t.stages(c), Together: j.together(c), Liquid: []Likely{}, Causes: []Likely{}, Next: []cause.CheckText{},
	}
	out.Checks = []Check{j.recovered(c, out.Stages), j.termination(c, out.Stages), j.plateau(c, out.Stages)}
	var found findings
	found.take("", out.Checks)
	ranAfter, steady := false, 0.0
	for i := range t.machines {
		if t.machines[i].group != k.group {
			continue
		}
		m, of, ran := j.compressor(&t.machines[i], c)
		out.Compressors = append(out.Compressors, m)
		ranAfter = ranAfter || ran
		steady = max(steady, m.Steady)
		for _, f := range of {
			found.add(f.verdict, m.Name+": "+f.why)
		}
	}
	switch {
	case c.cut:
		why := c.why
		if c.gap != 0 {
			why += " from " + j.view.Clock(instant(c.gap))
		}
		found.add(NotJudged, why)
	case !ranAfter:
		found.add(NotJudged, fmt.Sprintf("no compressor with a known superheat ran for %s after the restart", length(minAfterRestart)))
	}
	if want := j.rules.Steady.Seconds(); steady < 0.99*want {
		found.add(NotJudged, fmt.Sprintf("%s of steady running next to the cycle; %s is asked for", length(steady), length(want)))
	}
	out.Verdict, out.Reasons = found.sumUp()
	if out.Verdict == Fail {
		j.attribute(&out, c)
		j.disturbed(&out, c)
	}
	out.Found = j.foundIn(c, out.Group)
	j.trace(&out, c)
	return out
}

// foundIn lists what somebody found for the events of a group in a cycle.
func (j *judge) foundIn(c cycle, group string) (found []OnSite) {
	first, last := instant(j.track.at[c.from]), instant(j.track.at[c.to])
	for _, ev := range j.events {
		if ev.Found != nil && ev.Group == group && !ev.Began.After(last) && (ev.Closed == nil || !ev.Closed.Before(first)) {
			found = append(found, OnSite{ev.ID, *ev.Found})
		}
	}
	return found
}

// together lists the other circuits of the group that came back within five
// minutes of this one.
func (j *judge) together(c cycle) []string {
	names := []string{}
	if c.span.Resumed == 0 {
		return names
	}
	for i := range j.track.circuits {
		other := &j.track.circuits[i]
		if i == c.circuit || other.group != j.track.circuits[c.circuit].group {
			continue
		}
		if slices.ContainsFunc(other.cycles, func(s span) bool {
			return s.Resumed != 0 && time.Duration(s.Resumed-c.span.Resumed).Abs() <= together
		}) {
			names = append(names, other.name)
		}
	}
	return names
}

// Select leaves only the circuits named GROUP.CIRCUIT in the record; none named
// keeps all.
func (r *Record) Select(names []string) error {
	if len(names) == 0 {
		return nil
	}
	var have []string
	for _, c := range r.Circuits {
		have = append(have, c.Group+"."+c.Name)
	}
	for _, name := range names {
		if !slices.Contains(have, name) {
			return fmt.Errorf("no circuit %q; there are %s", name, strings.Join(have, ", "))
		}
	}
	other := func(group, circuit string) bool { return !slices.Contains(names, group+"."+circuit) }
	r.Circuits = slices.DeleteFunc(r.Circuits, func(c Circuit) bool { return other(c.Group, c.Name) })
	r.Cycles = slices.DeleteFunc(r.Cycles, func(c Cycle) bool { return other(c.Group, c.Circuit) })
	unnamed := func(group string) bool {
		return !slices.ContainsFunc(r.Circuits, func(c Circuit) bool { return c.Group == group })
	}
	r.Groups = slices.DeleteFunc(r.Groups, func(g Group) bool { return unnamed(g.Name) })
	r.Sensors = slices.DeleteFunc(r.Sensors, func(s Sensors) bool { return unnamed(s.Group) })
	r.sumUp()
	return nil
}
