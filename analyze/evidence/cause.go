package evidence

// Codes of why a circuit is a likely source of liquid.
const (
	CircuitOutletLow         Code = "circuit_outlet_low"
	CircuitRestarted         Code = "circuit_restarted"
	CircuitAirFarAboveDew    Code = "circuit_air_far_above_dew"
	CircuitOutletSwings      Code = "circuit_outlet_swings"
	CircuitDefrostCold       Code = "circuit_defrost_cold"
	CircuitShutDriesUp       Code = "circuit_shut_dries_up"
	CircuitOutletNotMeasured Code = "circuit_outlet_not_measured"
)

var circuitEntries = []entry{
	{CircuitOutletLow, "its coil outlet came down to {superheat_k} above dew, where {normal_k} is normal"},
	{CircuitRestarted, "it went back to refrigeration {ago_seconds} ago"},
	{CircuitAirFarAboveDew, "its air is {more_k} further above dew than with a clean coil"},
	{CircuitOutletSwings, "its outlet superheat swings by about {swing_k:0}"},
	{CircuitDefrostCold, "its last defrost reached only {peak_c} at the coil outlet"},
	{CircuitShutDriesUp, "the compressors' superheat rose by {rise_k:0} while it was shut for defrost"},
	{CircuitOutletNotMeasured, "its coil outlet temperature is not measured; that would confirm or clear it"},
}

// CauseReason returns the code of what a feature of a floodback means for a
// cause: it supports the cause, or contradicts it. The words are those of the
// table below. Where the coil outlet is not measured, the superheat at the
// compressor stands for it, and the code has an ending for that.
func CauseReason(cause, feature string, supports, outletMeasured bool) Code {
	code := cause + "_" + feature
	if !supports {
		code = "against_" + code
	}
	for _, f := range causeFeatures {
		if f.feature == feature && f.atCompressor != "" && !outletMeasured {
			code += "_at_compressor"
		}
	}
	return Code(code)
}

