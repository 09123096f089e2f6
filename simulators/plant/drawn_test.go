package plant_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

var drawnStores = flag.Int("drawn", 12, "how many drawn stores to look at")

// drawn returns a store drawn from a seed: any kind of refrigerant, valve,
// defrost, control and fault, with sizes a designer might have got wrong.
func drawn(seed uint64) string {
	r := rand.New(rand.NewPCG(seed, 5))
	pick := func(from ...string) string { return from[r.IntN(len(from))] }
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	var b strings.Builder
	w := func(f string, a ...any) { fmt.Fprintf(&b, f+"\n", a...) }
	dew, air := -10.0, 2.0
	fluid := pick("R513A", "R448A", "R134a", "R404A", "R290", "R407A")
	lt := r.IntN(2) == 0
	if lt {
		dew, air, fluid = -33, -20, pick("R448A", "R404A", "R407F", "R452A", "R290", "R449A")
	}
	circuits, compressors := 1+r.IntN(4), 1+r.IntN(3)
	single := circuits == 1 && compressors == 1
	w("name = \"drawn\"\nwarm_up_h = %.1f", between(0.3, 2))
	w("[store]\noutdoor_c = %.1f\nstore_humidity = %.2f\nload_noise = %.2f", between(-5, 35), between(0.2, 0.75), between(0, 0.2))
	w("[[suction_group]]\nname = \"g\"\nrefrigerant = %q\ndew_c = %g\ncondensing_c = %.1f", fluid, dew, between(30, 45))
	if r.IntN(5) == 0 {
		w("critically_charged = true")
	}
	if r.IntN(3) == 0 {
		w("  [suction_group.accumulator]\n  volume_l = %.1f\n  hole_mm = %.2f", between(2, 10), between(0.6, 2))
	}
	w("  [suction_group.control]\n  mode = %q", map[bool]string{true: pick("thermostat", "pump_down", "suction"), false: pick("suction", "pump_down")}[single])
	total := 0.0
	load := make([]float64, circuits)
	for i := range load {
		load[i] = between(0.8, 8)
		total += load[i]
	}
	for i := range compressors {
		w("  [[suction_group.compressor]]\n  name = \"c%d\"\n  kind = %q\n  capacity_kw = %.2f\n  minimum_speed = %.1f", i+1,
			pick("scroll", "air_cooled_semi_hermetic", "refrigerant_cooled_semi_hermetic"), between(0.9, 2.2)*total/float64(compressors), []float64{1, 0.4}[r.IntN(2)])
	}
	for i := range circuits {
		kind := pick("electric", "hot_gas", "off_cycle")
		termination := 10
		if kind == "off_cycle" {
			termination = 5
			if lt {
				kind = "electric"
			}
		}
		if kind == "hot_gas" && circuits == 1 {
			kind = "electric"
		}
		w("  [[suction_group.circuit]]\n  name = \"k%d\"\n  load_kw = %.2f\n  air_c = %.1f\n  tap = %d", i+1, load[i], air+between(0, 3), 1+i%compressors)
		if single || r.IntN(3) == 0 {
			w("  thermostat_k = %.1f", between(1, 3))
		}
		w("    [suction_group.circuit.valve]\n    kind = %q\n    size = %.2f\n    mop_c = %.0f", pick("thermostatic", "electronic", "capillary"), between(0.9, 3), between(dew+8, 40))
		w("    [suction_group.circuit.line]\n    length_m = %.0f", between(2, 80))
		w("    [suction_group.circuit.defrost]\n    kind = %q\n    termination_c = %d\n    every_h = %.1f\n    first_min = %.0f\n    drip_s = %.0f\n    bleed_s = %.0f", kind, termination, between(2, 6), between(10, 70), between(30, 300), between(5, 120))
	}
	faults := []plant.FaultKind{}
	for _, k := range plant.FaultKinds() {
		if k.Target != "input" && !strings.HasPrefix(k.Name, "source_") && k.Name != "accumulator_hole" && k.Name != "liquid_in_accumulator" {
			faults = append(faults, k)
		}
	}
	for range r.IntN(3) {
		f := faults[r.IntN(len(faults))]
		target := map[string]string{"circuit": "g.k1", "group": "g", "compressor": "g.c1"}[f.Target]
		w("[[fault]]\nkind = %q\ntarget = %q\nat_min = %.0f\namount = %.3f", f.Name, target, between(-60, 100), between(f.Low, f.High))
	}
	return b.String()
}

// No store, however badly laid out, may leave the range of the equations: every
// temperature, mass and opening stays finite and possible, and no refrigerant
// comes or goes but what is put in.
func TestDrawnStoresStayInTheirValidRange(t *testing.T) {
	for seed := range uint64(*drawnStores) {
		text := drawn(seed)
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			defer func() {
				if r := recover(); r != nil || t.Failed() {
					t.Errorf("%v; the store:\n%s", r, text)
				}
			}()
			d, err := scenarios.Decode("drawn.toml", text)
			if err != nil {
				t.Fatal(err)
			}
			p, err := plant.New(d, seed)
			if err != nil {
				t.Fatal(err)
			}
			added := strings.Contains(text, `"overcharge"`)
			before := p.Balances()[0].Mass
			for range 3 * 360 {
				p.Step(10 * time.Second)
				if what := p.Broken(); what != "" {
					t.Fatal(what)
				}
			}
			if after := p.Balances()[0].Mass; !added && math.Abs(after/before-1) > 0.001 {
				t.Errorf("%.4f kg of refrigerant became %.4f kg", before, after)
			}
		})
	}
}
