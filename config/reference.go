package config

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/reading"
	"dewgap/analyze/superheat"
)

//go:generate go test -run TestReference -update .

// section is one TOML table of the reference.
type section struct {
	head  string // [site]
	intro string
	keys  []key
}

// The keys of the tables of the file. An input's keys are the same for every
// role; where they stand, the role's name is the table.
var (
	analysisKeys = append(append(keysOf(floodback.Rows()), keysOf(phase.Rows())...), keysOf(superheat.Rows())...)
	modbusKeys   = append(append(keysOf(modbusRows), keysOf(serialRows)...), below("forbidden", keysOf(forbiddenRows))...)
	sensorKeys   = append(keysOf(accuracyRows), keysOf(superheat.SensorRows())...)
	inputKeys    = concat(keysOf(busInputRows), keysOf(brokerInputRows), keysOf(mappingRows), sensorKeys, keysOf(verifiedRows))

	compressorKeys = append(keysOf(compressorRows), roleKeys(reading.AtCompressor)...)
	circuitKeys    = append(keysOf(circuitRows), roleKeys(reading.AtCircuit)...)
	groupKeys      = concat(keysOf(groupRows), analysisKeys, groupSensorKeys(), roleKeys(reading.AtGroup))

	rootKeys = concat(
		below("site", keysOf(siteRows)), below("daemon", keysOf(daemonRows)), below("commissioning", keysOf(commissioningRows)),
		below("modbus", modbusKeys), below("mqtt", keysOf(mqttRows)), below("refrigerant", keysOf(refrigerantRows)), below("notify", keysOf(notifyRows)), below("remote_write", keysOf(remoteWriteRows)),
		below("suction_group", groupKeys, below("compressor", compressorKeys), below("circuit", circuitKeys)),
	)
)

