package evidence

// Codes of what the detectors of a compressor find.
const (
	// Floodback: the estimate that opens an event, and what its grade stands on.
	GasSuperheatEstimate   Code = "gas_superheat_estimate"
	RepeatedDips           Code = "repeated_dips"
	LineAtDew              Code = "line_at_dew"
	DischargeAtCondensing  Code = "discharge_at_condensing"
	DischargeShortfall     Code = "discharge_shortfall"
	NoDischargeTemperature Code = "no_discharge_temperature"
	MachineNotLearned      Code = "machine_not_learned"
	WetOil                 Code = "wet_oil"

	// Flooded start.
	FloodedStart     Code = "flooded_start"
	OilBeforeStart   Code = "oil_before_start"
	OilBoiling       Code = "oil_boiling"
	SumpFell         Code = "sump_fell"
	LineWetAtStart   Code = "line_wet_at_start"
	DischargeNotWarm Code = "discharge_not_warm"

	// Hunting.
	SuperheatSwings Code = "superheat_swings"
	SwingLows       Code = "swing_lows"

	// High superheat.
	HighSuperheat             Code = "high_superheat"
	HighDischarge             Code = "high_discharge"
	HighSuperheatAndDischarge Code = "high_superheat_and_discharge"
)

var floodbackEntries = []entry{
	{GasSuperheatEstimate, "lowest estimated gas superheat, sensor lag removed: {gas_superheat_k}"},
	{RepeatedDips, "short dips below the floor add up to {below_seconds} within the last {within_seconds}, more than the hold time twice"},
	{LineAtDew, "the suction line was at dew for {at_dew_seconds}: the gas is wet, and superheat cannot show how wet"},
	{DischargeAtCondensing, "discharge at the condensing temperature: {liquid_share:1} of liquid by mass or more"},
	{DischargeShortfall, "discharge heads for {shortfall_k:0} below what dry gas gives on this machine: about {liquid_share:1} of liquid by mass, ± {uncertainty_share:1}"},
	{NoDischargeTemperature, "no discharge temperature: wetness is judged by the suction line alone"},
	{MachineNotLearned, "the machine's efficiency is not learned yet: the discharge temperature shows gross wetness only"},
	{WetOil, "while the suction line was at dew, the oil sump, smoothed, came down to {smoothed_sump_over_dew_k} above dew and fell by up to {sump_fall_k_per_min}"},

	{FloodedStart, "started after {stopped_seconds} with signs of refrigerant in the oil"},
	{OilBeforeStart, "before the start the oil, smoothed, stood {smoothed_oil_over_dew_k} above dew; {safe_oil_over_dew_k} is safe"},
	{OilBoiling, "for {boiling_seconds} of running the oil was within {boiling_over_dew_k} of dew: refrigerant boils out of it"},
	{SumpFell, "the oil sump fell by {sump_fall_k} after the start"},
	{LineWetAtStart, "the suction line was near dew for {near_dew_seconds} of the first minutes"},
	{DischargeNotWarm, "the discharge does not warm up: {discharge_over_condensing_k} above the condensing temperature"},

	{SuperheatSwings, "superheat swings by {swing_k} with a period of {period_seconds}"},
	{SwingLows, "lowest turning point of these swings, smoothed: {smoothed_low_k}; the floor is {floor_k}"},

	{HighSuperheat, "superheat, mean of a minute, {mean_superheat_k:0}: gas too hot to cool and lubricate"},
	{HighDischarge, "discharge, mean of a minute, {mean_discharge_c:0}: too hot to lubricate"},
	{HighSuperheatAndDischarge, "means of a minute: superheat {mean_superheat_k:0}, discharge {mean_discharge_c:0}: gas too hot to cool and lubricate"},
}
