package cause

import (
	"math"

	"dewgap/analyze/evidence"
)

// weight is one line of the score: how much a plain sign speaks for a cause
// (or, below 0, against it), as the natural logarithm of odds: 0.7 doubles
// them, 2.3 makes them tenfold.
type weight struct {
	cause string
	s     sign
	w     float64
	why   string
}

// weights is the whole of the score. The reasons are the trade's: what a
// troubleshooter looks for in each case; the numbers are common practice put
// into figures, no source. always is the cause's standing before any evidence.
var weights = []weight{
	{"valve_stuck_open", always, 0.2, ""},
	{"valve_stuck_open", alwaysLow, 1.7, "a stuck valve is never right"},
	{"valve_stuck_open", still, 1.9, "a stuck valve does not move"},
	{"valve_stuck_open", lasts, 0.7, "it does not close"},
	{"valve_stuck_open", coldAir, 1.0, "the coil gets more than it needs"},
	{"valve_stuck_open", swings, -1.0, "a stuck valve does not swing"},
	{"valve_stuck_open", usuallyFine, -1.7, "a stuck valve is never right, but it may have stuck just now"},
	{"valve_stuck_open", pinned, 0.3, "it does not come up"},
	{"valve_stuck_open", stepped, -2.3, "the coil would keep its load"},
	{"valve_stuck_open", fellAtOnce, 0.6, "it stuck at that moment"},
	{"valve_stuck_open", unrelieved, 0.2, "it has nothing to do with ice"},
	{"valve_stuck_open", recurs, -0.3, "it does not let go"},
	{"valve_stuck_open", crept, -1.5, "a valve does not stick slowly"},
	{"valve_stuck_open", relieved, -1.3, "a defrost would not help"},
	{"valve_stuck_open", longMelt, -0.1, "then ice explains it"},
	{"valve_stuck_open", airHot, -2.5, "the air would be cold"},
	{"valve_stuck_open", sudden, -1.7, "it is always so"},
	{"valve_stuck_open", loadHigh, 0.7, "more flows than is needed"},
	{"valve_stuck_open", feedsOff, 0.6, "the valve does not shut; nor do others where no valve stops the feed"},
	{"valve_stuck_open", dewLow, -0.8, "suction would rather be high"},
	{"valve_stuck_open", noOutlet, 0.1, "the outlet would tell; it cannot speak against it"},

	{"valve_oversized", always, -0.9, ""},
	{"valve_oversized", swings, 1.4, "an orifice too big for the load hunts"},
	{"valve_oversized", afterDefrost, 1.2, "too much at the first rush"},
	{"valve_oversized", stepped, -1.2, "the coil would keep its load"},
	{"valve_oversized", still, -2.5, "it would swing at low load"},
	{"valve_oversized", coldMelt, -0.8, "then ice explains it"},
	{"valve_oversized", airHot, -0.5, "the air would not be warm"},
	{"valve_oversized", alwaysLow, -1.1, "it is right at full load"},
	{"valve_oversized", atRestart, 0.4, "the open valve passes too much from the first moment"},

	{"valve_hunting", always, -0.8, ""},
	{"valve_hunting", swings, 1.5, "the oscillation itself"},
	{"valve_hunting", inletSwings, 2.5, "the oscillation reaches the compressor"},
	{"valve_hunting", noDefrost, 0.1, "it needs no defrost"},
	{"valve_hunting", recurs, 0.6, "swing after swing"},
	{"valve_hunting", still, -0.8, "it would swing"},
	{"valve_hunting", pinned, -0.6, "it would come up again"},
	{"valve_hunting", stepped, -1.5, "the coil would keep its load"},
	{"valve_hunting", crept, -0.7, "the mean would be right"},
	{"valve_hunting", airHot, -1.4, "the air would not be warm"},
	{"valve_hunting", alwaysLow, -0.5, "the mean would be right"},
	{"valve_hunting", brief, 1.4, "each swing is short"},
	{"valve_hunting", noOutlet, 0.1, "the outlet would tell; it cannot speak against it"},

	{"iced_coil", always, -0.3, ""},
	{"iced_coil", warmAir, 3.5, "ice keeps the air's heat from the coil"},
	{"iced_coil", slipped, 0.8, "ice grows slowly"},
	{"iced_coil", coldMelt, 1.4, "ice was left"},
	{"iced_coil", longMelt, 0.8, "there was more ice to melt"},
	{"iced_coil", coilLow, 0.1, "the coil cannot boil what it gets"},
	{"iced_coil", dewLow, 1.3, "suction sinks with the load"},
	{"iced_coil", crept, 1.6, "ice grows slowly"},
	{"iced_coil", relieved, 0.4, "a defrost takes the ice away"},
	{"iced_coil", unrelieved, -0.1, "a defrost would help for a while"},
	{"iced_coil", airUncured, -2.0, "a good defrost would have cured it"},
	{"iced_coil", airHot, 0.6, "ice shuts the coil to the air"},
	{"iced_coil", pinned, 0.3, "the coil cannot boil what it gets"},
	{"iced_coil", stepped, -0.8, "ice does not come at once"},
	{"iced_coil", coldAir, -0.3, "the air would be warm"},
	{"iced_coil", loadLow, 0.5, "the coil takes less heat in"},
	{"iced_coil", noAir, 0.6, "the air would tell; it cannot speak against it"},

	{"defrost_incomplete", always, -2.7, ""},
	{"defrost_incomplete", coldMelt, 1.9, "it ended by time, not warm"},
	{"defrost_incomplete", longMelt, 0.6, "the heat did not do in the usual time"},
	{"defrost_incomplete", warmAir, 0.6, "ice was left"},
	{"defrost_incomplete", goodMelt, -0.8, "the defrost was complete"},
	{"defrost_incomplete", slipped, 0.4, "ice is left by each defrost"},

	{"low_airflow", always, -1.2, ""},
	{"low_airflow", warmAir, 1.0, "the coil gets too little air"},
	{"low_airflow", pinned, 0.3, "the coil cannot boil what it gets"},
	{"low_airflow", stepped, 2.2, "a fan fails at once"},
	{"low_airflow", slipped, -0.3, "a fan fails at once"},
	{"low_airflow", crept, -0.5, "a fan fails at once"},
	{"low_airflow", airUncured, 2.5, "defrosts do not mend a fan"},
	{"low_airflow", dewLow, 1.7, "suction sinks with the load"},
	{"low_airflow", unrelieved, 0.8, "defrosts do not mend a fan"},
	{"low_airflow", relieved, -1.5, "a defrost would not help"},
	{"low_airflow", coldMelt, -1.8, "then ice explains it"},
	{"low_airflow", airHot, 3.5, "air that does not move takes no cold along"},
	{"low_airflow", loadLow, 0.4, "the coil takes less heat in"},
	{"low_airflow", noAir, 0.7, "the air would tell; it cannot speak against it"},

	{"load_change_after_defrost", always, -1.9, ""},
	{"load_change_after_defrost", afterDefrost, 1.5, "the warm coil's first rush"},
	{"load_change_after_defrost", usuallyFine, 2.0, "the valve is right, the load was not"},
	{"load_change_after_defrost", brief, 0.8, "over within minutes"},
	{"load_change_after_defrost", lasts, -3.6, "it would pass"},
	{"load_change_after_defrost", otherDefrosted, -0.8, "the defrost was another circuit's"},
	{"load_change_after_defrost", noDefrost, -2.1, "there was no defrost"},
	{"load_change_after_defrost", unseen, 0.6, "a defrost may have ended"},
	{"load_change_after_defrost", recurs, -1.8, "it needs a defrost"},
	{"load_change_after_defrost", swings, -1.7, "then the valve explains it"},
	{"load_change_after_defrost", alwaysLow, -2.1, "then the valve explains it"},
	{"load_change_after_defrost", airHot, -1.7, "then the air explains it"},
	{"load_change_after_defrost", sudden, 0.6, "the rush comes at once"},
	{"load_change_after_defrost", hotGasEnded, -0.8, "then the hot gas explains it"},
	{"load_change_after_defrost", atRestart, -2.2, "the rush comes some minutes later"},

	{"overcharge", always, -2.0, ""},
	{"overcharge", manyLow, 1.8, "all coils at once"},
	{"overcharge", headHigh, 1.2, "the condenser is full"},
	{"overcharge", lone, 3.0, "the charge is critical in a small unit"},
	{"overcharge", loneLow, 1.8, "too much charge is always too much"},
	{"overcharge", still, 1.0, "a fixed restriction does not swing"},
	{"overcharge", recurs, 0.7, "it comes and goes with condensing pressure"},
	{"overcharge", crept, -0.4, "the charge does not change in hours"},
	{"overcharge", stepped, -1.5, "the coil would keep its load"},
	{"overcharge", swings, -1.5, "then the valve explains it"},
	{"overcharge", fellAtOnce, -1.3, "the charge does not change at once"},
	{"overcharge", warmAir, -2.7, "the air would not be warm"},
	{"overcharge", coilLow, 0.8, "the coil is overfed"},
	{"overcharge", coldMelt, -0.8, "then ice explains it"},
	{"overcharge", dewLow, -0.8, "suction would rather be high"},
	{"overcharge", usuallyFine, -1.1, "too much charge is always too much"},

	{"accumulator_full", always, -0.2, ""},
	{"accumulator_full", coilsDry, 2.4, "the liquid does not come from a coil now"},
	{"accumulator_full", flat, 0.6, "a vessel empties itself evenly"},
	{"accumulator_full", dischargeDry, -1.5, "a vessel sends liquid"},
	{"accumulator_full", afterDefrost, 0.6, "a restart fills the vessel"},
	{"accumulator_full", lone, -1.2, "few lone units have one"},
	{"accumulator_full", warmAir, -2.8, "then the air explains it"},
	{"accumulator_full", airHot, -2.4, "then the air explains it"},
	{"accumulator_full", noOutlet, 0.3, "the outlets would tell; they cannot speak against it"},
	{"accumulator_full", coilLow, -0.8, "a coil explains it"},

	{"hot_gas_carryover", always, -2.3, ""},
	{"hot_gas_carryover", hotGasEnded, 3.5, "condensate was left in the coil"},
	{"hot_gas_carryover", hotGasUnseen, 2.0, "condensate may have been left in the coil"},
	{"hot_gas_carryover", lasts, -2.3, "there is only so much of it"},
	{"hot_gas_carryover", recurs, -1.8, "it needs a defrost"},
	{"hot_gas_carryover", brief, 1.7, "there is only so much of it"},
	{"hot_gas_carryover", airHot, -1.5, "then the air explains it"},

	{"sensor_misplaced", always, -2.4, ""},
	{"sensor_misplaced", coilsDry, 1.2, "nothing else is wet"},
	{"sensor_misplaced", dischargeDry, 2.2, "what is compressed is gas"},
	{"sensor_misplaced", twinsDry, 1.0, "only this reading is low"},

	{"unknown", always, -1.5, "the signs are weak"},
}

