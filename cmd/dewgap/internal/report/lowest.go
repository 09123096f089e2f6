package report

import (
	"cmp"
	"slices"

	"dewgap/cmd/dewgap/internal/commissioning"
)

// sheetOf returns the indices of the cycles that get a sheet of their own, in the
// order of the record: of each circuit the one that says most against it. All of
// them would be a book that nobody reads before signing; JSON and text have them.
func sheetOf(cycles []commissioning.Cycle) []int {
	worst := map[string]int{}
	for i := range cycles {
		name := cycles[i].Group + "." + cycles[i].Circuit
		if k, seen := worst[name]; !seen || saysMore(&cycles[i], &cycles[k]) {
			worst[name] = i
		}
	}
	var list []int
	for _, i := range worst {
		list = append(list, i)
	}
	slices.Sort(list)
	return list
}

// saysMore reports whether a says more against its circuit than b: a worse
// verdict, of equal ones a whole cycle before one that is cut off, then the lower
// margin.
func saysMore(a, b *commissioning.Cycle) bool {
	if c := a.Verdict.Compare(b.Verdict); c != 0 {
		return c > 0
	}
	if a.Cut != b.Cut {
		return b.Cut
	}
	x, y := lowestOf(a), lowestOf(b)
	return x != nil && (y == nil || *x.Margin < *y.Margin)
}

// lowestOf returns the compressor with the least known margin in the cycles; nil
// where none is known.
func lowestOf(cycles ...*commissioning.Cycle) *commissioning.Machine {
	var low *commissioning.Machine
	for _, c := range cycles {
		for i := range c.Compressors {
			if m := &c.Compressors[i]; m.Margin != nil && m.Lowest != nil && m.LowestAt != nil && (low == nil || cmp.Less(*m.Margin, *low.Margin)) {
				low = m
			}
		}
	}
	return low
}

// lowestIn writes the least superheat of the compressors while a circuit went
// through its cycles.
func (w words) lowestIn(r *commissioning.Record, group, circuit string) string {
	var own []*commissioning.Cycle
	for i := range r.Cycles {
		if c := &r.Cycles[i]; c.Group == group && c.Circuit == circuit {
			own = append(own, c)
		}
	}
	m := lowestOf(own...)
	if m == nil {
		return "not known"
	}
	return m.Name + ": " + w.lowest(m) + ", " + w.view.Stamp(*m.LowestAt)
}

// lowestAt writes the least superheat of a compressor in all cycles of its group.
func (w words) lowestAt(r *commissioning.Record, group, compressor string) string {
	var low *commissioning.Machine
	for i := range r.Cycles {
		for k := range r.Cycles[i].Compressors {
			m := &r.Cycles[i].Compressors[k]
			if r.Cycles[i].Group == group && m.Name == compressor && m.Margin != nil && m.Lowest != nil && m.LowestAt != nil && (low == nil || *m.Margin < *low.Margin) {
				low = m
			}
		}
	}
	if low == nil {
		return "not known"
	}
	return w.lowest(low) + ", " + w.view.Stamp(*low.LowestAt)
}
