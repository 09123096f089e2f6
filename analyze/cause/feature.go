package cause

// feature is one named piece of evidence about the cause. Its degree goes from
// 0 (absent or not known) to 1 (plain).
type feature int

const (
	afterDefrost              feature = iota // the circuit went back to refrigeration within the last quarter of an hour
	atRestart                                // the floodback began with that restart, not minutes later
	noDefrost                                // no circuit of the group restarted shortly before
	defrostUnseen                            // a defrost may have ended shortly before: no input shows it
	otherCircuitDefrosted                    // another circuit restarted shortly before, this one not
	hotGasEnded                              // a hot-gas defrost ended within three minutes before
	hotGasUnseen                             // a hot-gas defrost may have ended: no input shows it
	hotGasOn                                 // hot gas goes through the circuit now: its liquid valve is shut
	suddenFall                               // the compressor's superheat fell within a minute
	feedsWhileStopped                        // suction pressure jumps up when nothing draws
	onlyCircuit                              // the group has one circuit
	onlyCircuitFeeds                         // in a group of one circuit, suction comes up at once at each stop: nothing shuts the feed
	onlyCircuitShuts                         // in a group of one circuit, suction stays down at each stop: a valve shuts
	atOwnStart                               // it comes with the start of the machine, again and again
	outletLow                                // the outlet came down towards dew
	outletUsuallyLow                         // the outlet was low for most of the day before
	onlyOutletUsuallyLow                     // the outlet of the group's one circuit was
	outletUsuallyNormal                      // the outlet was plainly normal for most of the day before
	outletFellAtOnce                         // the outlet was as usual until it came down
	outletSankSlowly                         // the outlet had been sinking for an hour before it came down
	outletSwings                             // the outlet swings by itself, more than its neighbours
	outletDry                                // the outlet is measured and not low while the compressor is near dew
	outletLowAndStill                        // the outlet is low and does not swing
	outletStaysAtDew                         // the outlet stays at dew for minutes
	outletNotMeasured                        // there is no outlet temperature
	allCoilsDry                              // every fed coil is measured and none is low, while the compressor is near dew
	mostCoilsLow                             // most coils are low at once
	compressorSuperheatSwings                // the compressor's superheat oscillates
	flatNearDew                              // the compressor's superheat is near zero and does not move
	lasting                                  // the floodback goes on for more than ten minutes
	brief                                    // the floodback is shorter than that so far
	recursWithoutRestart                     // it comes back, and no restart is near
	defrostsHelp                             // defrosts raise the outlet again, or bring the air back
	defrostsDoNotHelp                        // defrosts were seen to change nothing
	coldDefrost                              // the last defrost did not get warm
	longDefrost                              // the last defrost took much longer than usual
	shortDefrost                             // it was much shorter than those of the neighbours with the same kind of heat
	longerThanNeighbours                     // it was much longer than theirs
	completeDefrost                          // the last defrost got warm in its usual time
	warmAir                                  // the air is further above dew than with a clean coil
	veryWarmAir                              // the air is further above dew than a dirty coil explains
	warmAirAfterGoodDefrost                  // a good defrost has not brought the air back
	coldAir                                  // the air is colder than usual: the coil gets plenty
	airNotMeasured                           // there is no air temperature
	loadLostAtOnce                           // air and suction came apart within minutes
	loadLostSlowly                           // air and suction came apart over hours
	lowSuction                               // suction dew is below its usual
	manyCompressorsRun                       // more compressors run than usual
	fewCompressorsRun                        // fewer compressors run than usual
	highCondensing                           // condensing dew is above its usual
	dryDischarge                             // the discharge temperature shows dry gas while the line reads dew
	otherCompressorsDry                      // the other compressors are far from dew
	always                                   // 1
	featureCount
)

// featureCodes are the features in the codes of evidence.
var featureCodes = [featureCount]string{
	afterDefrost: "after_defrost", atRestart: "at_restart", noDefrost: "no_defrost", defrostUnseen: "defrost_unseen",
	otherCircuitDefrosted: "other_circuit_defrosted", hotGasEnded: "hot_gas_ended", hotGasUnseen: "hot_gas_unseen", hotGasOn: "hot_gas_on",
	suddenFall: "sudden_fall", feedsWhileStopped: "feeds_while_stopped", onlyCircuit: "only_circuit", onlyCircuitFeeds: "only_circuit_feeds", onlyCircuitShuts: "only_circuit_shuts", atOwnStart: "at_own_start",
	outletLow: "outlet_low", outletUsuallyLow: "outlet_usually_low", onlyOutletUsuallyLow: "only_outlet_usually_low",
	outletUsuallyNormal: "outlet_usually_normal", outletFellAtOnce: "outlet_fell_at_once", outletSankSlowly: "outlet_sank_slowly",
	outletDry: "outlet_dry", outletSwings: "outlet_swings", outletLowAndStill: "outlet_low_and_still", outletStaysAtDew: "outlet_stays_at_dew",
	outletNotMeasured: "outlet_not_measured", allCoilsDry: "all_coils_dry", mostCoilsLow: "most_coils_low",
	compressorSuperheatSwings: "compressor_superheat_swings", flatNearDew: "flat_near_dew", lasting: "lasting", brief: "brief",
	recursWithoutRestart: "recurs_without_restart", defrostsHelp: "defrosts_help", defrostsDoNotHelp: "defrosts_do_not_help",
	coldDefrost: "cold_defrost", longDefrost: "long_defrost", shortDefrost: "short_defrost", longerThanNeighbours: "longer_than_neighbours", completeDefrost: "complete_defrost", warmAir: "warm_air",
	veryWarmAir: "very_warm_air", warmAirAfterGoodDefrost: "warm_air_after_good_defrost", coldAir: "cold_air",
	airNotMeasured: "air_not_measured", loadLostAtOnce: "load_lost_at_once", loadLostSlowly: "load_lost_slowly",
	lowSuction: "low_suction", manyCompressorsRun: "many_compressors_run", fewCompressorsRun: "few_compressors_run",
	highCondensing: "high_condensing", dryDischarge: "dry_discharge", otherCompressorsDry: "other_compressors_dry", always: "always",
}
