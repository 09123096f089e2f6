package report

import (
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
	x, y := lowestIn(a), lowestIn(b)
	return x != nil && (y == nil || *x.Margin < *y.Margin)
}

// lowestOf returns the compressor with the least known margin in the cycles that
// of takes; nil where none is known.
func lowestOf(cycles []commissioning.Cycle, of func(c *commissioning.Cycle, m *commissioning.Machine) bool) *commissioning.Machine {
	var low *commissioning.Machine
	for i := range cycles {
		for k := range cycles[i].Compressors {
			m := &cycles[i].Compressors[k]
			if m.Margin != nil && m.Lowest != nil && m.LowestAt != nil && of(&cycles[i], m) && (low == nil || *m.Margin < *low.Margin) {
				low = m
			}
		}
	}
	return low
}

// lowestIn returns it of one cycle.
func lowestIn(c *commissioning.Cycle) *commissioning.Machine {
	return lowestOf([]commissioning.Cycle{*c}, func(*commissioning.Cycle, *commissioning.Machine) bool { return true })
}

// LowestIn writes the least superheat of the compressors while a circuit went
// through its cycles.
func (p page) LowestIn(group, circuit string) string {
	m := lowestOf(p.Cycles, func(c *commissioning.Cycle, _ *commissioning.Machine) bool {
		return c.Group == group && c.Circuit == circuit
	})
	if m == nil {
		return "not known"
	}
	return m.Name + ": " + p.when(m)
}

// LowestAt writes the least superheat of a compressor in all cycles of its group.
func (p page) LowestAt(group, compressor string) string {
	return p.when(lowestOf(p.Cycles, func(c *commissioning.Cycle, m *commissioning.Machine) bool {
		return c.Group == group && m.Name == compressor
	}))
}

// LowestOf writes that of one cycle.
func (p page) LowestOf(c commissioning.Cycle) string {
	m := lowestIn(&c)
	if m == nil {
		return "not known"
	}
	return m.Name + ": " + p.lowest(m)
}

// when writes the least superheat of a compressor and its time.
func (p page) when(m *commissioning.Machine) string {
	if m == nil {
		return "not known"
	}
	return p.lowest(m) + ", " + p.view.Stamp(*m.LowestAt)
}
