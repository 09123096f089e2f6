package config

import (
	"fmt"

	"dewgap/analyze"
	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/superheat"
)

// detection reads the settings of the group's analysis, each of which has a
// default.
func (b *builder) detection(t *table, g *analyze.Group) {
	g.Detect, g.Phase = floodback.DefaultSettings(), phase.Default()
	read(t, floodback.Rows(), &g.Detect)
	read(t, phase.Rows(), &g.Phase)
	read(t, superheat.Rows(), &g.Superheat)
	floorsAndHolds(t, &g.Detect)
	liquidAndOil(t, &g.Detect)
	if p := &g.Phase; t.has("phases.pulldown_least") && p.MinPulldown > p.PulldownLimit {
		t.fault("phases.pulldown_least", fmt.Sprintf("%s is above pulldown_limit, %s", shortDuration(p.MinPulldown), shortDuration(p.PulldownLimit)), "the shortest pulldown is not longer than the longest")
	}
}

func floorsAndHolds(t *table, d *floodback.Settings) {
	if t.has("floor") && d.Floor.Pulldown > d.Floor.Steady {
		t.warn("floor.pulldown", "is above the steady floor", "usually the floor is lowered for pulldown, or the same")
	}
	if d.Hold.Steady == 0 {
		warnNoHold(t, "hold.steady")
	}
	if d.Hold.Pulldown == 0 {
		warnNoHold(t, "hold.pulldown")
	}
	if d.ClearHold == 0 {
		warnNoHold(t, "clear.hold")
	}
}

func warnNoHold(t *table, key string) {
	t.warn(key, "is 0: a single reading opens or closes an event", `write a time such as "30 s"`)
}

func liquidAndOil(t *table, d *floodback.Settings) {
	w := &d.Wet
	for _, x := range []struct {
		key   string
		share float64
	}{
		{"detect.major_liquid.scroll", w.MajorLiquid.Scroll},
		{"detect.major_liquid.air_cooled_semi_hermetic", w.MajorLiquid.AirCooledSemiHermetic},
		{"detect.major_liquid.refrigerant_cooled_semi_hermetic", w.MajorLiquid.RefrigerantCooledSemiHermetic},
	} {
		if x.share > w.MinorLiquid {
			continue
		}
		const remedy = "a major floodback is wetter than a minor one"
		if !t.has(x.key) {
			t.fault("detect.minor_liquid", fmt.Sprintf("%s is not below major_liquid, %s", showShare(w.MinorLiquid), showShare(x.share)), remedy)
			break
		}
		t.fault(x.key, fmt.Sprintf("%s is not above minor_liquid, %s", showShare(x.share), showShare(w.MinorLiquid)), remedy)
	}
	if d.Oil.Cool < d.Oil.Cold {
		key := "detect.oil_cold"
		if t.has("detect.oil_cool") {
			key = "detect.oil_cool"
		}
		t.fault(key, "leaves oil_cool below oil_cold", "oil_cold is as cold as the dew, oil_cool hardly warmer")
	}
}
