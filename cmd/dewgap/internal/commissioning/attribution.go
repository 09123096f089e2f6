package commissioning

import "dewgap/alert"

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
	if top := out.Liquid; len(top) > 0 && top[0].Name != out.Circuit && top[0].Score > 0.5 {
		out.Reasons = append(out.Reasons, "the liquid comes most likely from "+top[0].Name+", not from the circuit that defrosted")
	}
}
