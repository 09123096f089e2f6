package evidence

// Anomalies of inputs that the sensor check finds.
const (
	Frozen                Code = "frozen"
	NoisyTemperature      Code = "noisy_temperature"
	NoisyPressure         Code = "noisy_pressure"
	Moved                 Code = "moved"
	PressureStepped       Code = "pressure_stepped"
	BelowSaturation       Code = "below_saturation"
	AllBelowSaturation    Code = "all_below_saturation"
	DischargeBelowSuction Code = "discharge_below_suction"
	SuctionTooDeep        Code = "suction_too_deep"
	NotAtAmbient          Code = "not_at_ambient"
	LooseClamp            Code = "loose_clamp"
	Drifted               Code = "drifted"
	TwinsDisagree         Code = "twins_disagree"
	TooLittleWork         Code = "too_little_work"
	TooMuchWork           Code = "too_much_work"
	CoilsTooDry           Code = "coils_too_dry"
	CoilsTooWet           Code = "coils_too_wet"
	NotEqualized          Code = "not_equalized"
	NotAtMeltingIce       Code = "not_at_melting_ice"
	Misconfigured         Code = "misconfigured"
	PressureMisconfigured Code = "pressure_misconfigured"
	DoesNotRespond        Code = "does_not_respond"
)

// Misconfigurations: parts of the sentences above.
const (
	GaugeTakenForAbsolute     Code = "gauge_taken_for_absolute"
	AbsoluteTakenForGauge     Code = "absolute_taken_for_gauge"
	BarTakenForPsi            Code = "bar_taken_for_psi"
	PsiTakenForBar            Code = "psi_taken_for_bar"
	FahrenheitTakenForCelsius Code = "fahrenheit_taken_for_celsius"
	CelsiusTakenForFahrenheit Code = "celsius_taken_for_fahrenheit"
	KilopascalTakenForBar     Code = "kilopascal_taken_for_bar"
	PressureInAnotherUnit     Code = "pressure_in_another_unit"
	KelvinTakenForCelsius     Code = "kelvin_taken_for_celsius"
	PressureTooLarge          Code = "pressure_ten_times_too_large"
	PressureTooSmall          Code = "pressure_ten_times_too_small"
	TemperatureTooLarge       Code = "temperature_ten_times_too_large"
	TemperatureTooSmall       Code = "temperature_ten_times_too_small"
	SignLost                  Code = "sign_lost"
	SignedTakenForUnsigned    Code = "signed_taken_for_unsigned"
	PressuresExchanged        Code = "pressures_exchanged"
	LineAndDischargeExchanged Code = "line_and_discharge_exchanged"
	CoilAndAirExchanged       Code = "coil_and_air_exchanged"
)

// Remedies of misconfigurations: parts of the sentences above.
const (
	RemedyUnit     Code = "remedy_unit"
	RemedyScale    Code = "remedy_scale"
	RemedyType     Code = "remedy_type"
	RemedyExchange Code = "remedy_exchange"
)

// Explanations without a corrected reading: parts of the sentences above.
const (
	PressureReadsHigh    Code = "pressure_reads_high"
	PressureReadsLow     Code = "pressure_reads_low"
	LineReadsLow         Code = "line_reads_low"
	LineReadsHigh        Code = "line_reads_high"
	LineWrongCurve       Code = "line_wrong_curve"
	StandingPressureOff  Code = "standing_pressure_off"
	TransmitterChanged   Code = "transmitter_changed"
	GaugeAndAbsoluteSwap Code = "gauge_and_absolute_swapped"
	LiquidInjected       Code = "liquid_injected"
	MachineFailing       Code = "machine_failing"
)

