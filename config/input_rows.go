package config

import (
	"fmt"
	"time"

	"dewgap/analyze/setting"
	"dewgap/analyze/superheat"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
	"dewgap/collector/register"
)

var (
	registerTypes = []setting.Word[register.Type]{
		{Name: "int16", Value: register.Int16}, {Name: "uint16", Value: register.Uint16}, {Name: "int32", Value: register.Int32},
		{Name: "uint32", Value: register.Uint32}, {Name: "float32", Value: register.Float32},
	}
	registerOrders = []setting.Word[register.Order]{
		{Name: "ABCD", Value: register.ABCD}, {Name: "BADC", Value: register.BADC}, {Name: "CDAB", Value: register.CDAB}, {Name: "DCBA", Value: register.DCBA},
	}
	thermometers = []setting.Word[register.Signal]{
		{Name: "pt100", Value: register.Pt100}, {Name: "pt1000", Value: register.Pt1000}, {Name: "ntc", Value: register.NTC},
	}
	timeFormats = []setting.Word[mqtt.TimeFormat]{
		{Name: "auto", Value: mqtt.AutoTime}, {Name: "rfc3339", Value: mqtt.RFC3339}, {Name: "unix", Value: mqtt.UnixSeconds}, {Name: "unix_ms", Value: mqtt.UnixMilliseconds},
	}
)

// byWord is a key that a decoder reads by hand as one of the words.
func byWord[S, T any](shown string, words []setting.Word[T]) setting.Field[S] {
	return setting.ByHand[S]("word", shown, orList(wordNames(words)))
}

// busInputRows are the keys of where on a bus an input stands.
var busInputRows = []setting.Row[modbus.Point]{
	{
		Key: "modbus", Field: setting.ByHand[modbus.Point]("text", "", "the name of a [[modbus]]"), Needed: "unless mqtt is given",
		Meaning: "Bus that the input is read from.", Example: `"rack-io"`,
	},
	{
		Key: "unit_id", Field: setting.ByHand[modbus.Point]("whole number", "", "1 to 247, or 255 over Modbus TCP"), Needed: "with modbus",
		Meaning: "Number of the device on the bus.", Example: "1",
	},
	{
		Key: "input", Field: setting.ByHand[modbus.Point]("whole number", "", "0 to 65535"),
		Meaning: "Input register, zero-based as on the wire; one of input, holding, coil, discrete and manual is needed.", Example: "100",
	},
	{
		Key: "holding", Field: setting.ByHand[modbus.Point]("whole number", "", "0 to 65535"),
		Meaning: "Holding register, zero-based as on the wire.", Example: "100",
	},
	{
		Key: "coil", Field: setting.ByHand[modbus.Point]("whole number", "", "0 to 65535"),
		Meaning: "Coil, zero-based as on the wire, for a switch.", Example: "4",
	},
	{
		Key: "discrete", Field: setting.ByHand[modbus.Point]("whole number", "", "0 to 65535"),
		Meaning: "Discrete input, zero-based as on the wire, for a switch.", Example: "0",
	},
	{
		Key: "manual", Field: setting.ByHand[modbus.Point]("whole number", "", "10001 to 49999, or 100001 to 465536"),
		Meaning: "Address as device manuals count: one-based, with the table in the first digit.", Example: "30101",
	},
	{
		Key: "bit", Field: setting.ByHand[modbus.Point]("whole number", "none", "0 to 15"),
		Meaning: "Bit of a register that holds several switches; 0 is the lowest.", Example: "3",
	},
	{
		Key: "type", Field: byWord[modbus.Point]("", registerTypes), Needed: "for registers",
		Meaning: "What the register holds, as the device's manual states it.", Example: `"int16"`,
	},
	{
		Key: "order", Field: byWord[modbus.Point]("", registerOrders), Needed: "for types of two registers",
		Meaning: "Word and byte order of two registers; A is the most significant byte.", Example: `"CDAB"`,
	},
	{
		Key: "period", Field: setting.Unset(func(p *modbus.Point) *time.Duration { return &p.Period }, "that of the bus", fastestPeriod, slowestPeriod),
		Meaning: "Time from one reading to the next.", Example: `"2 s"`,
	},
}

// brokerInputRows are the keys of where in a broker's messages an input stands.
var brokerInputRows = []setting.Row[mqtt.Point]{
	{
		Key: "mqtt", Field: setting.ByHand[mqtt.Point]("text", "", "the name of a [[mqtt]]"), Needed: "unless modbus is given",
		Meaning: "Broker that the input comes from.", Example: `"cases"`,
	},
	{
		Key: "topic", Field: setting.ByHand[mqtt.Point]("text", "", "without wildcards"), Needed: "with mqtt",
		Meaning: "Topic of the messages.", Example: `"case/dairy"`,
	},
	{
		Key: "value", Field: setting.ByHand[mqtt.Point]("text", "the message is a plain number", "a JSON Pointer (RFC 6901)"),
		Meaning: "Where in a JSON message the number stands.", Example: `"/coil_outlet"`,
	},
	{
		Key: "time", Field: setting.ByHand[mqtt.Point]("text", "the time of arrival", "a JSON Pointer (RFC 6901)"),
		Meaning: "Where in a JSON message the time stamp stands.", Example: `"/time"`,
	},
	{
		Key: "time_format", Field: setting.OneOf(func(p *mqtt.Point) *mqtt.TimeFormat { return &p.TimeFormat }, mqtt.AutoTime, "", timeFormats),
		Meaning: "Form of the time stamp; unix counts seconds and unix_ms milliseconds.", Example: `"unix"`,
	},
}

