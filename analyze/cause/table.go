package cause

import (
	"math"

	"dewgap/analyze/evidence"
)

// weight is one line of the score: how much a plain feature supports a cause
// (or, below 0, contradicts it), as the natural logarithm of odds: 0.7 doubles
// them, 2.3 makes them tenfold.
type weight struct {
	cause   string
	feature feature
	logOdds float64
}

// weights is the whole of the score. The reason of each line stands in the
// catalogue of evidence; the numbers are common practice put into figures and
// fitted to generated stores, no source. always is the cause's standing before
// any evidence.
var weights = []weight{
	{"valve_stuck_open", always, 0.2},
	{"valve_stuck_open", outletUsuallyLow, 1.7},
	{"valve_stuck_open", outletLowAndStill, 1.9},
	{"valve_stuck_open", lasting, 0.7},
	{"valve_stuck_open", coldAir, 1.0},
	{"valve_stuck_open", outletSwings, -1.0},
	{"valve_stuck_open", outletUsuallyNormal, -1.7},
	{"valve_stuck_open", outletStaysAtDew, 0.3},
	{"valve_stuck_open", loadLostAtOnce, -2.3},
	{"valve_stuck_open", outletFellAtOnce, 0.6},
	{"valve_stuck_open", defrostsDoNotHelp, 0.2},
	{"valve_stuck_open", recursWithoutRestart, -0.3},
	{"valve_stuck_open", outletSankSlowly, -1.5},
	{"valve_stuck_open", defrostsHelp, -1.3},
	{"valve_stuck_open", longDefrost, -0.1},
	{"valve_stuck_open", veryWarmAir, -2.5},
	{"valve_stuck_open", suddenFall, -1.7},
	{"valve_stuck_open", manyCompressorsRun, 0.7},
	{"valve_stuck_open", feedsWhileStopped, 0.6},
	{"valve_stuck_open", lowSuction, -0.8},
	{"valve_stuck_open", outletNotMeasured, 0.1},
	{"valve_stuck_open", shortDefrost, -2.5},
	{"valve_stuck_open", longerThanNeighbours, -2.5},
	{"valve_stuck_open", onlyCircuitFeeds, -0.5},
	{"valve_stuck_open", outletDry, -1.0},

	{"valve_oversized", always, -0.9},
	{"valve_oversized", outletSwings, 1.4},
	{"valve_oversized", afterDefrost, 1.2},
	{"valve_oversized", loadLostAtOnce, -1.2},
	{"valve_oversized", outletLowAndStill, -2.5},
	{"valve_oversized", coldDefrost, -0.8},
	{"valve_oversized", veryWarmAir, -0.5},
	{"valve_oversized", outletUsuallyLow, -1.1},
	{"valve_oversized", atRestart, 0.4},
	{"valve_oversized", shortDefrost, -1.0},
	{"valve_oversized", onlyCircuitFeeds, -1.5},
	{"valve_oversized", atOwnStart, 0.8},

	{"valve_hunting", always, -0.8},
	{"valve_hunting", outletSwings, 1.5},
	{"valve_hunting", compressorSuperheatSwings, 2.5},
	{"valve_hunting", noDefrost, 0.1},
	{"valve_hunting", recursWithoutRestart, 0.6},
	{"valve_hunting", outletLowAndStill, -0.8},
	{"valve_hunting", outletStaysAtDew, -0.6},
	{"valve_hunting", loadLostAtOnce, -1.5},
	{"valve_hunting", outletSankSlowly, -0.7},
	{"valve_hunting", veryWarmAir, -1.4},
	{"valve_hunting", outletUsuallyLow, -0.5},
	{"valve_hunting", brief, 1.4},
	{"valve_hunting", outletNotMeasured, 0.1},
	{"valve_hunting", shortDefrost, -1.0},
	{"valve_hunting", onlyCircuitFeeds, -1.5},
	{"valve_hunting", atOwnStart, 0.8},

	{"iced_coil", always, -0.3},
	{"iced_coil", warmAir, 3.5},
	{"iced_coil", loadLostSlowly, 0.8},
	{"iced_coil", coldDefrost, 1.4},
	{"iced_coil", longDefrost, 0.8},
	{"iced_coil", outletLow, 0.1},
	{"iced_coil", lowSuction, 1.3},
	{"iced_coil", outletSankSlowly, 1.6},
	{"iced_coil", defrostsHelp, 0.4},
	{"iced_coil", defrostsDoNotHelp, -0.1},
	{"iced_coil", warmAirAfterGoodDefrost, -2.0},
	{"iced_coil", veryWarmAir, 1.0},
	{"iced_coil", outletStaysAtDew, 0.3},
	{"iced_coil", loadLostAtOnce, -0.8},
	{"iced_coil", coldAir, -0.3},
	{"iced_coil", fewCompressorsRun, 0.5},
	{"iced_coil", airNotMeasured, 0.6},
	{"iced_coil", shortDefrost, 2.2},
	{"iced_coil", longerThanNeighbours, 2.6},
	{"iced_coil", outletDry, -1.0},

	{"defrost_incomplete", always, -2.7},
	{"defrost_incomplete", coldDefrost, 1.9},
	{"defrost_incomplete", longDefrost, 0.6},
	{"defrost_incomplete", warmAir, 0.6},
	{"defrost_incomplete", completeDefrost, -0.8},
	{"defrost_incomplete", loadLostSlowly, 0.4},
	{"defrost_incomplete", shortDefrost, 2.8},
	{"defrost_incomplete", longerThanNeighbours, 3.2},
	{"defrost_incomplete", outletDry, -1.0},

	{"low_airflow", always, -1.2},
	{"low_airflow", warmAir, 1.0},
	{"low_airflow", outletStaysAtDew, 0.3},
	{"low_airflow", loadLostAtOnce, 2.2},
	{"low_airflow", loadLostSlowly, -0.3},
	{"low_airflow", outletSankSlowly, -0.5},
	{"low_airflow", warmAirAfterGoodDefrost, 2.5},
	{"low_airflow", lowSuction, 1.7},
	{"low_airflow", defrostsDoNotHelp, 0.8},
	{"low_airflow", defrostsHelp, -1.5},
	{"low_airflow", coldDefrost, -1.8},
	{"low_airflow", veryWarmAir, 2.4},
	{"low_airflow", fewCompressorsRun, 0.4},
	{"low_airflow", airNotMeasured, 0.7},
	{"low_airflow", outletDry, -1.0},

	{"load_change_after_defrost", always, -1.9},
	{"load_change_after_defrost", afterDefrost, 1.5},
	{"load_change_after_defrost", outletUsuallyNormal, 2.0},
	{"load_change_after_defrost", brief, 0.8},
	{"load_change_after_defrost", lasting, -3.6},
	{"load_change_after_defrost", otherCircuitDefrosted, -0.8},
	{"load_change_after_defrost", noDefrost, -2.1},
	{"load_change_after_defrost", defrostUnseen, 0.6},
	{"load_change_after_defrost", recursWithoutRestart, -1.8},
	{"load_change_after_defrost", outletSwings, -1.7},
	{"load_change_after_defrost", outletUsuallyLow, -2.1},
	{"load_change_after_defrost", veryWarmAir, -1.7},
	{"load_change_after_defrost", suddenFall, 0.6},
	{"load_change_after_defrost", hotGasEnded, -0.8},
	{"load_change_after_defrost", atRestart, -2.2},
	{"load_change_after_defrost", hotGasOn, -2.0},

	{"overcharge", always, -2.0},
	{"overcharge", mostCoilsLow, 1.8},
	{"overcharge", highCondensing, 1.2},
	{"overcharge", onlyCircuit, 3.0},
	{"overcharge", onlyOutletUsuallyLow, 1.8},
	{"overcharge", outletLowAndStill, 1.0},
	{"overcharge", recursWithoutRestart, 0.7},
	{"overcharge", outletSankSlowly, -0.4},
	{"overcharge", loadLostAtOnce, -1.5},
	{"overcharge", outletSwings, -1.5},
	{"overcharge", outletFellAtOnce, -1.3},
	{"overcharge", warmAir, -2.7},
	{"overcharge", outletLow, 0.8},
	{"overcharge", coldDefrost, -0.8},
	{"overcharge", lowSuction, -0.8},
	{"overcharge", outletUsuallyNormal, -1.1},
	{"overcharge", onlyCircuitFeeds, 1.0},
	{"overcharge", onlyCircuitShuts, -1.5},
	{"overcharge", atOwnStart, 0.8},

	{"accumulator_full", always, -0.2},
	{"accumulator_full", allCoilsDry, 2.4},
	{"accumulator_full", flatNearDew, 0.6},
	{"accumulator_full", dryDischarge, -1.5},
	{"accumulator_full", afterDefrost, 0.6},
	{"accumulator_full", onlyCircuit, -1.2},
	{"accumulator_full", warmAir, -2.8},
	{"accumulator_full", veryWarmAir, -2.4},
	{"accumulator_full", outletNotMeasured, 0.3},
	{"accumulator_full", outletLow, -0.8},

	{"hot_gas_carryover", always, -2.3},
	{"hot_gas_carryover", hotGasEnded, 3.5},
	{"hot_gas_carryover", hotGasUnseen, 2.0},
	{"hot_gas_carryover", lasting, -2.3},
	{"hot_gas_carryover", recursWithoutRestart, -1.8},
	{"hot_gas_carryover", brief, 1.7},
	{"hot_gas_carryover", veryWarmAir, -1.5},
	{"hot_gas_carryover", hotGasOn, 4.5},

	{"sensor_misplaced", always, -2.4},
	{"sensor_misplaced", allCoilsDry, 1.2},
	{"sensor_misplaced", dryDischarge, 2.2},
	{"sensor_misplaced", otherCompressorsDry, 1.0},

	{"unknown", always, -1.5},
}