var sensorcheckEntries = []entry{
	{Frozen, "this looks like a value that is no longer measured: not one digit changed in {held_seconds} while its neighbour moved by {neighbour_k}; check whether the device still updates it, and the probe"},
	{NoisyTemperature, "jumps about by {noise_k} from sample to sample: this looks like a loose contact or a missing shield; check plugs, wiring and earth"},
	{NoisyPressure, "jumps about by {noise_difference_pa} from sample to sample: this looks like a loose contact, a missing shield or a transmitter in pulsating gas; check wiring, supply and the pressure line"},
	{Moved, "this looks like a sensor that was moved, swapped or came loose: {step_k} between two samples, from {from_c} to {to_c}, while nothing started, stopped or defrosted; check clamp, insulation and wiring"},
	{PressureStepped, "the pressure stepped from {from_pa} to {to_pa} between two samples, {dew_step_k} of dew; no pipe followed, and nothing started, stopped or defrosted: this looks like {likely_code}"},
	{BelowSaturation, "the suction line reads colder than wet gas can be (superheat {superheat_k}, uncertainty {uncertainty_k}): this looks like {line_code} or {pressure_code}"},
	{AllBelowSaturation, "the suction line of every running compressor reads colder than wet gas can be (superheat {superheat_k}, uncertainty {uncertainty_k}): this looks like {pressure_code}"},
	{DischargeBelowSuction, "the discharge pressure ({discharge_pa}) is below the suction pressure ({suction_pa}) of a running compressor: this looks like swapped transmitters or a wrong unit; check both"},
	{SuctionTooDeep, "the compressor runs at a suction of {suction_pa}, dew {dew_c}, which no such plant does: this looks like {pressure_code}"},
	{NotAtAmbient, "stopped for {stopped_seconds}, the suction line reads {line_c} in a room of {ambient_c}: this looks like {line_code}"},
	{LooseClamp, "the running suction line reads {line_c}, as the room does ({ambient_c}): this looks like a clamp that hangs beside the pipe; check that it is tight and insulated"},
	{Drifted, "against {twins_count} other suction lines of the header this one is off by {off_k} and stays there: this looks like a clamp that comes loose or a drifting probe; check it against a reference thermometer"},
	{TwinsDisagree, "the suction pressure is {suction_pa} where the other transmitters of the header show {others_pa}: this looks like a transmitter that is off, or of another range; check both against a gauge, with unit and scale"},
	{TooLittleWork, "from this suction (superheat {superheat_k}) a discharge of {discharge_c} takes less work than any compressor needs ({over_ideal_share} over the ideal compression): this looks like {likely_code}"},
	{TooMuchWork, "from this suction (superheat {superheat_k}) a discharge of {discharge_c} takes several times the work of a compressor ({over_ideal_share} over the ideal compression): this looks like {likely_code}"},
	{CoilsTooDry, "the outlet of every coil is drier than a valve lets it be, though the air is held (dew {dew_c}): this looks like {pressure_code}"},
	{CoilsTooWet, "the outlets of all coils are as cold as wet gas or colder at once (dew {dew_c}): this looks like {pressure_code}"},
	{NotEqualized, "stopped for {stopped_seconds}, the suction pressure has a dew of {dew_c}, where nothing around is colder than {coldest_c} or warmer than {warmest_c}: this looks like {pressure_code}"},
	{NotAtMeltingIce, "while the ice on the coil melts at {ice_c:0}, the standing pressure has a dew of {dew_c}, {defrosts_count} defrosts in a row: this looks like {pressure_code}"},

	{Misconfigured, "reads {reads_c}, which cannot be: this looks like {likely_code}; {remedy_code}"},
	{PressureMisconfigured, "reads {reads_pa}, which cannot be: this looks like {likely_code}; {remedy_code}"},

	{DoesNotRespond, "does not respond: at {turns_count} starts and stops of the compressors it moved by {moved_difference_pa} at the most, where temperatures beside it moved by {neighbour_k}: this looks like a transmitter behind a shut valve, a blocked pressure line, or an address of another input; compare it with a gauge, then check valve, line and address"},

	{GaugeTakenForAbsolute, "a gauge pressure taken for an absolute one (with it put right dew is {corrected_dew_c}; check the label of the transmitter and its unit in the configuration)"},
	{AbsoluteTakenForGauge, "an absolute pressure taken for a gauge one (with it put right dew is {corrected_dew_c}; check the label of the transmitter and its unit in the configuration)"},
	{BarTakenForPsi, "bar taken for psi (with it put right dew is {corrected_dew_c}; check the unit of the suction pressure)"},
	{PsiTakenForBar, "psi taken for bar (with it put right dew is {corrected_dew_c}; check the unit of the suction pressure)"},
	{FahrenheitTakenForCelsius, "degrees Fahrenheit taken for Celsius (with it put right it reads {corrected_line_c}; check the unit of this input)"},
	{CelsiusTakenForFahrenheit, "degrees Celsius taken for Fahrenheit (with it put right it reads {corrected_line_c}; check the unit of this input)"},

	{KilopascalTakenForBar, "kPa taken for bar (with it put right dew is {corrected_dew_c}; check the unit of the pressure)"},
	{PressureInAnotherUnit, "a pressure in another unit than configured (with it put right dew is {corrected_dew_c}; check the unit of the pressure)"},
	{KelvinTakenForCelsius, "kelvins taken for degrees Celsius (with it put right it reads {corrected_line_c}; check the unit of this input)"},
	{PressureTooLarge, "a pressure that is scaled ten times too large (with it put right dew is {corrected_dew_c}; check the scale)"},
	{PressureTooSmall, "a pressure that is scaled ten times too small (with it put right dew is {corrected_dew_c}; check the scale)"},
	{TemperatureTooLarge, "a temperature that is scaled ten times too large (with it put right it reads {corrected_line_c}; check the scale)"},
	{TemperatureTooSmall, "a temperature that is scaled ten times too small (with it put right it reads {corrected_line_c}; check the scale)"},
	{SignLost, "a temperature whose sign is lost (with it put right it reads {corrected_line_c}; check type and scale)"},
	{SignedTakenForUnsigned, "a signed register that is read as unsigned (with it put right it reads {corrected_line_c}; check the type)"},
	{PressuresExchanged, "suction and discharge pressure in each other's place (with it put right dew is {corrected_dew_c}; check addresses and wiring)"},
	{LineAndDischargeExchanged, "suction line and discharge temperature in each other's place (with it put right it reads {corrected_line_c}; check addresses and wiring)"},
	{CoilAndAirExchanged, "coil outlet and air temperature in each other's place (with it put right it reads {corrected_line_c}; check addresses and wiring)"},

	{RemedyUnit, "in the site file set its unit to {becomes}"},
	{RemedyScale, "in the site file multiply its scale by {becomes}"},
	{RemedyType, "in the site file set its type to {becomes}"},
	{RemedyExchange, "in the site file exchange the addresses of the two inputs"},

	{PressureReadsHigh, "a suction pressure that reads high, or another refrigerant (check transmitter, unit, altitude and refrigerant)"},
	{PressureReadsLow, "a suction pressure that reads low, or another refrigerant (check transmitter, unit, altitude and refrigerant)"},
	{LineReadsLow, "a line temperature that reads low (check curve and unit of the probe)"},
	{LineReadsHigh, "a line temperature that reads high (check clamp and insulation)"},
	{LineWrongCurve, "a wrong curve, unit or zero (check unit and probe, in melting ice)"},
	{StandingPressureOff, "another refrigerant than configured, the wrong altitude, or a transmitter that is off (check them against a gauge)"},
	{TransmitterChanged, "a transmitter that was changed or set anew (check transmitter, scale and setting)"},
	{GaugeAndAbsoluteSwap, "gauge and absolute pressure mixed up from that moment, for the step is one atmosphere (check transmitter, scale and setting)"},
	{LiquidInjected, "a line temperature that reads high, a suction pressure that reads low, or liquid injected into the compressor (check clamp, insulation and transmitter)"},
	{MachineFailing, "a line temperature that reads low, a suction pressure that reads high, or a failing machine (check probe and transmitter)"},
}
