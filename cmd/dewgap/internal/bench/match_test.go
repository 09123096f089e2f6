package bench

import (
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
)

// early is how long before the truth's episode an event may have begun.
const early = 30 * time.Second

// tooLate is the delay after the hold time that is worth a note.
const tooLate = time.Minute

// floodback matches the events of machine k with its true episodes.
func (t *Tally) floodback(c *Comparison, k int, events []alert.Event) {
	m := &c.Machines[k]
	eps := c.episodes(k)
	misled := func(from, to time.Time) bool { return m.Misled != nil && (m.Misled(from) || m.Misled(to)) }
	for i := range events {
		ev := &events[i]
		if misled(ev.Began, c.closed(ev)) {
			continue
		}
		ok := slices.ContainsFunc(eps, func(e episode) bool {
			return !e.from.After(c.closed(ev)) && !e.to.Before(ev.Began.Add(-early))
		})
		t.events.count(ok)
		if !ok {
			if c.Healthy {
				t.healthyFalse++
			}
			t.note("%s %s.%s: false event %s, %s in %s, margin down to %.1f K; %v", c.Name, m.Group, m.Name, span(ev.Began, c.closed(ev)), ev.Severity, ev.Phase, known(ev.MinMarginK), first(evidence.Renderer{}.Texts(ev.Evidence)))
		}
	}
	for _, e := range eps {
		if !e.lasts || misled(e.from, e.to) {
			continue
		}
		var hits []*alert.Event
		for i := range events {
			if !events[i].Began.After(e.to) && !c.closed(&events[i]).Before(e.from) {
				hits = append(hits, &events[i])
			}
		}
		t.episodes.count(len(hits) > 0)
		if len(hits) == 0 {
			t.note("%s %s.%s: missed episode %s, liquid %.3f", c.Name, m.Group, m.Name, span(e.from, e.to), e.liquid)
			continue
		}
		t.split.count(len(hits) > 1)
		hit := hits[0]
		late := hit.Opened.Sub(e.reached)
		t.delays = append(t.delays, late.Seconds())
		if late > tooLate {
			t.note("%s %s.%s: late by %s at %s, opened in %s; %v", c.Name, m.Group, m.Name, late, span(e.from, e.to), hit.Phase, first(evidence.Renderer{}.Texts(hit.Evidence)))
		}
		t.grade(c, m, &e, hit)
		t.attribute(c, m, hit)
	}
}

var severities = map[string]floodback.Severity{"risk": floodback.Risk, "minor": floodback.Minor, "major": floodback.Major}

func (t *Tally) grade(c *Comparison, m *Machine, e *episode, ev *alert.Event) {
	want, found := e.severity(), severities[ev.Severity]
	t.severity[want][found]++
	t.severe.count(want == found)
	if m.Discharge {
		t.severeDis.count(want == found)
	}
	if want != found {
		t.note("%s %s.%s: severity %s found %s at %s, liquid %.3f, discharge %v; %v", c.Name, m.Group, m.Name, want, found, span(e.from, e.to), e.liquid, m.Discharge, evidence.Renderer{}.Texts(ev.Evidence))
	}
}

// sameCause folds the causes that stand for each other: an iced coil and an
// incomplete defrost, an oversized and a hunting valve.
func sameCause(a, b string) bool {
	fold := func(cause string) string {
		switch cause {
		case "defrost_incomplete":
			return "iced_coil"
		case "valve_hunting":
			return "valve_oversized"
		}
		return cause
	}
	return fold(a) == fold(b)
}

// likeliestFamily returns the family to which the causes of an event give most.
func likeliestFamily(causes []alert.Cause) cause.Family {
	sum := map[cause.Family]float64{}
	best := cause.Family("")
	for _, c := range causes {
		f := cause.FamilyOf(c.Cause)
		sum[f] += c.Score
		if sum[f] > sum[best] {
			best = f
		}
	}
	return best
}

func (t *Tally) attribute(c *Comparison, m *Machine, ev *alert.Event) {
	f := &c.Fault
	if len(f.Causes) > 0 {
		at := slices.IndexFunc(ev.Causes, func(x alert.Cause) bool {
			return slices.ContainsFunc(f.Causes, func(w string) bool { return sameCause(w, x.Cause) })
		})
		t.first.count(at == 0)
		t.top.count(at >= 0 && at < 3)
		t.family.count(len(ev.Causes) > 0 && slices.ContainsFunc(f.Causes, func(w string) bool { return cause.FamilyOf(w) == likeliestFamily(ev.Causes) }))
		if at != 0 {
			t.note("%s %s.%s: cause %v found %v at %s in %s", c.Name, m.Group, m.Name, f.Causes, causes(ev), ev.Began.Format(clock), ev.Phase)
		}
	}
	if f.Circuit != "" {
		ok := len(ev.Circuits) > 0 && ev.Circuits[0].Name == f.Circuit
		t.placed.count(ok)
		if !ok {
			t.note("%s %s.%s: circuit %s found %v at %s in %s", c.Name, m.Group, m.Name, f.Circuit, circuits(ev), ev.Began.Format(clock), ev.Phase)
		}
	}
}

// flooded matches flooded starts of machine k.
func (t *Tally) flooded(c *Comparison, k int, events []alert.Event) {
	m := &c.Machines[k]
	starts := c.starts(k)
	near := func(ev alert.Event, s time.Time) bool {
		return ev.Began.After(s.Add(-time.Minute)) && ev.Began.Before(s.Add(10*time.Minute))
	}
	for _, s := range starts {
		ok := slices.ContainsFunc(events, func(ev alert.Event) bool { return near(ev, s) })
		t.starts.count(ok)
		if !ok {
			t.note("%s %s.%s: missed flooded start %s", c.Name, m.Group, m.Name, s.Format(clock))
		}
	}
	for _, ev := range events {
		if !slices.ContainsFunc(starts, func(s time.Time) bool { return near(ev, s) }) {
			t.startFalse++
			t.note("%s %s.%s: false flooded start %s; %v", c.Name, m.Group, m.Name, ev.Opened.Format(clock), evidence.Renderer{}.Texts(ev.Evidence))
		}
	}
}

// sensors matches sensor faults. An event of another input counts against it
// as well: blaming the wrong sensor sends somebody up the wrong ladder.
func (t *Tally) sensors(c *Comparison, events []alert.Event) {
	hit := false
	for _, ev := range events {
		switch {
		case ev.Kind != "sensor_fault":
		case c.Fault.Input != "" && ev.Input == c.Fault.Input && !c.closed(&ev).Before(c.Fault.From):
			hit = true
		default:
			t.faultFalse++
			t.note("%s: false sensor fault of %s at %s; %v", c.Name, ev.Input, ev.Opened.Format(clock), evidence.Renderer{}.Texts(ev.Evidence))
		}
	}
	if c.Fault.Input != "" {
		t.faults.count(hit)
		if !hit {
			t.note("%s: missed sensor fault of %s", c.Name, c.Fault.Input)
		}
	}
}
