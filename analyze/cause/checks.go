package cause

import (
	"maps"
	"slices"
	"strings"
)

// Check is one thing to look at on site.
type Check struct {
	Do       string `json:"do"`
	Confirms string `json:"confirms"`          // the reading that speaks for the cause
	Clears   string `json:"clears"`            // … that speaks against it
	Caution  string `json:"caution,omitempty"` // what can hurt in doing this; empty when it is only looking
}

// Cautions are said with every list of checks.
const Cautions = "Isolate, lock out and tag before hands go near fans, belts or terminals: heaters and fans of a coil start by themselves, and so does the compressor. " +
	"The circuit is under pressure also while it stands. Work on the refrigerant side, on wiring and on charge is for people licensed for it; " +
	"local codes and the maker's instructions decide. This program only reads and is no safety device."

// Cautions of single checks.
const (
	cautionTouch = "Cold pipes stick to skin, discharge lines burn; wear gloves and goggles."
	cautionFans  = "Fans start without warning: lock out before reaching in. Floors under iced coils are slippery."
	cautionAmps  = "Live terminals: measuring is for people who are qualified and equipped for it; verify the absence of voltage before touching."
	cautionGauge = "Connecting gauges opens the pressure envelope: for licensed people, with eye protection and the right hoses for the refrigerant, flammable or toxic ones above all."
)

// BeforeAnyCause is how many of the Checks are the same for all causes.
const BeforeAnyCause = 2

// truth is where every search begins: a wrong reading explains everything.
var truth = [BeforeAnyCause]Check{
	{
		Do:       "On the screen: does the suction-line temperature follow the room, has it or the pressure stepped on one date, do neighbours on the same header agree?",
		Confirms: "A step, a constant difference from the twins, or a line at dew while the discharge stays hot: look at the sensor first.",
		Clears:   "Twins agree and the discharge temperature falls with the superheat: the reading is believable.",
	},
	{
		Do:       "Look at and feel the clamp: seated on clean pipe, band tight, insulated on both sides, not at the bottom of the pipe. Compare with a second thermometer beside it, and the pressure with a calibrated gauge.",
		Confirms: "The two differ by more than the stated uncertainty.",
		Clears:   "Thermometer and gauge give the same superheat.",
		Caution:  cautionTouch,
	},
}