// causeFeatures are what is found in a floodback; atCompressor is the sentence
// where the superheat at the compressor stands for an outlet that is not
// measured.
var causeFeatures = []struct{ feature, text, atCompressor string }{
	{"after_defrost", "it began soon after a defrost of this circuit", ""},
	{"at_restart", "it began with the restart, not minutes later", ""},
	{"no_defrost", "no defrost came before it", ""},
	{"defrost_unseen", "a defrost may have ended shortly before; no input shows it", ""},
	{"other_circuit_defrosted", "it began after another circuit's defrost", ""},
	{"hot_gas_ended", "it began as the hot-gas defrost ended", ""},
	{"hot_gas_unseen", "a hot-gas defrost may have ended; no input shows it", ""},
	{"hot_gas_on", "hot gas goes through this circuit, whose liquid valve is shut", ""},
	{"sudden_fall", "the superheat fell within a minute", ""},
	{"feeds_while_stopped", "suction pressure jumps up as soon as the compressor stops", ""},
	{"only_circuit", "the group has one circuit", ""},
	{"only_circuit_feeds", "suction pressure comes up at once at each stop, so nothing shuts the feed", ""},
	{"only_circuit_shuts", "suction pressure stays down at each stop, so a valve shuts the feed", ""},
	{"at_own_start", "it comes with the start of the machine, again and again", ""},
	{"outlet_low", "the coil outlet comes down to dew", "the superheat at the compressor comes down to zero"},
	{"outlet_usually_low", "the outlet was low for most of the day before, too", "the superheat at the compressor was low for most of the day before, too"},
	{"only_outlet_usually_low", "the one outlet was low for most of the day before", "the superheat of the one circuit was low for most of the day before"},
	{"outlet_usually_normal", "the outlet is normal at other times", "the superheat at the compressor is normal at other times"},
	{"outlet_fell_at_once", "the outlet came down at once", "the superheat at the compressor came down at once"},
	{"outlet_sank_slowly", "the outlet had been sinking before it came down", "the superheat at the compressor had been sinking before it came down"},
	{"outlet_dry", "its coil outlet is dry while the compressor's line is near dew", ""},
	{"outlet_swings", "the outlet swings by itself", "the superheat at the compressor swings by itself"},
	{"outlet_low_and_still", "the outlet is low without swinging", "the superheat at the compressor is low without swinging"},
	{"outlet_stays_at_dew", "the outlet stays at dew", "the superheat at the compressor stays near zero"},
	{"outlet_not_measured", "the coil outlet is not measured", ""},
	{"all_coils_dry", "every coil outlet is dry while the compressor's line is at dew", ""},
	{"most_coils_low", "most coils are low at once", ""},
	{"compressor_superheat_swings", "the superheat at the compressor swings", ""},
	{"flat_near_dew", "the superheat stays flat near dew", ""},
	{"lasting", "it lasts", ""},
	{"brief", "it is short", ""},
	{"recurs_without_restart", "it comes back with no restart near", ""},
	{"defrosts_help", "defrosts help for a while", ""},
	{"defrosts_do_not_help", "defrosts do not help", ""},
	{"cold_defrost", "the last defrost did not get warm", ""},
	{"long_defrost", "the last defrost took longer than usual", ""},
	{"short_defrost", "the last defrost was much shorter than the neighbours'", ""},
	{"longer_than_neighbours", "the last defrost was much longer than the neighbours'", ""},
	{"complete_defrost", "the last defrost was complete", ""},
	{"warm_air", "the air is further above dew than with a clean coil", ""},
	{"very_warm_air", "the air is very far above dew", ""},
	{"warm_air_after_good_defrost", "the air stays far above dew after a good defrost", ""},
	{"cold_air", "the air is colder than usual", ""},
	{"air_not_measured", "the air is not measured", ""},
	{"load_lost_at_once", "the coil lost its load within minutes", ""},
	{"load_lost_slowly", "the coil lost its load over hours", ""},
	{"low_suction", "suction pressure is lower than usual", ""},
	{"many_compressors_run", "more compressors run than usual", ""},
	{"few_compressors_run", "fewer compressors run than usual", ""},
	{"high_condensing", "condensing pressure is higher than usual", ""},
	{"dry_discharge", "the discharge temperature shows dry gas", ""},
	{"other_compressors_dry", "the other compressors on the same header are dry", ""},
}

// causeReason is what a feature means for a cause, in the trade's reasoning.
type causeReason struct{ cause, feature, because string }

