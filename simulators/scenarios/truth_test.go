package scenarios_test

import (
	"testing"

	"dewgap/simulators/scenarios"
)

// flood is where and when a scenario must be wet, and nowhere else.
type flood struct {
	compressor string
	from, to   float64 // min
	least      float64 // min of wet gas in that time
	start      bool    // also counts in the first two minutes after a start
}

// floods says of each faulty scenario how its cause floods: at once and for
// good, or only after a defrost. Scenarios that are not listed stay dry.
var floods = map[string][]flood{
	"demo":                        {{compressor: "lt.c2", from: 15, to: 120, least: 30}},
	"valve-oversized":             {{compressor: "lt.c1", from: 48, to: 62, least: 1}, {compressor: "lt.c2", from: 48, to: 62, least: 0}},
	"valve-stuck-open":            {{compressor: "mt.c2", from: 60, to: 240, least: 30, start: true}, {compressor: "mt.c1", from: 60, to: 240, least: 0}},
	"valve-hunting":               {{compressor: "lt.c1", from: 60, to: 240, least: 15, start: true}},
	"iced-coil":                   {{compressor: "lt.c1", from: 60, to: 205, least: 60}, {compressor: "lt.c2", from: 60, to: 205, least: 0}},
	"low-airflow":                 {{compressor: "mt.c2", from: 60, to: 240, least: 60, start: true}, {compressor: "mt.c1", from: 60, to: 240, least: 0}},
	"defrost-incomplete":          {{compressor: "lt.c1", from: 0, to: 300, least: 60, start: true}},
	"load-change-after-defrost":   {{compressor: "lt.c1", from: 46, to: 68, least: 1}, {compressor: "lt.c2", from: 46, to: 68, least: 0}},
	"overcharge":                  {{compressor: "mt.c1", from: 60, to: 240, least: 30, start: true}},
	"accumulator-full":            {{compressor: "lt.c1", from: 60, to: 80, least: 5}, {compressor: "lt.c2", from: 60, to: 80, least: 0}},
	"hot-gas-carryover":           {{compressor: "lt.c1", from: 36, to: 46, least: 0.5}, {compressor: "lt.c2", from: 36, to: 46, least: 0}},
	"loose-clamp-hides-floodback": {{compressor: "lt.c1", from: 60, to: 180, least: 60, start: true}},
}

const (
	wetK = 0.5 // less than this, with liquid there, is wet: it could not all boil
	dryK = 1   // a healthy plant keeps this outside of starts, however deep its dips
)

// Each faulty scenario floods when and as its cause says, and each healthy one
// does not, by the plant's truth, which no sensor sees.
func TestScenariosFloodAsTheirCauseSays(t *testing.T) {
	for _, name := range scenarios.Names() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := played(t, name)
			wet := make([]float64, len(floods[name])) // min
			for _, s := range r.samples {
				for _, c := range s.truth {
					in := -1
					for i, f := range floods[name] {
						if f.compressor == c.Group+"."+c.Compressor && s.minute >= f.from && s.minute <= f.to {
							in = i
						}
					}
					switch {
					case !c.Running || c.Phase == "start" && (in < 0 || !floods[name][in].start):
					case in >= 0:
						if c.SuperheatK < wetK && c.LiquidFraction > 0 {
							wet[in] += every.Minutes()
						}
					case c.SuperheatK < dryK:
						t.Fatalf("minute %.1f: %s.%s has %.1f K and %.3f liquid in %s, and should be dry then",
							s.minute, c.Group, c.Compressor, c.SuperheatK, c.LiquidFraction, c.Phase)
					}
				}
			}
			for i, f := range floods[name] {
				if wet[i] < f.least {
					t.Errorf("%s wet for %.1f min from minute %g to %g, want %g at least", f.compressor, wet[i], f.from, f.to, f.least)
				}
			}
		})
	}
}

// A list of floods that names what does not exist would check nothing.
func TestFloodsNameScenarios(t *testing.T) {
	known := map[string]bool{}
	for _, n := range scenarios.Names() {
		known[n] = true
	}
	if len(known) < 24 {
		t.Errorf("%d scenarios, want 24 at least", len(known))
	}
	for n := range floods {
		if !known[n] {
			t.Errorf("no scenario %q", n)
		}
	}
}
