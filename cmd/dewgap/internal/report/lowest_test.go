package report

import (
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
)

// A record of an invented plant says so where it is read, and on each page.
func TestSimulatedIsSaid(t *testing.T) {
	for _, simulated := range []bool{true, false} {
		r := drawn(units.SI)
		r.Simulated = simulated
		html, text, js := written(t, r)
		if strings.Contains(html, "Simulated: no real plant") != simulated || strings.Contains(text, "SIMULATED: NO REAL PLANT") != simulated || !strings.Contains(js, `"simulated": `+map[bool]string{true: "true", false: "false"}[simulated]) {
			t.Errorf("simulated %v is not what the record says", simulated)
		}
		if strings.Contains(html, `@bottom-center { content: "Simulated: no real plant";`) != simulated {
			t.Errorf("simulated %v: not what each sheet of paper says", simulated)
		}
	}
}

// Of each circuit the cycle with most against it gets a sheet.
func TestOneSheetOfEachCircuit(t *testing.T) {
	at := time.Date(2026, 5, 4, 2, 0, 0, 0, time.UTC)
	cycle := func(circuit string, v commissioning.Verdict, cut bool, margin float64) commissioning.Cycle {
		return commissioning.Cycle{Group: "mt", Circuit: circuit, Verdict: v, Cut: cut, Compressors: []commissioning.Machine{
			{Name: "c1", Lowest: ptr(9 + margin), Margin: ptr(margin), LowestAt: &at}, {Name: "c2"},
		}}
	}
	for _, c := range []struct {
		name   string
		cycles []commissioning.Cycle
		want   []int
	}{
		{"none", nil, nil},
		{"two circuits", []commissioning.Cycle{cycle("a", commissioning.Pass, false, 3), cycle("b", commissioning.Pass, false, 3)}, []int{0, 1}},
		{"the lowest of equals", []commissioning.Cycle{cycle("a", commissioning.Pass, false, 3), cycle("a", commissioning.Pass, false, 1), cycle("a", commissioning.Pass, false, 2)}, []int{1}},
		{"a fail before a low pass", []commissioning.Cycle{cycle("a", commissioning.Pass, false, 1), cycle("a", commissioning.Fail, false, 3)}, []int{1}},
		{"a whole one before one that is cut", []commissioning.Cycle{cycle("a", commissioning.Fail, true, -5), cycle("a", commissioning.Fail, false, -1)}, []int{1}},
	} {
		if got := sheetOf(c.cycles); !slices.Equal(got, c.want) {
			t.Errorf("%s: sheets of %v, want %v", c.name, got, c.want)
		}
	}
}

// The first page has the lowest superheat of each circuit and compressor with its
// uncertainty and time; what is not known is no 0.
func TestLowestOnTheFirstPage(t *testing.T) {
	r := drawn(units.SI)
	r.Sensors = []commissioning.Sensors{{Group: "mt", Compressor: "c1"}, {Group: "mt", Compressor: "c2"}}
	r.Circuits = append(r.Circuits, commissioning.Circuit{Group: "mt", Name: "case-9"})
	other := r.Cycles[0]
	other.Number, other.Verdict = 2, commissioning.Pass
	other.Compressors = []commissioning.Machine{{Name: "c1", Lowest: ptr(9.0), Margin: ptr(1.0), LowestAt: r.Cycles[0].Stages.Began, Uncertainty: ptr(2.0), LowestFloor: ptr(8.0)}}
	r.Cycles = append(r.Cycles, other)
	html, _, _ := written(t, r)
	first, rest, _ := strings.Cut(html, `<section class="whole">`)
	for _, want := range []string{
		`c1: −0.4 K ± 2.1 K, floor 8.0 K, 2026-05-04 02:25:00 UTC`, `<td>mt · c1</td><td>−0.4 K ± 2.1 K, floor 8.0 K, 2026-05-04 02:25:00 UTC</td>`,
		`<td>mt · c2</td><td>not known</td>`, `<td class="soft">not known</td>`,
	} {
		if !strings.Contains(first, want) {
			t.Errorf("the first page lacks %q", want)
		}
	}
	if !strings.Contains(rest, "c1: 9.0 K ± 2.0 K, floor 8.0 K") || strings.Count(rest, `<section class="cycle">`) != 2 { // one sheet, and what is done by hand
		t.Errorf("not every cycle has a line, or there is more than one sheet of a circuit")
	}
}