// supporting reasons make a cause likelier.
var supporting = []causeReason{
	{"valve_stuck_open", "outlet_usually_low", "a stuck valve is never right"},
	{"valve_stuck_open", "outlet_low_and_still", "a stuck valve does not move"},
	{"valve_stuck_open", "lasting", "a stuck valve does not close"},
	{"valve_stuck_open", "cold_air", "the coil gets more than it needs"},
	{"valve_stuck_open", "outlet_stays_at_dew", "with a stuck valve it does not come up"},
	{"valve_stuck_open", "outlet_fell_at_once", "the valve may have stuck at that moment"},
	{"valve_stuck_open", "defrosts_do_not_help", "a stuck valve has nothing to do with ice"},
	{"valve_stuck_open", "many_compressors_run", "more flows than the coil needs"},
	{"valve_stuck_open", "outlet_not_measured", "an outlet temperature could contradict a stuck valve"},
	{"valve_stuck_open", "feeds_while_stopped", "a stuck valve does not shut, nor does any device where no valve stops the feed"},

	{"valve_oversized", "outlet_swings", "an orifice too big for the load hunts"},
	{"valve_oversized", "after_defrost", "a large valve passes too much in the first rush"},
	{"valve_oversized", "at_restart", "a large valve passes too much from the first moment"},
	{"valve_oversized", "at_own_start", "the valve overshoots at each start"},

	{"valve_hunting", "outlet_swings", "this is the oscillation itself"},
	{"valve_hunting", "compressor_superheat_swings", "the oscillation reaches the compressor"},
	{"valve_hunting", "recurs_without_restart", "swing follows swing"},
	{"valve_hunting", "brief", "each swing is short"},
	{"valve_hunting", "no_defrost", "a hunting valve needs no defrost"},
	{"valve_hunting", "outlet_not_measured", "an outlet temperature could contradict a hunting valve"},
	{"valve_hunting", "at_own_start", "the valve overshoots at each start"},

	{"iced_coil", "warm_air", "ice keeps the heat of the air from the coil"},
	{"iced_coil", "load_lost_slowly", "ice grows slowly"},
	{"iced_coil", "cold_defrost", "ice was left"},
	{"iced_coil", "long_defrost", "there was more ice to melt"},
	{"iced_coil", "low_suction", "suction sinks with the load"},
	{"iced_coil", "outlet_sank_slowly", "ice grows slowly"},
	{"iced_coil", "defrosts_help", "a defrost takes the ice away"},
	{"iced_coil", "very_warm_air", "ice shuts the coil to the air"},
	{"iced_coil", "outlet_stays_at_dew", "an iced coil cannot boil what it gets"},
	{"iced_coil", "outlet_low", "an iced coil cannot boil what it gets"},
	{"iced_coil", "few_compressors_run", "an iced coil takes less heat in"},
	{"iced_coil", "air_not_measured", "an air temperature could contradict ice"},
	{"iced_coil", "short_defrost", "it may have left ice"},
	{"iced_coil", "longer_than_neighbours", "there is more ice to melt"},

	{"defrost_incomplete", "cold_defrost", "the defrost ended by time, not by temperature"},
	{"defrost_incomplete", "long_defrost", "the heat was not enough for the usual time"},
	{"defrost_incomplete", "warm_air", "ice was left"},
	{"defrost_incomplete", "load_lost_slowly", "each defrost leaves some ice"},
	{"defrost_incomplete", "short_defrost", "it ended before the ice was gone"},
	{"defrost_incomplete", "longer_than_neighbours", "the heat is weak: it ran until the clock ended it"},

	{"low_airflow", "warm_air", "the coil gets too little air"},
	{"low_airflow", "outlet_stays_at_dew", "without air the coil cannot boil what it gets"},
	{"low_airflow", "load_lost_at_once", "a fan fails at once"},
	{"low_airflow", "warm_air_after_good_defrost", "defrosts do not mend a fan"},
	{"low_airflow", "low_suction", "suction sinks with the load"},
	{"low_airflow", "defrosts_do_not_help", "defrosts do not mend a fan"},
	{"low_airflow", "very_warm_air", "air that does not move takes no cold along"},
	{"low_airflow", "few_compressors_run", "a coil without air takes less heat in"},
	{"low_airflow", "air_not_measured", "an air temperature could contradict a lack of air"},

	{"load_change_after_defrost", "after_defrost", "this is the first rush of a warm coil"},
	{"load_change_after_defrost", "outlet_usually_normal", "the valve is right, the load was not"},
	{"load_change_after_defrost", "brief", "the rush is over within minutes"},
	{"load_change_after_defrost", "defrost_unseen", "a rush after it would look like this"},
	{"load_change_after_defrost", "sudden_fall", "the rush comes at once"},

	{"overcharge", "most_coils_low", "too much charge reaches all coils"},
	{"overcharge", "high_condensing", "surplus liquid fills the condenser"},
	{"overcharge", "only_circuit", "the charge is critical in a small unit"},
	{"overcharge", "only_outlet_usually_low", "too much charge is always too much"},
	{"overcharge", "outlet_low_and_still", "a fixed restriction does not swing"},
	{"overcharge", "recurs_without_restart", "it comes and goes with condensing pressure"},
	{"overcharge", "outlet_low", "the coil is overfed"},
	{"overcharge", "only_circuit_feeds", "a unit with a capillary is critically charged"},
	{"overcharge", "at_own_start", "surplus liquid lies in the coil at each stop"},

	{"accumulator_full", "all_coils_dry", "the liquid does not come from a coil now"},
	{"accumulator_full", "flat_near_dew", "a vessel empties itself evenly"},
	{"accumulator_full", "after_defrost", "a restart fills the vessel"},
	{"accumulator_full", "outlet_not_measured", "a dry outlet would point to the vessel, a wet one to the coil"},

	{"hot_gas_carryover", "hot_gas_ended", "condensate was left in the coil"},
	{"hot_gas_carryover", "hot_gas_unseen", "condensate may have been left in the coil"},
	{"hot_gas_carryover", "brief", "there is only so much condensate"},
	{"hot_gas_carryover", "hot_gas_on", "the liquid can only be its condensate"},

	{"sensor_misplaced", "all_coils_dry", "nothing else is wet"},
	{"sensor_misplaced", "dry_discharge", "what is compressed is gas"},
	{"sensor_misplaced", "other_compressors_dry", "only this reading is low"},
}

