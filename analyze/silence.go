package analyze

import (
	"fmt"
	"slices"
	"strings"

	"dewgap/analyze/evidence"
	"dewgap/analyze/floodback"
	"dewgap/analyze/reading"
)

// silence is all inputs of one group that one source delivers. Where all of them
// are silent, that is one finding and not one for each.
type silence struct {
	inputs []int // indices of points
	named  int   // the input that the finding is about
	what   evidence.Item
	found  []evidence.Item // of the present silence; nil while there is none
	why    *evidence.Item  // in found
}

// mostSilent is how many inputs the evidence lists.
const mostSilent = 30

// silences returns the sources of all groups that deliver more than one input.
func silences(points []reading.Point) []silence {
	var all []silence
	of := map[[2]string]int{}
	for i, p := range points {
		key := [2]string{p.Group, p.Source}
		n, known := of[key]
		if !known {
			n = len(all)
			of[key] = n
			all = append(all, silence{named: i})
		}
		s := &all[n]
		s.inputs = append(s.inputs, i)
		if p.Role == reading.SuctionPressure && points[s.named].Role != reading.SuctionPressure {
			s.named = i // what matters most
		}
	}
	all = slices.DeleteFunc(all, func(s silence) bool { return len(s.inputs) < 2 })
	for i := range all {
		all[i].describe(points)
	}
	return all
}

func (s *silence) describe(points []reading.Point) {
	var paths []string
	for _, i := range s.inputs[:min(len(s.inputs), mostSilent)] {
		paths = append(paths, points[i].Path)
	}
	if n := len(s.inputs) - mostSilent; n > 0 {
		paths = append(paths, fmt.Sprintf("%d more", n))
	}
	p := &points[s.named]
	values := []evidence.Value{evidence.Name("group", p.Group), evidence.Name("inputs", strings.Join(paths, ", "))}
	if p.Source == "" {
		s.what = evidence.New(evidence.GroupSilent, values...)
		return
	}
	s.what = evidence.New(evidence.SourceSilent, append(values, evidence.Name("source", p.Source))...)
}

// isSilent reports whether an input has no present value.
func isSilent(q reading.Quality) bool { return q == reading.Missing || q == reading.Stale }

// joinSilences puts one finding in the place of those of all inputs of a source
// that is silent.
func (e *Engine) joinSilences() {
	for i := range e.silences {
		s := &e.silences[i]
		if slices.ContainsFunc(s.inputs, func(p int) bool { return !isSilent(e.result.Inputs[p].Quality) }) {
			s.found = nil
			continue
		}
		why := e.result.Inputs[s.named].Reason
		if s.found == nil || why != s.why {
			s.why, s.found = why, []evidence.Item{s.what}
			if why != nil {
				s.found = append(s.found, *why)
			}
		}
		kept := e.result.Findings[:0]
		joined := floodback.Finding{Kind: floodback.NoData, Compressor: -1, Input: s.named, Verdict: floodback.Present, Severity: floodback.Warning, Evidence: s.found}
		for _, f := range e.result.Findings {
			if f.Kind == floodback.NoData && slices.Contains(s.inputs, f.Input) {
				joined.Hold, joined.ClearHold = f.Hold, f.ClearHold
				continue
			}
			kept = append(kept, f)
		}
		e.result.Findings = append(kept, joined)
	}
}
