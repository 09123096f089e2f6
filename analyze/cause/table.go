package cause

import (
	"math"
	"slices"

	"dewgap/analyze/phase"
)

// feature is one sign, 0 (absent) to 1 (plain).
type feature int

const (
	afterDefrost feature = iota // the circuit went back to refrigeration within the last quarter of an hour
	inSteady                    // … it did not
	stepAtResume                // hot gas, and the floodback began within two minutes of that moment
	coilWet                     // liquid leaves this circuit's coil
	coilsDry                    // no coil outlet is wet, and they are measured
	alwaysLow                   // its coil superheat was low before, too
	usuallyFine                 // … or was plainly normal
	swings                      // its coil superheat, or the compressor's, oscillates
	lasts                       // the floodback lasts for more than five minutes
	brief                       // … or does not
	coldDefrost                 // the last defrost never got warm, or ran far longer than usual
	warmAir                     // air stands higher over dew than before
	dewLow                      // suction dew is below its usual
	manyWet                     // most coils are wet at once
	always                      // 1: what speaks for not knowing
	featureCount
)

var featureWords = [featureCount]string{
	afterDefrost: "it began soon after a defrost",
	inSteady:     "no defrost came before it",
	stepAtResume: "it began at once when hot-gas defrost ended",
	coilWet:      "liquid leaves the coil",
	coilsDry:     "every measured coil outlet is dry while the compressor's line is wet",
	alwaysLow:    "the coil's superheat was low before, too",
	usuallyFine:  "the coil's superheat is normal otherwise",
	swings:       "superheat swings",
	lasts:        "it lasts",
	brief:        "it is short",
	coldDefrost:  "the last defrost did not get warm or ran out its time",
	warmAir:      "the air is warmer over dew than usual",
	dewLow:       "suction pressure is lower than usual",
	manyWet:      "most coils are wet at once",
}

// feature returns sign f for the circuit that leads the ranking.
func (g *Group) feature(f feature, top int, c *Case, at int64, hunts bool) float64 {
	k := &g.coils[top]
	ago := math.Inf(1)
	if k.resumed != 0 {
		ago = float64(c.began-k.resumed) / 1e9
	}
	yes := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	ramp := func(x, from, to float64) float64 {
		if math.IsNaN(x) {
			return 0
		}
		return min(max((x-from)/(to-from), 0), 1)
	}
	after := yes(ago < recently)
	long := float64(at-c.began) / 1e9
	switch f {
	case afterDefrost:
		return after
	case inSteady:
		return 1 - after
	case stepAtResume:
		return yes(g.kinds[top] == phase.HotGas && ago < 120 && ago > -60)
	case coilWet:
		return k.wet
	case coilsDry:
		dry := 0.0
		for i := range g.coils {
			if !g.coils[i].known {
				return 0
			}
			dry = max(dry, g.coils[i].wet)
		}
		return ramp(dry, 0.6, 0.1)
	case alwaysLow:
		return ramp(k.before, 4, 2)
	case usuallyFine:
		return ramp(k.before, 4, 6)
	case swings:
		s := ramp(k.swing.value, 0.8, 2)
		if hunts {
			s = 1
		}
		return s
	case lasts:
		return ramp(long, 240, 480)
	case brief:
		return ramp(long, 480, 240)
	case coldDefrost:
		if k.last.Ended == 0 {
			return 0
		}
		cold := ramp(k.last.Peak, 6, 2)
		if k.lengths.known {
			cold = max(cold, ramp(float64(k.last.Ended-k.last.Began)/1e9/k.lengths.value, 1.2, 1.5))
		}
		return cold
	case warmAir:
		return ramp(k.gap, 1, 4)
	case dewLow:
		return ramp(g.dew.value-g.now, 0.7, 2.5)
	case manyWet:
		wet := 0
		for i := range g.coils {
			if g.coils[i].wet > 0.5 {
				wet++
			}
		}
		return yes(len(g.coils) > 1 && wet*3 >= len(g.coils)*2)
	case always:
		return 1
	}
	return 0
}

// Weight is one line of the score: how much a sign speaks for a cause.
type weight struct {
	cause string
	f     feature
	w     float64
	why   string
}