// checks are, for each cause, what a good technician does next, safest first,
// after truth. The order is the trade's: the coil before the valve, the valve
// before the charge, the charge before the machine.
var checks = map[string][]Check{
	"sensor_misplaced": {
		{
			Do:       "Lift the insulation from the clamp for two minutes and put it back, the compressor running.",
			Confirms: "The reading moves by more than 1 K (2 °F): it measures the room as well as the pipe.",
			Clears:   "It hardly moves.",
			Caution:  cautionTouch,
		},
		{
			Do:       "With the compressor stopped for more than half an hour, compare pipe, room and the dew point of the standing pressure.",
			Confirms: "The pipe is away from the room by more than the uncertainty.",
			Clears:   "All agree.",
		},
		{
			Do:       "Check the configured refrigerant, gauge or absolute pressure, and altitude against the plant's label.",
			Confirms: "One of them is not what is installed.",
			Clears:   "All match the label.",
		},
	},
	"iced_coil": {
		{
			Do:       "On the screen: length and end of the last defrosts, air over dew from day to day.",
			Confirms: "Defrosts grow longer or end by time; the air stands further over dew each day and drops back after a good defrost.",
			Clears:   "Defrosts end warm in their usual time.",
		},
		{
			Do:       "Look at the coil before a defrost: fins, face and drain pan.",
			Confirms: "Ice bridges the fins or the pan is frozen.",
			Clears:   "An even, thin frost; the fins are open.",
			Caution:  cautionFans,
		},
		{
			Do:       "Watch one defrost through: all of the coil clear at the end, water running off, fans waiting until the coil is cold.",
			Confirms: "Ice is left, or the drain does not run.",
			Clears:   "The coil is clear and the drain runs.",
			Caution:  cautionFans,
		},
		{
			Do:       "Doors, curtains and seals: does warm, damp air get in?",
			Confirms: "A door that does not shut, a torn seal or curtain.",
			Clears:   "All shut.",
		},
	},
	"defrost_incomplete": {
		{
			Do:       "On the screen: does the coil outlet climb past the melting point before the heat ends, and does the heat end by temperature or always after the same time?",
			Confirms: "No climb past 0 °C (32 °F), or the same length each time.",
			Clears:   "It ends warm, at lengths that vary with the frost.",
		},
		{
			Do:       "Look at the coil straight after a defrost.",
			Confirms: "Ice is left, often at one end or low down.",
			Clears:   "Bare fins.",
			Caution:  cautionFans,
		},
		{
			Do:       "Compare clock, longest time and termination setting with the maker's; look where the termination sensor sits.",
			Confirms: "Too few or too short defrosts, or a sensor where it warms first.",
			Clears:   "Settings and place as the maker says.",
		},
		{
			Do:       "Current of each heater phase during the heat.",
			Confirms: "One phase without current, or far below the plate.",
			Clears:   "All phases at plate current.",
			Caution:  cautionAmps,
		},
	},
	"low_airflow": {
		{
			Do:       "On the screen: did the air step away from dew within an hour, and has a good defrost changed nothing?",
			Confirms: "A step that a defrost does not mend.",
			Clears:   "A slow drift that each defrost takes back: think of ice.",
		},
		{
			Do:       "Look and listen from outside: do all fans turn, the right way round, at the usual speed? Is the return or discharge blocked by goods, is the fin face dirty?",
			Confirms: "A fan stands or turns backwards, the load line is crossed, fluff or film on the fins.",
			Clears:   "All fans turn and the air path is free.",
			Caution:  cautionFans,
		},
		{
			Do:       "Current and supply of the fan that stands.",
			Confirms: "No supply, a seized or open motor.",
			Clears:   "Plate current on each.",
			Caution:  cautionAmps,
		},
	},
	"load_change_after_defrost": {
		{
			Do:       "On the screen: does only this circuit dip, only within the first quarter of an hour after its defrost, and is it normal at other times?",
			Confirms: "The same short dip after each defrost, nothing in between.",
			Clears:   "It dips at other times too: think of the valve.",
		},
		{
			Do:       "Watch a restart: drip time, then fans still until the coil is cold.",
			Confirms: "Fans start with a warm, wet coil, or liquid comes before the coil has drained.",
			Clears:   "Drip and fan delay as the maker says.",
		},
		{
			Do:       "Ask what was loaded and when, and whether several circuits restart together.",
			Confirms: "Warm goods or overlapping restarts at that hour.",
			Clears:   "Neither.",
		},
	},
	"valve_oversized": {
		{
			Do:       "On the screen: does the outlet swing at low load and calm down at full load, and dip deeper after every defrost?",
			Confirms: "Stable by day, swinging at night or when a compressor stage drops.",
			Clears:   "No difference with load.",
		},
		{
			Do:       "Read the orifice or cartridge on the valve and compare it with the coil's load at the lowest liquid pressure.",
			Confirms: "More than one size too large for the coil.",
			Clears:   "It suits the coil.",
		},
		{
			Do:       "Superheat at the coil outlet with calibrated instruments, at steady load, before anything is adjusted.",
			Confirms: "It swings around a mean that is right.",
			Clears:   "It is steady: the compressor's superheat is lost elsewhere.",
			Caution:  cautionGauge,
		},
	},
	"valve_hunting": {
		{
			Do:       "On the screen: period and swing of the coil outlet; does dew swing in step, and do the neighbours not?",
			Confirms: "An even swing of half a minute to some minutes in this circuit alone.",
			Clears:   "All circuits swing together: look at compressor stages and condensing pressure.",
		},
		{
			Do:       "Look at the bulb or sensor: tight on clean pipe, insulated, beside the outlet and not in a trap; the equaliser line open.",
			Confirms: "Loose, uninsulated, or in the wrong place.",
			Clears:   "As the maker says.",
			Caution:  cautionTouch,
		},
		{
			Do:       "Sight glass ahead of the valve at low head; distributor and all passes of the coil evenly frosted.",
			Confirms: "Bubbles, or passes that differ.",
			Clears:   "Solid liquid, even frost.",
		},
		{
			Do:       "With an electronic valve: controller gains, sensor lag and stroke time against the maker's values.",
			Confirms: "Gains or sensors that were changed.",
			Clears:   "Values as delivered.",
		},
	},
	"valve_stuck_open": {
		{
			Do:       "On the screen: is the coil outlet low at all loads, and does suction stay up when the liquid valve shuts for pump-down?",
			Confirms: "Low all the time, and no clean pump-down.",
			Clears:   "Normal at other loads.",
		},
		{
			Do:       "Look at the bulb or sensor: strapped, insulated, at four or eight o'clock on a large pipe; with an electronic valve the position that the controller thinks.",
			Confirms: "The bulb hangs in the air, or the drive stands open against its order.",
			Clears:   "Well seated, the drive follows.",
			Caution:  cautionTouch,
		},
		{
			Do:       "Warm and cool the bulb by hand and watch the coil outlet.",
			Confirms: "Nothing follows: the valve does not move.",
			Clears:   "The outlet answers within minutes.",
			Caution:  cautionTouch,
		},
		{
			Do:       "Have the valve opened: dirt, ice, wax or a worn seat; equaliser.",
			Confirms: "Something holds it.",
			Clears:   "It closes tight on the bench.",
			Caution:  cautionGauge,
		},
	},
	"overcharge": {
		{
			Do:       "On the screen: are all coils low at once, worst at low load and in warm weather; is condensing pressure high for the weather?",
			Confirms: "All of it.",
			Clears:   "One coil alone is low: think of its valve.",
		},
		{
			Do:       "Subcooling, receiver level or sight glass, and the charge on the label against the log of charges.",
			Confirms: "High subcooling and more charge logged than the label says.",
			Clears:   "Subcooling normal: superheat alone never proves overcharge.",
			Caution:  cautionGauge,
		},
		{
			Do:       "On a small unit with a capillary: have the charge recovered and weighed in again.",
			Confirms: "More comes out than the label says.",
			Clears:   "The label's charge comes out.",
			Caution:  cautionGauge,
		},
	},
	"accumulator_full": {
		{
			Do:       "On the screen: does the compressor stay near dew for minutes while all coils are dry, minutes after some coil was wet?",
			Confirms: "A flat stretch near dew that ends at once.",
			Clears:   "A coil is wet at the same time.",
		},
		{
			Do:       "Look for the frost or sweat line on the vessel.",
			Confirms: "It stands high, and sinks during the flat stretch.",
			Clears:   "The vessel is dry or nearly.",
			Caution:  cautionTouch,
		},
		{
			Do:       "Find what fills it: the circuit that was wet before; then oil return hole, heat at the vessel and its size against the charge.",
			Confirms: "A plugged hole or a vessel too small for what one restart sends.",
			Clears:   "It empties between restarts.",
			Caution:  cautionGauge,
		},
	},
	"hot_gas_carryover": {
		{
			Do:       "On the screen: does the dip begin with the end of the hot gas, with a bump in suction pressure, after this kind of defrost only?",
			Confirms: "At once, each time.",
			Clears:   "Minutes later: think of the valve or the load.",
		},
		{
			Do:       "Watch the end of a defrost: is the coil's pressure let down before the suction stop opens, and how long does it drain?",
			Confirms: "The suction stop opens on a coil under pressure.",
			Clears:   "A slow bleed first.",
		},
		{
			Do:       "Differential regulator, check valves and suction stop: setting, and leaking while shut.",
			Confirms: "Differential too low to drive the condensate out, or a valve that leaks.",
			Clears:   "As the maker says, tight.",
			Caution:  cautionGauge,
		},
	},
	"unknown": {
		{
			Do:       "See which inputs are missing: coil outlet temperatures, defrost signals and a discharge temperature would tell most.",
			Confirms: "With them the next floodback names its circuit.",
			Clears:   "They are all there and in order: follow each circuit through one defrost.",
		},
	},
}

