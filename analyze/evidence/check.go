package evidence

// A check is one thing to look at on site. Its code is that of what to do;
// Confirms and Clears return the codes of the two readings that answer it.
const (
	CheckReadingBelievable Code = "check_reading_believable"
	CheckClamp             Code = "check_clamp"

	CheckInsulationLifted          Code = "check_insulation_lifted"
	CheckEqualizedPipe             Code = "check_equalized_pipe"
	CheckLabelAgainstConfiguration Code = "check_label_against_configuration"

	CheckDefrostsGrowLonger Code = "check_defrosts_grow_longer"
	CheckCoilBeforeDefrost  Code = "check_coil_before_defrost"
	CheckDefrostWatched     Code = "check_defrost_watched"
	CheckDoors              Code = "check_doors"

	CheckDefrostEnd       Code = "check_defrost_end"
	CheckCoilAfterDefrost Code = "check_coil_after_defrost"
	CheckDefrostSettings  Code = "check_defrost_settings"
	CheckHeaterCurrents   Code = "check_heater_currents"

	CheckAirStep    Code = "check_air_step"
	CheckFans       Code = "check_fans"
	CheckFanCurrent Code = "check_fan_current"

	CheckDipAfterEachDefrost Code = "check_dip_after_each_defrost"
	CheckRestartWatched      Code = "check_restart_watched"
	CheckLoading             Code = "check_loading"

	CheckSwingAtLowLoad          Code = "check_swing_at_low_load"
	CheckOrificeSize             Code = "check_orifice_size"
	CheckOutletSuperheatMeasured Code = "check_outlet_superheat_measured"

	CheckSwingOfOneCircuit Code = "check_swing_of_one_circuit"
	CheckBulbContact       Code = "check_bulb_contact"
	CheckSightGlass        Code = "check_sight_glass"
	CheckControllerGains   Code = "check_controller_gains"

	CheckOutletLowAlways Code = "check_outlet_low_always"
	CheckBulbOrDrive     Code = "check_bulb_or_drive"
	CheckBulbWarmed      Code = "check_bulb_warmed"
	CheckValveOpened     Code = "check_valve_opened"

	CheckAllCoilsLow   Code = "check_all_coils_low"
	CheckSubcooling    Code = "check_subcooling"
	CheckChargeWeighed Code = "check_charge_weighed"

	CheckFlatStretch     Code = "check_flat_stretch"
	CheckVesselFrostLine Code = "check_vessel_frost_line"
	CheckVesselFilling   Code = "check_vessel_filling"

	CheckDipAsHotGasEnds      Code = "check_dip_as_hot_gas_ends"
	CheckHotGasDrained        Code = "check_hot_gas_drained"
	CheckDifferentialAndStops Code = "check_differential_and_stops"

	CheckMissingInputs Code = "check_missing_inputs"
)

// Codes of what can hurt in a check.
const (
	CautionTouch         Code = "caution_touch"
	CautionFans          Code = "caution_fans"
	CautionLiveTerminals Code = "caution_live_terminals"
	CautionGauges        Code = "caution_gauges"
)

// Confirms returns the code of the reading that confirms what check is for.
func Confirms(check Code) Code { return check + "_confirms" }

// Clears returns the code of the reading that clears what check is for.
func Clears(check Code) Code { return check + "_clears" }

var cautionEntries = []entry{
	{CautionTouch, "Cold pipes stick to skin, discharge lines burn; wear gloves and goggles."},
	{CautionFans, "Fans start without warning: lock out before reaching in. Floors under iced coils are slippery."},
	{CautionLiveTerminals, "Live terminals: measuring is for people who are qualified and equipped for it; verify the absence of voltage before touching."},
	{CautionGauges, "Connecting gauges opens the pressure envelope: for licensed people, with eye protection and the right hoses for the refrigerant, flammable or toxic ones above all."},
}

