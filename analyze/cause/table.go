package cause

import "math"

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
	{"valve_stuck_open", always, 0.5, ""},
	{"valve_stuck_open", noDefrost, 0.5, "a stuck valve feeds liquid whatever the load"},
	{"valve_stuck_open", alwaysLow, 1.3, "a stuck valve is never right"},
	{"valve_stuck_open", coilLow, 0.1, "liquid comes through this coil"},
	{"valve_stuck_open", still, 0.8, "a stuck valve does not move"},
	{"valve_stuck_open", lasts, 0.1, "it does not close"},
	{"valve_stuck_open", coldAir, 0.9, "the coil gets more than it needs"},
	{"valve_stuck_open", swings, -1.8, "a stuck valve does not swing"},
	{"valve_stuck_open", usuallyFine, -1.3, "a stuck valve is never right"},
	{"valve_stuck_open", fellAtOnce, 0.7, "it stuck at that moment"},
	{"valve_stuck_open", unrelieved, 0.1, "it has nothing to do with ice"},
	{"valve_stuck_open", warmAir, -0.5, "the air would be cold"},
	{"valve_stuck_open", crept, -0.3, "a valve does not stick slowly"},
	{"valve_stuck_open", relieved, -0.1, "a defrost would not help"},
	{"valve_stuck_open", coldMelt, -0.1, "then ice explains it"},
	{"valve_stuck_open", longMelt, -1.5, "then ice explains it"},
	{"valve_stuck_open", airHot, -1.6, "the air would be cold"},
	{"valve_stuck_open", sudden, -0.8, "it is always so"},
	{"valve_stuck_open", afterDefrost, -0.1, "it needs no defrost"},

	{"valve_oversized", always, -0.8, ""},
	{"valve_oversized", swings, 1.8, "an orifice too big for the load hunts"},
	{"valve_oversized", afterDefrost, 1.6, "too much at the first rush"},
	{"valve_oversized", coilLow, 0.1, "liquid comes through this coil"},
	{"valve_oversized", still, -1.2, "it would swing at low load"},
	{"valve_oversized", warmAir, -0.1, "the air would not be warm"},
	{"valve_oversized", coldMelt, -0.6, "then ice explains it"},
	{"valve_oversized", airHot, -0.9, "the air would not be warm"},
	{"valve_oversized", alwaysLow, -0.8, "it is right at full load"},
	{"valve_oversized", brief, 0.1, "it comes and goes"},
	{"valve_oversized", noDefrost, 0.1, "it needs no defrost"},

	{"valve_hunting", always, -1.2, ""},
	{"valve_hunting", swings, 2.6, "the oscillation itself"},
	{"valve_hunting", inletSwings, 1.2, "the oscillation reaches the compressor"},
	{"valve_hunting", noDefrost, 1.4, "it needs no defrost"},
	{"valve_hunting", still, -0.1, "the outlet would swing"},
	{"valve_hunting", warmAir, -0.9, "the air would not be warm"},
	{"valve_hunting", airHot, -1.3, "the air would not be warm"},
	{"valve_hunting", alwaysLow, -1.1, "the mean would be right"},
	{"valve_hunting", brief, 0.6, "each swing is short"},

	{"iced_coil", always, -1.2, ""},
	{"iced_coil", warmAir, 1.0, "ice keeps the air's heat from the coil"},
	{"iced_coil", airCrept, 2.3, "ice grows slowly"},
	{"iced_coil", coldMelt, 1.8, "ice was left"},
	{"iced_coil", longMelt, 2.1, "there was more ice to melt"},
	{"iced_coil", coilLow, 1.1, "the coil cannot boil what it gets"},
	{"iced_coil", dewLow, 1.5, "suction sinks with the load"},
	{"iced_coil", crept, 1.4, "ice grows slowly"},
	{"iced_coil", relieved, 0.6, "a defrost takes the ice away"},
	{"iced_coil", unrelieved, -0.1, "a defrost would help for a while"},
	{"iced_coil", airUncured, -1.3, "a good defrost would have cured it"},
	{"iced_coil", airHot, 0.5, "ice shuts the coil to the air"},
	{"iced_coil", airStepped, -1.4, "ice does not come at once"},
	{"iced_coil", fellAtOnce, -0.1, "ice does not come at once"},
	{"iced_coil", coldAir, -0.3, "the air would be warm"},

	{"defrost_incomplete", always, -2.0, ""},
	{"defrost_incomplete", coldMelt, 2.3, "it ended by time, not warm"},
	{"defrost_incomplete", longMelt, 0.6, "the heat did not do in the usual time"},
	{"defrost_incomplete", warmAir, 0.5, "ice was left"},
	{"defrost_incomplete", goodMelt, -1.2, "the defrost was complete"},
	{"defrost_incomplete", airCrept, 0.4, "ice is left by each defrost"},

	{"low_airflow", always, -0.5, ""},
	{"low_airflow", warmAir, 2.0, "the coil gets too little air"},
	{"low_airflow", airStepped, 1.5, "a fan fails at once"},
	{"low_airflow", airUncured, 1.4, "defrosts do not mend a fan"},
	{"low_airflow", coilLow, 0.1, "the coil cannot boil what it gets"},
	{"low_airflow", dewLow, 0.1, "suction sinks with the load"},
	{"low_airflow", unrelieved, 0.9, "defrosts do not mend a fan"},
	{"low_airflow", relieved, -1.1, "a defrost would not help"},
	{"low_airflow", coldMelt, -0.1, "then ice explains it"},
	{"low_airflow", longMelt, -0.7, "then ice explains it"},
	{"low_airflow", airHot, 2.1, "air that does not move takes no cold along"},
	{"low_airflow", airCrept, -0.2, "a fan fails at once"},
	{"low_airflow", coldAir, -0.1, "the air would be warm"},
	{"low_airflow", fellAtOnce, 0.1, "a fan fails at once"},

	{"load_change_after_defrost", always, -1.8, ""},
	{"load_change_after_defrost", afterDefrost, 1.7, "the warm coil's first rush"},
	{"load_change_after_defrost", usuallyFine, 1.3, "normal otherwise"},
	{"load_change_after_defrost", brief, 0.4, "over within minutes"},
	{"load_change_after_defrost", lasts, -2.2, "it would pass"},
	{"load_change_after_defrost", otherDefrosted, -0.1, "the defrost was another circuit's"},
	{"load_change_after_defrost", goodMelt, 0.1, "nothing is wrong with the defrost"},
	{"load_change_after_defrost", noDefrost, -2.9, "there was no defrost"},
	{"load_change_after_defrost", swings, -1.0, "then the valve explains it"},
	{"load_change_after_defrost", alwaysLow, -1.3, "then the valve explains it"},
	{"load_change_after_defrost", coldMelt, -1.2, "then ice explains it"},
	{"load_change_after_defrost", airHot, -1.0, "then the air explains it"},
	{"load_change_after_defrost", sudden, 1.5, "the rush comes at once"},
	{"load_change_after_defrost", hotGasEnded, -2.5, "then the hot gas explains it"},

	{"overcharge", always, -2.1, ""},
	{"overcharge", manyLow, 1.7, "all coils at once"},
	{"overcharge", headHigh, 0.1, "the condenser is full"},
	{"overcharge", lasts, 0.1, "it does not pass"},
	{"overcharge", lone, 2.2, "the charge is critical in a small unit"},
	{"overcharge", feedsOff, 0.1, "the device does not shut: a capillary, whose charge decides"},
	{"overcharge", alwaysLow, 1.5, "too much charge is always too much"},
	{"overcharge", warmAir, -1.9, "the air would not be warm"},
	{"overcharge", coilLow, 0.5, "the coil is overfed"},
	{"overcharge", usuallyFine, -1.0, "too much charge is always too much"},

	{"accumulator_full", always, 0.1, ""},
	{"accumulator_full", coilsDry, 1.7, "the liquid does not come from a coil now"},
	{"accumulator_full", flat, 0.1, "a vessel empties itself evenly"},
	{"accumulator_full", lasts, 0.1, "over minutes"},
	{"accumulator_full", coilLow, -0.1, "a coil explains it"},
	{"accumulator_full", afterDefrost, 1.3, "a restart fills the vessel"},
	{"accumulator_full", lone, -1.1, "few lone units have one"},
	{"accumulator_full", warmAir, -1.8, "then the air explains it"},
	{"accumulator_full", airHot, -1.2, "then the air explains it"},
	{"accumulator_full", alwaysLow, -0.1, "then the valve explains it"},

	{"hot_gas_carryover", always, -1.4, ""},
	{"hot_gas_carryover", hotGasEnded, 3.5, "condensate was left in the coil"},
	{"hot_gas_carryover", sudden, 0.1, "it comes with the opening of the valve"},
	{"hot_gas_carryover", brief, 1.3, "there is only so much of it"},
	{"hot_gas_carryover", airHot, -1.2, "then the air explains it"},

	{"sensor_misplaced", always, -3.0, ""},
	{"sensor_misplaced", coilsDry, 0.8, "nothing else is wet"},
	{"sensor_misplaced", dischargeDry, 1.5, "what is compressed is gas"},
	{"sensor_misplaced", twinsDry, 0.5, "only this reading is low"},

	{"unknown", always, -2.8, "the signs are weak"},
	{"unknown", noOutlet, 0.1, "the coil outlets would tell"},
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
// which words speak of.
func weigh(s, own *[signCount]float64) []Ranked {
	out := make([]Ranked, 0, len(causeNames))
	for _, w := range weights {
		if len(out) == 0 || out[len(out)-1].Name != w.cause {
			out = append(out, Ranked{Name: w.cause})
		}
		r := &out[len(out)-1]
		part := w.w * s[w.s]
		r.Score += part
		if part > 0.25 && w.s != always && own[w.s] > 0.25 {
			r.Why = append(r.Why, signWords[w.s]+": "+w.why)
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
