package commissioning

import (
	"fmt"
	"slices"

	"dewgap/alert"
)

// attribute names the likely circuits and causes of a failed cycle: those of the
// floodback event of its failed compressors that was longest below the floor.
func (j *judge) attribute(out *Cycle, c cycle) {
	var worst *alert.Event
	for _, ev := range j.overlapping("floodback", c.from, c.to) {
		for i := range out.Compressors {
			m := &out.Compressors[i]
			if m.Verdict == Fail && ev.Group == out.Group && ev.Compressor == m.Name && (worst == nil || ev.SecondsBelow > worst.SecondsBelow) {
				worst = &ev
			}
		}
	}
	if worst == nil {
		out.Next = next(nil, j.words)
		return
	}
	for _, s := range worst.Circuits[:min(3, len(worst.Circuits))] {
		out.Liquid = append(out.Liquid, Likely{s.Name, s.Score, append([]string{}, j.words.Texts(s.Why)...)})
	}
	for _, s := range worst.Causes[:min(3, len(worst.Causes))] {
		out.Causes = append(out.Causes, Likely{s.Cause, s.Score, append([]string{}, j.words.Texts(s.Why)...)})
	}
	out.Next = next(out.Causes, j.words)
}

// blame is the score of a circuit from which it, not the one that defrosted, is
// held responsible for liquid: nine in ten are right from there on plants that
// nobody tuned to.
const blame = 0.6

// disturbed clears the circuit of a failed cycle whose own criteria were met where
// all floodback of the failed compressors comes most likely from one other
// circuit. The cycle is then no pass: what it would have done alone is not known.
func (j *judge) disturbed(out *Cycle, c cycle) {
	for i := range out.Checks {
		if out.Checks[i].verdict() == Fail {
			return
		}
	}
	other := ""
	for i := range out.Compressors {
		m := &out.Compressors[i]
		if m.Verdict != Fail {
			continue
		}
		seen := false
		for _, ev := range j.overlapping("floodback", c.from, c.to) {
			if ev.Group != out.Group || ev.Compressor != m.Name {
				continue
			}
			seen = true
			top := alert.Score{}
			if len(ev.Circuits) > 0 {
				top = ev.Circuits[0]
			}
			if top.Name == out.Circuit || top.Score < blame || other != "" && top.Name != other {
				return
			}
			other = top.Name
		}
		if !seen {
			return // nothing says whose liquid it was
		}
	}
	if other == "" {
		return
	}
	out.DisturbedBy, out.Verdict = other, NotJudged
	out.Reasons = slices.Insert(out.Reasons, 0, fmt.Sprintf("disturbed by %s: the liquid comes most likely from there, not from the circuit that defrosted", other))
}