// mappingRows are the keys of what the number from the device means.
var mappingRows = []setting.Row[register.Mapping]{
	{
		Key: "unit", Field: setting.ByHand[register.Mapping]("text", "that of span, degC for a resistance, or on and off", "such as barg, kPaa, psig, degC, degF, A, kW, %, bool"),
		Meaning: "Unit of the number after scale and offset; a pressure is absolute (a) or gauge (g).", Example: `"degC"`,
	},
	{
		Key: "scale", Field: setting.ByHand[register.Mapping]("number", "1", "not 0"),
		Meaning: "Factor from the raw number to the unit.", Example: "0.1",
	},
	{
		Key: "offset", Field: setting.ByHand[register.Mapping]("number", "0", ""),
		Meaning: "Added to the number after scale, in the unit.", Example: "-40",
	},
	{
		Key: "sentinel", Field: setting.ByHand[register.Mapping]("list of numbers", "none", "raw numbers, before scale"),
		Meaning: "Raw numbers by which the device reports a missing or broken sensor.", Example: "[32767, -32768]",
	},
	{
		Key: "valid", Field: setting.ByHand[register.Mapping]("range with its unit", "what is possible", ""),
		Meaning: "Values outside this range are bad.", Example: `"-60..60 degC"`,
	},
	{
		Key: "signal", Field: setting.ByHand[register.Mapping]("word", "none: the number is the quantity", `"4-20mA", "0-10V", "1-5V", "0.5-4.5V" or other volts, "ratiometric"`),
		Meaning: "Electrical signal of a transmitter, where the number is its mA, V or share of the supply.", Example: `"4-20mA"`,
	},
	{
		Key: "span", Field: setting.ByHand[register.Mapping]("range with its unit", "", "the lower end first"), Needed: "with signal",
		Meaning: "What both ends of the transmitter's signal mean.", Example: `"-1..12 barg"`,
	},
	{
		Key: "sensor", Field: byWord[register.Mapping]("none: the number is the temperature", thermometers),
		Meaning: "Kind of temperature sensor, where the number is its resistance in ohm.", Example: `"pt1000"`,
	},
	{
		Key: "r25", Field: setting.ByHand[register.Mapping]("resistance (ohm, kohm)", "", showOhm(minOhm)+" to "+showOhm(maxOhm)), Needed: "for ntc without table",
		Meaning: "Resistance of an NTC thermistor at 25 °C.", Example: `"10 kohm"`,
	},
	{
		Key: "b", Field: setting.ByHand[register.Mapping]("B value (K)", "", showB(minB)+" to "+showB(maxB)), Needed: "for ntc without table",
		Meaning: "B value of an NTC thermistor.", Example: `"3435 K"`,
	},
	{
		Key: "table", Field: setting.ByHand[register.Mapping]("text", "none", "a CSV file of degC,ohm"),
		Meaning: "The maker's table of an NTC thermistor, in place of r25 and b.", Example: `"ntc10k.csv"`,
	},
	{
		Key: "calibration.gain", Field: setting.ByHand[register.Mapping]("number", "1", "0.5 to 2"),
		Meaning: "Factor that a calibration found.", Example: "1.001",
	},
	{
		Key: "calibration.zero", Field: setting.ByHand[register.Mapping]("temperature difference or pressure", "0", ""),
		Meaning: "Difference that a calibration found; it is added to the value.", Example: `"-0.3 K"`,
	},
	{
		Key: "calibration.date", Field: setting.ByHand[register.Mapping]("date", "not known", ""),
		Meaning: "Day of the calibration.", Example: "2026-03-01",
	},
	{
		Key: "invert", Field: setting.Plain(func(m *register.Mapping) *bool { return &m.Invert }, false),
		Meaning: "Whether 0 means on and 1 off, for a switch.", Example: "true",
	},
	{
		Key: "threshold", Field: setting.ByHand[register.Mapping]("number with its unit (A, mA, W, kW, Hz, rpm, V, %)", "", ""), Needed: "with such a unit",
		Meaning: "From this number on the compressor runs, or the switch is on.", Example: `"8 A"`,
	},
	{
		Key: "equals", Field: setting.ByHand[register.Mapping]("list of numbers", "none", "raw numbers"),
		Meaning: "States of a status register in which the switch is on, as the manual numbers them.", Example: "[3, 4]",
	},
}

// accuracyRows is the accuracy of a sensor, which superheat.SensorRows lacks.
var accuracyRows = []setting.Row[superheat.Sensor]{
	{
		Key: "accuracy", Field: setting.ByHand[superheat.Sensor]("pressure, temperature difference, or % of span", fmt.Sprintf("that of the group, else %s or %g K is assumed", showBar(superheat.TypicalPressureLimit), superheat.TypicalTemperatureLimit), fmt.Sprintf("%s to %s, %s to %s, or up to %s", showBar(minPascal), showBar(maxPascal), showKelvin(minAccuracy), showKelvin(maxAccuracy), showShare(maxOfSpan))),
		Meaning: "Greatest error of the sensor, either way.", Example: `"0.5 K"`, Source: practice,
	},
}