// contradicting reasons make a cause less likely. Scores use them; they are not
// listed with the events today.
var contradicting = []causeReason{
	{"valve_stuck_open", "outlet_swings", "a stuck valve does not swing"},
	{"valve_stuck_open", "outlet_usually_normal", "a stuck valve is never right, unless it stuck just now"},
	{"valve_stuck_open", "load_lost_at_once", "the coil of a stuck valve keeps its load"},
	{"valve_stuck_open", "recurs_without_restart", "a stuck valve does not let go"},
	{"valve_stuck_open", "outlet_sank_slowly", "a valve does not stick slowly"},
	{"valve_stuck_open", "defrosts_help", "a defrost does not free a valve"},
	{"valve_stuck_open", "long_defrost", "ice explains it"},
	{"valve_stuck_open", "very_warm_air", "an overfed coil makes cold air"},
	{"valve_stuck_open", "sudden_fall", "a stuck valve is always wet, not suddenly"},
	{"valve_stuck_open", "low_suction", "an overfed coil raises suction"},
	{"valve_stuck_open", "short_defrost", "ice explains it"},
	{"valve_stuck_open", "longer_than_neighbours", "ice explains it"},
	{"valve_stuck_open", "only_circuit_feeds", "there may be no valve"},
	{"valve_stuck_open", "outlet_dry", "a coil that passes liquid has a wet outlet"},

	{"valve_oversized", "load_lost_at_once", "the coil of a large valve keeps its load"},
	{"valve_oversized", "outlet_low_and_still", "a large valve swings at low load"},
	{"valve_oversized", "cold_defrost", "ice explains it"},
	{"valve_oversized", "very_warm_air", "an overfed coil makes no warm air"},
	{"valve_oversized", "outlet_usually_low", "a large valve is right at full load"},
	{"valve_oversized", "short_defrost", "ice explains it"},
	{"valve_oversized", "only_circuit_feeds", "there may be no valve"},

	{"valve_hunting", "outlet_low_and_still", "a hunting valve swings"},
	{"valve_hunting", "outlet_stays_at_dew", "with a hunting valve it comes up again"},
	{"valve_hunting", "load_lost_at_once", "the coil of a hunting valve keeps its load"},
	{"valve_hunting", "outlet_sank_slowly", "the mean of a hunting valve is right"},
	{"valve_hunting", "very_warm_air", "a hunting valve makes no warm air"},
	{"valve_hunting", "outlet_usually_low", "the mean of a hunting valve is right"},
	{"valve_hunting", "short_defrost", "ice explains it"},
	{"valve_hunting", "only_circuit_feeds", "there may be no valve"},

	{"iced_coil", "warm_air_after_good_defrost", "a good defrost would have taken the ice away"},
	{"iced_coil", "load_lost_at_once", "ice does not come at once"},
	{"iced_coil", "defrosts_do_not_help", "a defrost would help an iced coil for a while"},
	{"iced_coil", "cold_air", "an iced coil makes warm air"},
	{"iced_coil", "outlet_dry", "a coil that passes liquid has a wet outlet"},

	{"defrost_incomplete", "complete_defrost", "it did finish"},
	{"defrost_incomplete", "outlet_dry", "a coil that passes liquid has a wet outlet"},

	{"low_airflow", "load_lost_slowly", "a fan fails at once"},
	{"low_airflow", "outlet_sank_slowly", "a fan fails at once"},
	{"low_airflow", "defrosts_help", "a defrost does not mend a fan"},
	{"low_airflow", "cold_defrost", "ice explains it"},
	{"low_airflow", "outlet_dry", "a coil that passes liquid has a wet outlet"},

	{"load_change_after_defrost", "lasting", "the rush passes"},
	{"load_change_after_defrost", "other_circuit_defrosted", "the rush is in the circuit that defrosted"},
	{"load_change_after_defrost", "no_defrost", "the rush needs a defrost"},
	{"load_change_after_defrost", "recurs_without_restart", "the rush needs a defrost"},
	{"load_change_after_defrost", "outlet_swings", "the valve explains it"},
	{"load_change_after_defrost", "outlet_usually_low", "the valve explains it"},
	{"load_change_after_defrost", "very_warm_air", "the lack of air explains it"},
	{"load_change_after_defrost", "hot_gas_ended", "the hot gas explains it"},
	{"load_change_after_defrost", "at_restart", "the rush comes some minutes later"},
	{"load_change_after_defrost", "hot_gas_on", "the hot gas explains it"},

	{"overcharge", "outlet_sank_slowly", "the charge does not change in hours"},
	{"overcharge", "load_lost_at_once", "an overcharged coil keeps its load"},
	{"overcharge", "outlet_swings", "the valve explains it"},
	{"overcharge", "outlet_fell_at_once", "the charge does not change at once"},
	{"overcharge", "warm_air", "an overfed coil makes no warm air"},
	{"overcharge", "cold_defrost", "ice explains it"},
	{"overcharge", "low_suction", "an overfed coil raises suction"},
	{"overcharge", "outlet_usually_normal", "too much charge is always too much"},
	{"overcharge", "only_circuit_shuts", "where a valve meters, charge is rarely critical"},

	{"accumulator_full", "dry_discharge", "a vessel sends liquid"},
	{"accumulator_full", "only_circuit", "few units with one circuit have a vessel"},
	{"accumulator_full", "warm_air", "the lack of air explains it"},
	{"accumulator_full", "very_warm_air", "the lack of air explains it"},
	{"accumulator_full", "outlet_low", "a wet coil explains it"},

	{"hot_gas_carryover", "lasting", "there is only so much condensate"},
	{"hot_gas_carryover", "recurs_without_restart", "it needs a defrost"},
	{"hot_gas_carryover", "very_warm_air", "the lack of air explains it"},
}

// CauseReasons returns the codes of all reasons of causes.
func CauseReasons() []Code {
	var codes []Code
	for _, e := range causeEntries {
		codes = append(codes, e.code)
	}
	return codes
}

// causeEntries are the sentences of all reasons: what was found, and what that
// means for the cause.
var causeEntries = func() []entry {
	var all []entry
	for _, list := range []struct {
		reasons  []causeReason
		supports bool
		before   string
	}{{supporting, true, ""}, {contradicting, false, "against it: "}} {
		for _, r := range list.reasons {
			for _, f := range causeFeatures {
				if f.feature != r.feature {
					continue
				}
				all = append(all, entry{CauseReason(r.cause, r.feature, list.supports, true), list.before + f.text + ": " + r.because})
				if f.atCompressor != "" {
					all = append(all, entry{CauseReason(r.cause, r.feature, list.supports, false), list.before + f.atCompressor + ": " + r.because})
				}
			}
		}
	}
	return all
}()