// weights is the whole of the score: for each cause the sum of sign × weight.
// Reasons are from the shared trade notes, sections 10 and 12; the numbers are
// common practice put into figures, no source.
var weights = []weight{
	{"valve_stuck_open", inSteady, 0.30, "feeds liquid whatever the load"},
	{"valve_stuck_open", alwaysLow, 0.55, "low at the coil all the time"},
	{"valve_stuck_open", coilWet, 0.30, "liquid comes through this coil"},
	{"valve_stuck_open", lasts, 0.15, "it does not close"},
	{"valve_stuck_open", swings, -0.35, "a stuck valve does not swing"},
	{"valve_stuck_open", usuallyFine, -0.30, "a stuck valve never is fine"},

	{"valve_oversized", afterDefrost, 0.25, "too much at the first rush"},
	{"valve_oversized", swings, 0.40, "hunts at low load"},
	{"valve_oversized", coilWet, 0.25, "liquid comes through this coil"},
	{"valve_oversized", alwaysLow, -0.15, "is fine at full load"},

	{"valve_hunting", swings, 0.60, "the oscillation itself"},
	{"valve_hunting", inSteady, 0.15, "needs no defrost"},
	{"valve_hunting", coilWet, 0.10, "liquid at each minimum"},
	{"valve_hunting", alwaysLow, -0.15, "the mean is not low"},

	{"iced_coil", coldDefrost, 0.45, "ice was left"},
	{"iced_coil", coilWet, 0.20, "the coil cannot boil what it gets"},
	{"iced_coil", warmAir, 0.25, "air no longer gives its heat to the coil"},
	{"iced_coil", lasts, 0.15, "lasts until the ice is gone"},
	{"iced_coil", dewLow, 0.15, "suction sinks with the load"},

	{"defrost_incomplete", coldDefrost, 0.60, "ended by time, not warm"},
	{"defrost_incomplete", afterDefrost, 0.15, "the next pulldown is wet"},
	{"defrost_incomplete", coilWet, 0.10, "the coil cannot boil what it gets"},

	{"low_airflow", inSteady, 0.30, "came as a step, without a defrost"},
	{"low_airflow", warmAir, 0.40, "air no longer gives its heat to the coil"},
	{"low_airflow", coilWet, 0.20, "the coil cannot boil what it gets"},
	{"low_airflow", dewLow, 0.20, "suction sinks with the load"},
	{"low_airflow", usuallyFine, 0.10, "was fine before the step"},
	{"low_airflow", coldDefrost, -0.30, "then ice explains it"},

	{"load_change_after_defrost", afterDefrost, 0.45, "the warm coil's rush"},
	{"load_change_after_defrost", usuallyFine, 0.15, "is fine otherwise"},
	{"load_change_after_defrost", brief, 0.15, "over within minutes"},
	{"load_change_after_defrost", swings, -0.25, "then the valve explains it"},
	{"load_change_after_defrost", coldDefrost, -0.25, "then ice explains it"},
	{"load_change_after_defrost", alwaysLow, -0.25, "then the valve explains it"},

	{"overcharge", manyWet, 0.70, "all coils at once"},
	{"overcharge", lasts, 0.10, "does not pass"},

	{"accumulator_full", coilsDry, 0.65, "the liquid does not come from a coil now"},
	{"accumulator_full", lasts, 0.15, "empties itself over minutes"},
	{"accumulator_full", afterDefrost, 0.05, "filled by the restart"},

	{"hot_gas_carryover", stepAtResume, 0.95, "condensate left in the coil"},

	{"sensor_misplaced", coilsDry, 0.15, "nothing else is wet"},

	{"unknown", always, 0.18, "the signs are weak"},
}

// score adds up the table; the scores sum to 1.
func score(f *[featureCount]float64) []Ranked {
	out := make([]Ranked, 0, 12)
	for _, w := range weights {
		i := slices.IndexFunc(out, func(r Ranked) bool { return r.Name == w.cause })
		if i < 0 {
			out = append(out, Ranked{Name: w.cause})
			i = len(out) - 1
		}
		part := w.w * f[w.f]
		out[i].Score += part
		if part > 0.08 && w.f != always {
			out[i].Why = append(out[i].Why, featureWords[w.f]+": "+w.why)
		}
	}
	total := 0.0
	for i := range out {
		out[i].Score = max(out[i].Score, 0)
		total += out[i].Score
	}
	for i := range out {
		out[i].Score /= total
	}
	slices.SortStableFunc(out, byScore)
	for i := range out {
		if out[i].Score < 0.03 {
			return out[:max(i, 1)]
		}
	}
	return out
}