// causeNames are the contract's words in the order of the table.
var causeNames = func() []string {
	var names []string
	for _, w := range weights {
		if len(names) == 0 || names[len(names)-1] != w.cause {
			names = append(names, w.cause)
		}
	}
	return names
}()

// leastScore is the score below which a cause is not worth a line.
const leastScore = 0.03

// weigh adds up the table; the scores of all causes sum to 1, of which the
// ones worth a line are returned. own are the signs of this floodback alone,
// which words speak of; outlet says whether it is measured.
func weigh(s, own *[signCount]float64, outlet bool) []Ranked {
	out := make([]Ranked, 0, len(causeNames))
	for _, w := range weights {
		if len(out) == 0 || out[len(out)-1].Name != w.cause {
			out = append(out, Ranked{Name: w.cause})
		}
		r := &out[len(out)-1]
		part := w.w * s[w.s]
		r.Score += part
		if part > 0.25 && w.s != always && own[w.s] > 0.25 {
			r.Why = append(r.Why, evidence.Item{Code: evidence.Sentence, Text: words(w.s, outlet) + ": " + w.why})
		}
	}
	for i := range out {
		out[i].Score = math.Exp(out[i].Score)
	}
	share(out)
	for i := range out {
		if out[i].Score < leastScore {
			return out[:max(i, 1)]
		}
	}
	return out
}