func concat(lists ...[]key) []key {
	var all []key
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// groupSensorKeys are what a group may state for all its sensors of a quantity.
func groupSensorKeys() []key {
	keys := keysOf(groupSensorRows)
	for _, k := range keysOf(superheat.SensorRows()) {
		table := "temperature_sensor"
		if k.path == "sealed" {
			table = "pressure_sensor"
		}
		keys = append(keys, below(table, []key{k})...)
	}
	slices.SortStableFunc(keys, func(a, b key) int {
		first, _, _ := strings.Cut(a.path, ".")
		second, _, _ := strings.Cut(b.path, ".")
		return strings.Compare(first, second)
	})
	return keys
}

// sections returns the reference in the order of a file.
func sections() []section {
	return []section{
		{"[site]", "The site. A file has one.", keysOf(siteRows)},
		{"[daemon]", "How the program itself runs.", keysOf(daemonRows)},
		{"[[modbus]]", "A Modbus device, gateway or serial line. dewgap only reads from it. Repeat the table for each.", concat(keysOf(modbusRows), keysOf(serialRows))},
		{"[[modbus.forbidden]]", "Addresses of a device on the bus above that are never read. Repeat the table for each device.", keysOf(forbiddenRows)},
		{"[[mqtt]]", "An MQTT broker. dewgap only subscribes to it. Repeat the table for each.", keysOf(mqttRows)},
		{"[[refrigerant]]", "A refrigerant that dewgap does not have, from its maker's table.", keysOf(refrigerantRows)},
		{"[[suction_group]]", "A suction group: compressors and circuits with one refrigerant and one suction pressure. Repeat the table for each.", without(groupKeys, "detect", "phases")},
		{"[suction_group.detect]", "Thresholds of the events. State only what differs from the defaults.", inside(groupKeys, "detect")},
		{"[suction_group.phases]", "Limits by which the phases are found. State only what differs from the defaults.", inside(groupKeys, "phases")},
		{"[[suction_group.compressor]]", "A compressor of the group above. Repeat the table for each.", compressorKeys},
		{"[[suction_group.circuit]]", "A circuit of the group above. Repeat the table for each.", circuitKeys},
		{"Input: address over Modbus", "The keys of every input that names a bus, inside the braces behind its name.", keysOf(busInputRows)},
		{"Input: address over MQTT", "The keys of every input that names a broker.", keysOf(brokerInputRows)},
		{"Input: from the number to the value", "The keys of every input that turn the device's number into a quantity or a switch.", keysOf(mappingRows)},
		{"Input: the sensor", "The keys of an input that describe its sensor; they decide how well the superheat is known.", sensorKeys},
		{"Input: compared with a gauge", "The keys of an input whose reading somebody compared with a gauge or a thermometer. Inputs without them are listed as never compared.", keysOf(verifiedRows)},
		{"[[notify]]", "A target that is told of events: opened, escalated, closed, withdrawn. Nobody is told without one. Repeat the table for each. Messages wait on the disk until they are taken, 72 h at most; each has an id that stays the same over retries.", keysOf(notifyRows)},
		{"[[remote_write]]", "A receiver of the metrics by Prometheus remote write 1.0, for sites that nobody can scrape. What the recordings hold is sent in order; after an outage of the network what is missing follows, as far as recordings go back. At most four.", keysOf(remoteWriteRows)},
		{"[commissioning]", "Criteria by which a defrost is signed off.", keysOf(commissioningRows)},
	}
}

func fixedValues() []key {
	return concat(fixedOf(floodback.Rows()), fixedOf(phase.Rows()), fixedOf(serialRows), fixedOf(mqttRows))
}

func without(keys []key, tables ...string) []key {
	var rest []key
	for _, k := range keys {
		first, _, nested := strings.Cut(k.path, ".")
		if !nested || first != tables[0] && first != tables[1] {
			rest = append(rest, k)
		}
	}
	return rest
}

// WriteReference writes every key of the configuration with its unit, default,
// range, meaning and an example, as Markdown that a terminal shows as well.
func WriteReference(w io.Writer) error {
	var b strings.Builder
	b.WriteString(`# Configuration reference

Every key of the configuration, by its TOML table. This page is what ` + "`dewgap check --reference`" + ` prints.

Quantities stand in quotes with their unit: ` + "`\"11 K\"`" + `. Plain numbers, true, false and lists stand without quotes.
A key with dots stands in an inner table: ` + "`floor.steady = \"11 K\"`" + ` and ` + "`floor = { steady = \"11 K\" }`" + ` are the same.
Addresses and names in the examples are invented.
`)
	for _, s := range sections() {
		fmt.Fprintf(&b, "\n## %s\n\n%s\n\n", s.head, s.intro)
		for _, k := range s.keys {
			k.write(&b)
		}
	}
	b.WriteString("\n## Fixed values\n\nNo key sets these. They are here so that every number can be read.\n\n")
	for _, k := range fixedValues() {
		fmt.Fprintf(&b, "- %s: %s\n  %s. Source: %s.\n", k.path, k.meaning, k.def, k.source)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (k *key) write(b *strings.Builder) {
	fmt.Fprintf(b, "- `%s`: %s\n  %s.", k.path, k.meaning, capital(k.unit))
	switch k.needed {
	case "":
	case "always":
		b.WriteString(" Needed.")
	default:
		fmt.Fprintf(b, " Needed %s.", k.needed)
	}
	if k.def != "" && k.needed != "always" {
		fmt.Fprintf(b, " Default: %s.", k.def)
	}
	switch {
	case k.limits == "":
	case strings.Contains(k.limits, " to "):
		fmt.Fprintf(b, " Range: %s.", k.limits)
	case strings.HasPrefix(k.limits, `"`):
		fmt.Fprintf(b, " One of: %s.", k.limits)
	default:
		fmt.Fprintf(b, " Allowed: %s.", k.limits)
	}
	if k.source != "" {
		fmt.Fprintf(b, " Source: %s.", k.source)
	}
	fmt.Fprintf(b, "\n  `%s = %s`\n", k.path, k.example)
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