// Names lists the causes that there are checks for, in alphabetical order.
func Names() []string { return slices.Sorted(maps.Keys(checks)) }

// Checks returns what to check next for a cause of the contract, in order:
// whether the readings are true, then what is safest. An unknown word gets the
// checks of "unknown".
func Checks(cause string) []Check {
	own, ok := checks[cause]
	if !ok {
		own = checks["unknown"]
	}
	return append(append(make([]Check, 0, len(truth)+len(own)), truth[:]...), own...)
}

// inWords are the contract's causes as a technician says them.
var inWords = map[string]string{
	"valve_oversized": "expansion valve too large", "valve_stuck_open": "expansion valve stuck open", "valve_hunting": "expansion valve hunts",
	"iced_coil": "iced coil", "low_airflow": "too little air over the coil", "defrost_incomplete": "defrost does not finish",
	"load_change_after_defrost": "sudden load after defrost", "overcharge": "too much refrigerant", "accumulator_full": "accumulator full or too small",
	"hot_gas_carryover": "liquid carried over from hot-gas defrost", "sensor_misplaced": "sensor loose, bare or misplaced", "unknown": "not known",
}

// Words returns a cause of the contract as a technician says it.
func Words(cause string) string {
	if w, ok := inWords[cause]; ok {
		return w
	}
	return strings.ReplaceAll(cause, "_", " ")
}