// causeNames are the causes in the order of the table.
var causeNames = func() []string {
	var names []string
	for _, w := range weights {
		if len(names) == 0 || names[len(names)-1] != w.cause {
			names = append(names, w.cause)
		}
	}
	return names
}()

// reasonCode is the code of a line of weights: where the outlet is measured, and
// where the compressor's superheat stands for it.
type reasonCode struct{ outlet, inlet evidence.Code }

func (r reasonCode) of(outletMeasured bool) evidence.Code {
	if outletMeasured {
		return r.outlet
	}
	return r.inlet
}

// reasonCodes are those of the lines of weights.
var reasonCodes = func() []reasonCode {
	codes := make([]reasonCode, len(weights))
	for i, w := range weights {
		code := func(measured bool) evidence.Code {
			return evidence.CauseReason(w.cause, featureCodes[w.feature], w.logOdds > 0, measured)
		}
		codes[i] = reasonCode{code(true), code(false)}
	}
	return codes
}()

// What is worth a line; common practice, no source.
const (
	minScore         = 0.03 // of a cause
	minReasonLogOdds = 0.25 // of a reason
	minReasonDegree  = 0.25 // of a reason in this floodback alone
)

// causeLogOdds adds up the table for each of causeNames.
func causeLogOdds(d *degrees) []float64 {
	sums := make([]float64, 0, len(causeNames))
	for n, w := range weights {
		if n == 0 || w.cause != weights[n-1].cause {
			sums = append(sums, 0)
		}
		sums[len(sums)-1] += w.logOdds * d[w.feature]
	}
	return sums
}

// score ranks the causes. Their scores sum to 1; it returns those worth a line,
// likeliest first. own are the degrees in this floodback alone, by which reasons
// are given; outletMeasured is of the circuit in question.
func score(d, own *degrees, outletMeasured bool) []Ranked {
	out := make([]Ranked, 0, len(causeNames))
	for i, odds := range causeLogOdds(d) {
		out = append(out, Ranked{Name: causeNames[i], Score: math.Exp(odds)})
	}
	normalize(out)
	for i := range out {
		if i > 0 && out[i].Score < minScore {
			return out[:i]
		}
		out[i].Why = causeReasons(out[i].Name, d, own, outletMeasured)
	}
	return out
}

// causeReasons returns what supports a cause, in the order of the table.
func causeReasons(name string, d, own *degrees, outletMeasured bool) (why []evidence.Item) {
	for n, w := range weights {
		if w.cause == name && w.feature != always && w.logOdds*d[w.feature] > minReasonLogOdds && own[w.feature] > minReasonDegree {
			why = append(why, evidence.New(reasonCodes[n].of(outletMeasured)))
		}
	}
	return why
}
