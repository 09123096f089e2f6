package config

import (
	"dewgap/analyze"
	"dewgap/analyze/frame"
	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
)

var compressorKinds = []setting.Word[frame.CompressorKind]{
	{Name: "scroll", Value: frame.Scroll},
	{Name: "air_cooled_semi_hermetic", Value: frame.AirCooledSemiHermetic},
	{Name: "refrigerant_cooled_semi_hermetic", Value: frame.RefrigerantCooledSemiHermetic},
}

var defrostKinds = []setting.Word[frame.DefrostKind]{
	{Name: "off_cycle", Value: frame.OffCycle}, {Name: "electric", Value: frame.Electric}, {Name: "hot_gas", Value: frame.HotGas},
}

const nameRange = "lower-case letters, digits, - and _, beginning with a letter"

// groupRows are the keys of [[suction_group]] beside those of the settings of
// analysis and the inputs.
var groupRows = []setting.Row[analyze.Group]{
	{
		Key: "name", Field: setting.ByHand[analyze.Group]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the suction group: compressors that share one suction pressure.", Example: `"mt"`,
	},
	{
		Key: "refrigerant", Field: setting.ByHand[analyze.Group]("text", "", "those that dewgap refrigerants lists, or a [[refrigerant]]"), Needed: "always",
		Meaning: "Refrigerant of the group.", Example: `"R448A"`,
	},
	{
		Key: "ambient", Field: setting.Unset(func(g *analyze.Group) *units.Celsius { return &g.Ambient }, "not known", -50, 70),
		Meaning: "Usual temperature around the suction lines, where no ambient_temperature input measures it.", Example: `"18 degC"`,
	},
}

// groupSensorRows are what is stated of all the group's sensors of a quantity.
var groupSensorRows = []setting.Row[analyze.Group]{
	{
		Key: "pressure_sensor.accuracy", Field: setting.ByHand[analyze.Group]("pressure (bar, kPa, psi)", showBar(superheat.TypicalPressureLimit)+" is assumed", showBar(minPascal)+" to "+showBar(maxPascal)), Source: practice,
		Meaning: "Greatest error of every pressure transmitter of the group, either way, where an input states none.", Example: `"0.13 bar"`,
	},
	{
		Key: "temperature_sensor.accuracy", Field: setting.ByHand[analyze.Group]("temperature difference (K, F)", showKelvin(superheat.TypicalTemperatureLimit)+" is assumed", showKelvin(minAccuracy)+" to "+showKelvin(maxAccuracy)), Source: practice,
		Meaning: "Greatest error of every temperature sensor of the group, either way, where an input states none.", Example: `"0.5 K"`,
	},
}

var compressorRows = []setting.Row[analyze.Compressor]{
	{
		Key: "name", Field: setting.ByHand[analyze.Compressor]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the compressor, unique in its group.", Example: `"c1"`,
	},
	{
		Key: "kind", Field: setting.OneOf(func(c *analyze.Compressor) *frame.CompressorKind { return &c.Kind }, 0, "judged as a scroll", compressorKinds),
		Meaning: "Kind of compressor, which decides what liquid damages first.", Example: `"scroll"`,
	},
}

var circuitRows = []setting.Row[analyze.Circuit]{
	{
		Key: "name", Field: setting.ByHand[analyze.Circuit]("text", "", nameRange), Needed: "always",
		Meaning: "Name of the circuit, unique in its group: one evaporator, or several that defrost together.", Example: `"case-1"`,
	},
	{
		Key: "defrost_kind", Field: setting.OneOf(func(c *analyze.Circuit) *frame.DefrostKind { return &c.Defrost }, 0, "not known", defrostKinds),
		Meaning: "Where the heat of the circuit's defrosts comes from.", Example: `"electric"`,
	},
}

// roleMeanings describe the inputs.
var roleMeanings = map[reading.Role]string{
	reading.SuctionPressure:       "Suction pressure, of the group or of one compressor; a compressor's own stands before the group's.",
	reading.DischargePressure:     "Discharge pressure: with it the discharge temperature shows how wet the gas is.",
	reading.SuctionTemperature:    "Temperature of the suction line at the compressor inlet; without it there is no superheat.",
	reading.Running:               "Whether the compressor runs: 0 or 1, or current, power or speed with a threshold; inferred if absent.",
	reading.DischargeTemperature:  "Temperature of the discharge line: it shows how wet the gas is.",
	reading.SumpTemperature:       "Temperature of the oil sump: it shows liquid in the oil and flooded starts.",
	reading.Defrost:               "Whether the circuit defrosts; inferred if absent, later and less surely.",
	reading.CoilOutletTemperature: "Temperature of the suction line at the evaporator outlet: it distinguishes the circuits.",
	reading.AirTemperature:        "Temperature of the air that the circuit cools.",
	reading.Speed:                 "Speed or capacity in % of full; where running is not known, more than 5 % counts as running.",
	reading.CoilInletTemperature:  "Temperature at the two-phase inlet of the coil, an independent witness of dew.",
	reading.AmbientTemperature:    "Temperature of the air around the suction lines.",
}

// roleKeys returns the inputs that a group, compressor or circuit may have.
func roleKeys(home reading.Home) []key {
	var keys []key
	for _, role := range reading.Roles(home) {
		k := key{path: role.String(), unit: "input: a " + role.Kind().String(), def: "none", meaning: roleMeanings[role], example: roleExample(role)}
		if role == reading.SuctionTemperature {
			k.needed = "always"
		}
		keys = append(keys, k)
	}
	return keys
}

func roleExample(role reading.Role) string {
	switch role.Kind() {
	case reading.Pressure:
		return `{ modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.01, unit = "barg" }`
	case reading.Temperature:
		return `{ modbus = "rack-io", unit_id = 1, input = 101, type = "int16", scale = 0.1, unit = "degC" }`
	case reading.Share:
		return `{ modbus = "rack-io", unit_id = 1, input = 102, type = "uint16", scale = 0.1, unit = "%" }`
	}
	return `{ modbus = "rack-io", unit_id = 1, discrete = 0 }`
}
