package evidence

// Codes of why an input or a superheat is not good.
const (
	SourceFailure Code = "source_failure" // the source's own reason
	NeverRead     Code = "never_read"
	Stale         Code = "stale"
	NotANumber    Code = "not_a_number"
	OutOfRange    Code = "out_of_range"
	Sentinel      Code = "sentinel"
	Jump          Code = "jump"
	NoDew         Code = "no_dew"
	NoInput       Code = "no_input"
)

// Codes of the uncertainty of a superheat.
const (
	ClampReadsHigh         Code = "clamp_reads_high"
	WeatherShared          Code = "weather_shared"
	LagWhileDewMoves       Code = "lag_while_dew_moves"
	FloorWithinUncertainty Code = "floor_within_uncertainty"
	ImproveOrRaiseFloor    Code = "improve_or_raise_floor" // the remedy of it
	SensorLagConfigured    Code = "sensor_lag_configured"
	SensorLagLearned       Code = "sensor_lag_learned"
	SensorLagAssumed       Code = "sensor_lag_assumed"
)

// Codes of what cannot be judged with the readings that a site has.
const (
	HuntingTooQuick         Code = "hunting_too_quick"
	DipsTooShort            Code = "dips_too_short"
	WetnessByLineAlone      Code = "wetness_by_line_alone"
	DefrostsByPressureAlone Code = "defrosts_by_pressure_alone"
)

var superheatEntries = []entry{
	{SourceFailure, "{reason}"},
	{NeverRead, "nothing was read yet"},
	{Stale, "no new reading for longer than allowed"},
	{NotANumber, "the device sent something that is not a number"},
	{OutOfRange, "no working sensor in this place can read this; check wiring, scaling and unit"},
	{Sentinel, "jumped to a number that devices send for 'no probe'; check the probe and its wiring"},
	{Jump, "changed faster than this place can; believed only if it stays"},
	{NoDew, "the pressure is outside the refrigerant's table; check refrigerant, unit, gauge or absolute"},
	{NoInput, "the site has no such input"},

	{ClampReadsHigh, "a clamp on a cold pipe reads high, never low: superheat is at most what is shown"},
	{WeatherShared, "air pressure about the configured one; it is the same for all compressors of the site"},
	{LagWhileDewMoves, "only while the dew temperature moves"},
	{FloorWithinUncertainty, "a floor of {floor_k} is not above the uncertainty of the superheat (±{uncertainty_k}): a reading at the floor cannot be told from wet gas"},
	{ImproveOrRaiseFloor, "improve the {part} first, or raise the floor"},
	{HuntingTooQuick, "read each {interval_seconds}, hunting is seen only with periods above {period_seconds}"},
	{DipsTooShort, "read each {interval_seconds}, superheat opens an event only after {least_seconds} below the floor"},
	{WetnessByLineAlone, "without a discharge temperature the line alone shows how wet the gas is, and a fully wet line reads the same however wet it is"},
	{DefrostsByPressureAlone, "a circuit has neither a defrost signal nor a coil outlet temperature: its defrosts are seen only by what they do to the suction line"},

	{SensorLagConfigured, "{lag_seconds} ±{spread_share}, configured"},
	{SensorLagLearned, "{lag_seconds} ±{spread_share}, learned from {changes_count} changes of pressure"},
	{SensorLagAssumed, "{lag_seconds} ±{spread_share}, assumed until it is learned"},
}
