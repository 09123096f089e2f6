package config

import (
	"fmt"
	"time"

	"dewgap/analyze/floodback"
	"dewgap/analyze/units"
)

// detectors reads [suction_group.detect]: the thresholds of the detectors, each
// of which has a default (analyze/floodback/settings.go, with its source).
func (b *builder) detectors(group *table, d *floodback.Settings) {
	t, ok := group.inner("detect", `{ minor_liquid = "0.5 %", high_superheat = "30 K" }`)
	if !ok {
		return
	}
	w := &d.Wet
	liquid := func(t *table, key string, standard float64) float64 {
		const least, most = 0.001, 0.5
		share, ok := within(t, key, parseShare, least, most, func(x float64) string { return fmt.Sprintf("%g %%", 100*x) })
		if !ok {
			return standard
		}
		return share
	}
	w.MinorLiquid = liquid(t, "minor_liquid", w.MinorLiquid)
	if m, ok := t.inner("major_liquid", `{ scroll = "5 %", air_cooled_semi_hermetic = "3 %" }`); ok {
		l := &w.MajorLiquid
		l.Scroll = liquid(m, "scroll", l.Scroll)
		l.AirCooledSemiHermetic = liquid(m, "air_cooled_semi_hermetic", l.AirCooledSemiHermetic)
		l.RefrigerantCooledSemiHermetic = liquid(m, "refrigerant_cooled_semi_hermetic", l.RefrigerantCooledSemiHermetic)
		m.done()
		for _, x := range []struct {
			key   string
			share float64
		}{{"scroll", l.Scroll}, {"air_cooled_semi_hermetic", l.AirCooledSemiHermetic}, {"refrigerant_cooled_semi_hermetic", l.RefrigerantCooledSemiHermetic}} {
			if m.has(x.key) && x.share <= w.MinorLiquid {
				m.fault(x.key, fmt.Sprintf("%g %% is not above minor_liquid, %g %%", 100*x.share, 100*w.MinorLiquid), "a major floodback is wetter than a minor one")
			}
		}
	}
	const tiny, wide = 0.1, 30
	w.Edge = t.differenceOr("wet_edge", w.Edge, tiny, 10)
	w.Contact = liquid(t, "contact", w.Contact)
	w.NearDew = t.differenceOr("near_dew", w.NearDew, tiny, wide)
	w.SumpNear = t.differenceOr("oil_near_dew", w.SumpNear, tiny, wide)
	w.SumpFall = t.differenceOr("oil_fall", w.SumpFall, tiny, wide)
	d.Oil.Cold = t.differenceOr("oil_cold", d.Oil.Cold, tiny, wide)
	d.Oil.Cool = t.differenceOr("oil_cool", d.Oil.Cool, tiny, wide)
	if d.Oil.Cool < d.Oil.Cold {
		key := "oil_cold"
		if t.has("oil_cool") {
			key = "oil_cool"
		}
		t.fault(key, "leaves oil_cool below oil_cold", "oil_cold is as cold as the dew, oil_cool hardly warmer")
	}
	h := &d.Hunting
	h.Swing = t.differenceOr("hunting_swing", h.Swing, 0.5, wide)
	h.Cycles = int(t.wholeOr("hunting_cycles", int64(h.Cycles), 2, 10))
	d.High.Superheat = t.differenceOr("high_superheat", d.High.Superheat, 5, 100)
	d.High.SuperheatHold = t.durationOr("high_superheat_hold", d.High.SuperheatHold, time.Minute, 24*time.Hour)
	if hot, ok := within(t, "hot_discharge", units.ParseTemperature, 40, 200, func(c units.Celsius) string { return fmt.Sprintf("%g degC", float64(c)) }); ok {
		d.High.Discharge = hot
	}
	d.High.DischargeHold = t.durationOr("hot_discharge_hold", d.High.DischargeHold, time.Minute, 24*time.Hour)
	d.NoDataHold = t.durationOr("no_data_hold", d.NoDataHold, time.Second, 24*time.Hour)
	d.FaultHold = t.durationOr("sensor_fault_hold", d.FaultHold, time.Second, 24*time.Hour)
	t.done()
}