// checkTexts hold what to do, what confirms and what clears.
var checkTexts = []struct {
	do                     Code
	text, confirms, clears string
}{
	{CheckReadingBelievable,
		"On the screen: does the suction-line temperature follow the room, has it or the pressure stepped on one date, do neighbours on the same header agree?",
		"A step, a constant difference from the twins, or a line at dew while the discharge stays hot: look at the sensor first.",
		"Twins agree and the discharge temperature falls with the superheat: the reading is believable."},
	{CheckClamp,
		"Look at and feel the clamp: seated on clean pipe, band tight, insulated on both sides, not at the bottom of the pipe. Compare with a second thermometer beside it, and the pressure with a calibrated gauge.",
		"The two differ by more than the stated uncertainty.",
		"Thermometer and gauge give the same superheat."},
	{CheckInsulationLifted,
		"Lift the insulation from the clamp for two minutes and put it back, the compressor running.",
		"The reading moves by more than {moved_k:0}: it measures the room as well as the pipe.",
		"It hardly moves."},
	{CheckEqualizedPipe,
		"With the compressor stopped for more than half an hour, compare pipe, room and the dew point of the standing pressure.",
		"The pipe is away from the room by more than the uncertainty.",
		"All agree."},
	{CheckLabelAgainstConfiguration,
		"Check the configured refrigerant, gauge or absolute pressure, and altitude against the plant's label.",
		"One of them is not what is installed.",
		"All match the label."},
	{CheckDefrostsGrowLonger,
		"On the screen: length and end of the last defrosts, air above dew from day to day.",
		"Defrosts grow longer or end by time; the air is further above dew each day and drops back after a good defrost.",
		"Defrosts end warm in their usual time."},
	{CheckCoilBeforeDefrost,
		"Look at the coil before a defrost: fins, face and drain pan.",
		"Ice bridges the fins or the pan is frozen.",
		"An even, thin frost; the fins are open."},
	{CheckDefrostWatched,
		"Watch one defrost through: all of the coil clear at the end, water running off, fans waiting until the coil is cold.",
		"Ice is left, or the drain does not run.",
		"The coil is clear and the drain runs."},
	{CheckDoors,
		"Doors, curtains and seals: does warm, damp air get in?",
		"A door that does not shut, a torn seal or curtain.",
		"All shut."},
	{CheckDefrostEnd,
		"On the screen: does the coil outlet climb past the melting point before the heat ends, and does the heat end by temperature or always after the same time?",
		"No climb past {melting_c:0}, or the same length each time.",
		"It ends warm, at lengths that vary with the frost."},
	{CheckCoilAfterDefrost,
		"Look at the coil straight after a defrost.",
		"Ice is left, often at one end or low down.",
		"Bare fins."},
	{CheckDefrostSettings,
		"Compare clock, longest time and termination setting with the maker's; look where the termination sensor sits.",
		"Too few or too short defrosts, or a sensor where it warms first.",
		"Settings and place as the maker says."},
	{CheckHeaterCurrents,
		"Current of each heater phase during the heat.",
		"One phase without current, or far below the plate.",
		"All phases at plate current."},
	{CheckAirStep,
		"On the screen: did the air step away from dew within an hour, and has a good defrost changed nothing?",
		"A step that a defrost does not mend.",
		"A slow drift that each defrost takes back: think of ice."},
	{CheckFans,
		"Look and listen from outside: do all fans turn, the right way round, at the usual speed? Is the return or discharge blocked by goods, is the fin face dirty?",
		"A fan stands or turns backwards, the load line is crossed, fluff or film on the fins.",
		"All fans turn and the air path is free."},
	{CheckFanCurrent,
		"Current and supply of the fan that stands.",
		"No supply, a seized or open motor.",
		"Plate current on each."},
	{CheckDipAfterEachDefrost,
		"On the screen: does only this circuit dip, only within the first quarter of an hour after its defrost, and is it normal at other times?",
		"The same short dip after each defrost, nothing in between.",
		"It dips at other times too: think of the valve."},
	{CheckRestartWatched,
		"Watch a restart: drip time, then fans still until the coil is cold.",
		"Fans start with a warm, wet coil, or liquid comes before the coil has drained.",
		"Drip and fan delay as the maker says."},
	{CheckLoading,
		"Ask what was loaded and when, and whether several circuits restart together.",
		"Warm goods or overlapping restarts at that hour.",
		"Neither."},
	{CheckSwingAtLowLoad,
		"On the screen: does the outlet swing at low load and calm down at full load, and dip deeper after every defrost?",
		"Stable by day, swinging at night or when a compressor stage drops.",
		"No difference with load."},
	{CheckOrificeSize,
		"Read the orifice or cartridge on the valve and compare it with the coil's load at the lowest liquid pressure.",
		"More than one size too large for the coil.",
		"It suits the coil."},
	{CheckOutletSuperheatMeasured,
		"Superheat at the coil outlet with calibrated instruments, at steady load, before anything is adjusted.",
		"It swings around a mean that is right.",
		"It is steady: the compressor's superheat is lost elsewhere."},
	{CheckSwingOfOneCircuit,
		"On the screen: period and swing of the coil outlet; does dew swing in step, and do the neighbours not?",
		"An even swing of half a minute to some minutes in this circuit alone.",
		"All circuits swing together: look at compressor stages and condensing pressure."},
	{CheckBulbContact,
		"Look at the bulb or sensor: tight on clean pipe, insulated, beside the outlet and not in a trap; the equaliser line open.",
		"Loose, uninsulated, or in the wrong place.",
		"As the maker says."},
	{CheckSightGlass,
		"Sight glass ahead of the valve at low head; distributor and all passes of the coil evenly frosted.",
		"Bubbles, or passes that differ.",
		"Solid liquid, even frost."},
	{CheckControllerGains,
		"With an electronic valve: controller gains, sensor lag and stroke time against the maker's values.",
		"Gains or sensors that were changed.",
		"Values as delivered."},
	{CheckOutletLowAlways,
		"On the screen: is the coil outlet low at all loads, and does suction stay up when the liquid valve shuts for pump-down?",
		"Low all the time, and no clean pump-down.",
		"Normal at other loads."},
	{CheckBulbOrDrive,
		"Look at the bulb or sensor: strapped, insulated, at four or eight o'clock on a large pipe; with an electronic valve the position that the controller reports.",
		"The bulb hangs in the air, or the drive stands open against its order.",
		"Well seated, the drive follows."},
	{CheckBulbWarmed,
		"Warm and cool the bulb by hand and watch the coil outlet.",
		"Nothing follows: the valve does not move.",
		"The outlet answers within minutes."},
	{CheckValveOpened,
		"Have the valve opened: dirt, ice, wax or a worn seat; equaliser.",
		"Something holds it.",
		"It closes tight on the bench."},
	{CheckAllCoilsLow,
		"On the screen: are all coils low at once, worst at low load and in warm weather; is condensing pressure high for the weather?",
		"All of it.",
		"One coil alone is low: think of its valve."},
	{CheckSubcooling,
		"Subcooling, receiver level or sight glass, and the charge on the label against the log of charges.",
		"High subcooling and more charge logged than is on the label.",
		"Subcooling normal: superheat alone never proves overcharge."},
	{CheckChargeWeighed,
		"On a small unit with a capillary: have the charge recovered and weighed in again.",
		"More comes out than is on the label.",
		"The label's charge comes out."},
	{CheckFlatStretch,
		"On the screen: does the compressor stay near dew for minutes while all coils are dry, minutes after some coil was wet?",
		"A flat stretch near dew that ends at once.",
		"A coil is wet at the same time."},
	{CheckVesselFrostLine,
		"Look for the frost or sweat line on the vessel.",
		"It stands high, and sinks during the flat stretch.",
		"The vessel is dry or nearly."},
	{CheckVesselFilling,
		"Find what fills it: the circuit that was wet before; then oil return hole, heat at the vessel and its size against the charge.",
		"A plugged hole or a vessel too small for what one restart sends.",
		"It empties between restarts."},
	{CheckDipAsHotGasEnds,
		"On the screen: does the dip begin with the end of the hot gas, with a bump in suction pressure, after this kind of defrost only?",
		"At once, each time.",
		"Minutes later: think of the valve or the load."},
	{CheckHotGasDrained,
		"Watch the end of a defrost: is the coil's pressure let down before the suction stop opens, and how long does it drain?",
		"The suction stop opens on a coil under pressure.",
		"A slow bleed first."},
	{CheckDifferentialAndStops,
		"Differential regulator, check valves and suction stop: setting, and leaking while shut.",
		"Differential too low to drive the condensate out, or a valve that leaks.",
		"As the maker says, tight."},
	{CheckMissingInputs,
		"See which inputs are missing: coil outlet temperatures, defrost signals and a discharge temperature would narrow it down most.",
		"With them the next floodback names its circuit.",
		"They are all there and in order: follow each circuit through one defrost."},
}

var checkEntries = func() []entry {
	all := cautionEntries
	for _, c := range checkTexts {
		all = append(all, entry{c.do, c.text}, entry{Confirms(c.do), c.confirms}, entry{Clears(c.do), c.clears})
	}
	return all
}()
