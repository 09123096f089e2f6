package cause

import (
	"maps"
	"slices"
	"strings"

	"dewgap/analyze/evidence"
)

// Check is one thing to look at on site.
type Check struct {
	Do       evidence.Item
	Confirms evidence.Item // the reading that supports the cause
	Clears   evidence.Item // the reading that contradicts it
	Caution  evidence.Item // what can hurt in doing this; none when it is only looking
}

// CheckText is a Check in words of one system of units.
type CheckText struct {
	Do       string `json:"do"`
	Confirms string `json:"confirms"`
	Clears   string `json:"clears"`
	Caution  string `json:"caution,omitempty"`
}

// In returns c in words.
func (c Check) In(r evidence.Renderer) CheckText {
	t := CheckText{Do: r.Text(c.Do), Confirms: r.Text(c.Confirms), Clears: r.Text(c.Clears)}
	if !c.Caution.IsZero() {
		t.Caution = r.Text(c.Caution)
	}
	return t
}

// Cautions stand with every list of checks.
const Cautions = "Isolate, lock out and tag before hands go near fans, belts or terminals: heaters and fans of a coil start by themselves, and so does the compressor. " +
	"The circuit is under pressure also while it stands. Work on the refrigerant side, on wiring and on charge is for people licensed for it; " +
	"local codes and the maker's instructions decide. This program only reads and is no safety device."

// BeforeAnyCause is how many of the Checks are the same for all causes.
const BeforeAnyCause = 2

// check is a line of the lists below.
type check struct {
	do       evidence.Code
	caution  evidence.Code    // none when it is only looking
	confirms []evidence.Value // quantities of the reading that confirms
}

// Quantities in checks; common practice, no source.
var (
	movesWithTheRoom = []evidence.Value{evidence.Difference("moved", 1)}
	meltingPoint     = []evidence.Value{evidence.Temperature("melting", 0)}
)

// believable are the first checks of every search: a wrong reading explains
// everything.
var believable = [BeforeAnyCause]check{
	{do: evidence.CheckReadingBelievable},
	{do: evidence.CheckClamp, caution: evidence.CautionTouch},
}

// checks are, for each cause, what a good technician does next, safest first,
// after believable. The order is the trade's: the coil before the valve, the
// valve before the charge, the charge before the machine.
var checks = map[string][]check{
	"sensor_misplaced": {
		{do: evidence.CheckInsulationLifted, caution: evidence.CautionTouch, confirms: movesWithTheRoom},
		{do: evidence.CheckEqualizedPipe},
		{do: evidence.CheckLabelAgainstConfiguration},
	},
	"iced_coil": {
		{do: evidence.CheckDefrostsGrowLonger},
		{do: evidence.CheckCoilBeforeDefrost, caution: evidence.CautionFans},
		{do: evidence.CheckDefrostWatched, caution: evidence.CautionFans},
		{do: evidence.CheckDoors},
	},
	"defrost_incomplete": {
		{do: evidence.CheckDefrostEnd, confirms: meltingPoint},
		{do: evidence.CheckCoilAfterDefrost, caution: evidence.CautionFans},
		{do: evidence.CheckDefrostSettings},
		{do: evidence.CheckHeaterCurrents, caution: evidence.CautionLiveTerminals},
	},
	"low_airflow": {
		{do: evidence.CheckAirStep},
		{do: evidence.CheckFans, caution: evidence.CautionFans},
		{do: evidence.CheckFanCurrent, caution: evidence.CautionLiveTerminals},
	},
	"load_change_after_defrost": {
		{do: evidence.CheckDipAfterEachDefrost},
		{do: evidence.CheckRestartWatched},
		{do: evidence.CheckLoading},
	},
	"valve_oversized": {
		{do: evidence.CheckSwingAtLowLoad},
		{do: evidence.CheckOrificeSize},
		{do: evidence.CheckOutletSuperheatMeasured, caution: evidence.CautionGauges},
	},
	"valve_hunting": {
		{do: evidence.CheckSwingOfOneCircuit},
		{do: evidence.CheckBulbContact, caution: evidence.CautionTouch},
		{do: evidence.CheckSightGlass},
		{do: evidence.CheckControllerGains},
	},
	"valve_stuck_open": {
		{do: evidence.CheckOutletLowAlways},
		{do: evidence.CheckBulbOrDrive, caution: evidence.CautionTouch},
		{do: evidence.CheckBulbWarmed, caution: evidence.CautionTouch},
		{do: evidence.CheckValveOpened, caution: evidence.CautionGauges},
	},
	"overcharge": {
		{do: evidence.CheckAllCoilsLow},
		{do: evidence.CheckSubcooling, caution: evidence.CautionGauges},
		{do: evidence.CheckChargeWeighed, caution: evidence.CautionGauges},
	},
	"accumulator_full": {
		{do: evidence.CheckFlatStretch},
		{do: evidence.CheckVesselFrostLine, caution: evidence.CautionTouch},
		{do: evidence.CheckVesselFilling, caution: evidence.CautionGauges},
	},
	"hot_gas_carryover": {
		{do: evidence.CheckDipAsHotGasEnds},
		{do: evidence.CheckHotGasDrained},
		{do: evidence.CheckDifferentialAndStops, caution: evidence.CautionGauges},
	},
	"unknown": {
		{do: evidence.CheckMissingInputs},
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
	all := make([]Check, 0, len(believable)+len(own))
	for _, c := range append(slices.Clip(believable[:]), own...) {
		all = append(all, Check{
			Do:       evidence.New(c.do),
			Confirms: evidence.New(evidence.Confirms(c.do), c.confirms...),
			Clears:   evidence.New(evidence.Clears(c.do)),
			Caution:  evidence.Item{Code: c.caution},
		})
	}
	return all
}

// inWords are the causes in words for people.
var inWords = map[string]string{
	"valve_oversized": "expansion valve too large", "valve_stuck_open": "expansion valve stuck open", "valve_hunting": "expansion valve hunts",
	"iced_coil": "iced coil", "low_airflow": "too little air over the coil", "defrost_incomplete": "defrost does not finish",
	"load_change_after_defrost": "sudden load after defrost", "overcharge": "too much refrigerant", "accumulator_full": "accumulator full or too small",
	"hot_gas_carryover": "liquid carried over from hot-gas defrost", "sensor_misplaced": "sensor loose, bare or misplaced", "unknown": "not known",
}

// Words returns a cause in words for people.
func Words(cause string) string {
	if w, ok := inWords[cause]; ok {
		return w
	}
	return strings.ReplaceAll(cause, "_", " ")
}
