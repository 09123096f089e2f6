package config

import (
	"fmt"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/analyze/superheat"
	"dewgap/analyze/units"
	"dewgap/collector/register"
)

// inputs reads the inputs that stand beside their roles in a group, compressor
// or circuit, and returns which there are.
func (b *builder) inputs(t *table, home reading.Home, group, member string) map[reading.Role]bool {
	own := make(map[reading.Role]bool)
	for _, role := range reading.Roles(home) {
		in, ok := t.inner(role.String(), `{ modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.1, unit = "degC" }`)
		if !ok {
			continue
		}
		own[role] = true
		in.keys = inputKeys
		b.input(in, reading.Point{Path: pathOf(group, member, role), Group: group, Member: member, Role: role})
	}
	for key := range t.values { // roles that stand elsewhere
		role, is := reading.ParseRole(key)
		if is && role.Home()&home == 0 {
			if t.hints == nil {
				t.hints = make(map[string]string)
			}
			t.hints[key] = key + " is an input of a " + homeNames(role.Home())
		}
	}
	return own
}

func pathOf(group, member string, role reading.Role) string {
	if member == "" {
		return group + "." + role.String()
	}
	return group + "." + member + "." + role.String()
}

func homeNames(home reading.Home) string {
	switch home {
	case reading.AtGroup:
		return "suction group"
	case reading.AtCompressor:
		return "compressor"
	case reading.AtCircuit:
		return "circuit"
	}
	return "suction group or of a compressor"
}

// Keys that belong to one kind of source only.
var (
	busKeys    = keysBeside(busInputRows, "modbus")
	brokerKeys = keysBeside(brokerInputRows, "mqtt")
)

func keysBeside[S any](rows []setting.Row[S], name string) []string {
	var keys []string
	for _, row := range rows {
		if row.Key != name {
			keys = append(keys, row.Key)
		}
	}
	return keys
}

// input reads one input and adds it to the site and to its source.
func (b *builder) input(t *table, p reading.Point) {
	site := &b.config.Site
	index := len(site.Points)
	m, rng := b.mapping(t, p.Role.Kind())
	sensor := b.sensor(t, p.Role.Kind(), rng)
	sensor.Gauge = m.Unit.Quantity == units.GaugePressure
	m.Atmosphere = site.Atmosphere
	if sensor.Sealed {
		m.Atmosphere = units.StandardAtmosphere
	}
	bus, onBus := t.text("modbus", "rack-io")
	broker, atBroker := t.text("mqtt", "broker")
	t.hints = make(map[string]string)
	if p.Role.Kind() != reading.Temperature {
		hint(t, []string{"lag", "mounting", "sensor", "r25", "b", "table"}, "it is for temperatures")
	}
	switch {
	case onBus && atBroker:
		t.fault("mqtt", "is given beside modbus", "an input has one source; keep one of the two")
		t.known = append(append(t.known, busKeys...), brokerKeys...)
	case onBus:
		hint(t, brokerKeys, "it is for inputs over MQTT; this one names modbus")
		b.modbusPoint(t, bus, index, p, m)
	case atBroker:
		hint(t, busKeys, "it is for inputs over Modbus; this one names mqtt")
		b.mqttPoint(t, broker, index, p, m)
	default:
		hint(t, busKeys, `name the bus as well: modbus = "…"`)
		hint(t, brokerKeys, `name the broker as well: mqtt = "…"`)
		t.notReady("", "has no source", `add modbus = "…" or mqtt = "…" with the address`)
	}
	if (onBus || atBroker) && p.Role.Kind() != reading.Switch && m.Unit == (units.Unit{}) && !t.has("unit") && !t.has("span") && !t.has("signal") {
		t.fault("unit", "is missing", `add the unit of the number after scale, such as unit = `+exampleUnit(p.Role.Kind()))
	}
	compared := b.verified(t, p.Role.Kind(), &m, sensor)
	t.done()
	p.Unit, p.Source = m.Unit, bus+broker
	b.config.Verified = append(b.config.Verified, compared)
	b.config.Inputs = append(b.config.Inputs, b.textOf(t))
	site.Points = append(site.Points, p)
	site.Sensors = append(site.Sensors, sensor)
}

func hint(t *table, keys []string, text string) {
	for _, k := range keys {
		t.hints[k] = text
	}
}

func exampleUnit(kind reading.Kind) string {
	switch kind {
	case reading.Pressure:
		return `"barg", "psig" or "kPaa"`
	case reading.Share:
		return `"%"`
	}
	return `"degC" or "degF"`
}

// mapping reads the way from the number to the value, and the span that the
// transmitter has, where one is stated.
func (b *builder) mapping(t *table, kind reading.Kind) (register.Mapping, span) {
	var m register.Mapping
	m.Scale = 1
	if scale, ok := t.number("scale"); ok {
		if m.Scale = scale; scale == 0 {
			t.fault("scale", "is 0: every value would be the offset", "write the factor from the raw number to the unit, such as 0.1")
		}
	}
	m.Offset, _ = t.number("offset")
	m.Sentinels, _ = t.numbers("sentinel")
	if kind == reading.Switch {
		b.switching(t, &m)
		return m, span{}
	}
	m.Unit, _ = b.unit(t, "unit", kind)
	rng := b.signal(t, kind, &m)
	b.thermometer(t, kind, &m)
	if valid, ok := quantity(t, "valid", parseSpan); ok {
		switch {
		case valid.unit.Quantity != m.Unit.Quantity && m.Unit.Known():
			t.fault("valid", fmt.Sprintf("is in %s, a unit of %s", valid.unit, valid.unit.Quantity), "write it like the input's unit, "+m.Unit.Name)
		case m.Unit.Known():
			valid = valid.in(m.Unit)
			m.Valid = register.Range{Min: min(valid.low, valid.high), Max: max(valid.low, valid.high)}
		}
	}
	b.calibration(t, kind, &m)
	return m, rng
}

// unit reads a unit that fits the kind of quantity.
func (b *builder) unit(t *table, key string, kind reading.Kind) (units.Unit, bool) {
	text, ok := t.text(key, "barg")
	if !ok {
		return units.Unit{}, false
	}
	u, err := units.ParseUnit(text)
	if err != nil {
		problem, _ := explain(err)
		t.fault(key, problem, "write "+exampleUnit(kind))
		return units.Unit{}, false
	}
	switch {
	case kind == reading.Pressure && u.Quantity == units.PressureDifference:
		t.fault(key, fmt.Sprintf("%q may be absolute or gauge", text), fmt.Sprintf("write %sg, or %sa for absolute", u.Name, u.Name))
	case kind == reading.Pressure && !u.IsPressure():
		t.fault(key, fmt.Sprintf("%q is a unit of %s, and this input is a pressure", text, u.Quantity), "write "+exampleUnit(kind))
	case kind == reading.Temperature && u.Quantity != units.Temperature:
		t.fault(key, fmt.Sprintf("%q is a unit of %s, and this input is a temperature", text, u.Quantity), "write "+exampleUnit(kind))
	case kind == reading.Share && u.Quantity != units.Share:
		t.fault(key, fmt.Sprintf("%q is a unit of %s, and this input is a share of full", text, u.Quantity), `scale the number to "%"`)
	default:
		return u, true
	}
	return units.Unit{}, false
}

// switching reads what makes a number 0 or 1.
func (b *builder) switching(t *table, m *register.Mapping) {
	read(t, mappingRows, m)
	t.value("threshold") // known, whatever becomes of the unit
	if t.has("equals") {
		b.codes(t, m)
		return
	}
	unit, hasUnit := t.text("unit", "A")
	if hasUnit && unit == "bool" {
		m.Threshold = 0.5
		if t.has("threshold") {
			t.fault("threshold", "is given for an input of unit bool, which is 0 or 1 already", "leave it out, or write the unit of the number, such as unit = \"A\"")
		}
		return
	}
	if hasUnit {
		if _, known := switchUnits[unit]; !known {
			t.fault("unit", fmt.Sprintf("%q is not known for a switch", unit), `write "bool" for 0 and 1, or A, mA, W, kW, Hz, rpm, V or % with a threshold`)
			return
		}
	}
	limit, ok := quantity(t, "threshold", parseThreshold)
	switch {
	case !ok && hasUnit && !t.has("threshold"):
		t.fault("threshold", fmt.Sprintf("is missing: from how much %s on is the machine running?", switchUnits[unit].measures), fmt.Sprintf(`add threshold = "8 %s"`, unit))
	case ok && !hasUnit:
		t.fault("unit", "is missing", fmt.Sprintf("add the unit of the number after scale, such as unit = %q", limit.unit))
	case ok && switchUnits[limit.unit].measures != switchUnits[unit].measures:
		t.fault("threshold", fmt.Sprintf("is in %s, and the input is in %s", limit.unit, unit), "write the same unit in both")
	case ok:
		m.Threshold = limit.number * switchUnits[limit.unit].factor / switchUnits[unit].factor
	default:
		m.Threshold = 0.5 // on/off: 0 and 1
	}
}

// codes reads the states of a machine, by the numbers of its manual, in which
// the switch is on.
func (b *builder) codes(t *table, m *register.Mapping) {
	m.Codes, _ = t.numbers("equals")
	if list, isList := t.values["equals"].([]any); isList && len(list) == 0 {
		t.fault("equals", "names no state", "write the numbers of the states in which it is on, such as equals = [3, 4]")
	}
	for _, key := range []string{"unit", "threshold", "scale", "offset"} {
		if t.has(key) {
			t.value(key)
			t.fault(key, "is given beside equals, which lists the numbers of states as the device sends them", "keep one of the two")
		}
	}
}

// calibration reads gain and zero, in the scale of the unit.
func (b *builder) calibration(t *table, kind reading.Kind, m *register.Mapping) {
	c, ok := t.inner("calibration", `{ zero = "0.3 K", date = 2026-03-01 }`)
	if !ok {
		return
	}
	if gain, ok := c.number("gain"); ok {
		if m.Gain = gain; !(gain >= 0.5 && gain <= 2) {
			c.fault("gain", fmt.Sprintf("%g is no calibration", gain), "it lies near 1, between 0.5 and 2; use scale for the device's own factor")
		}
	}
	switch kind {
	case reading.Pressure:
		if zero, ok := quantity(c, "zero", units.ParsePressureDifference); ok {
			m.Zero = step(m.Unit, zero)
		}
	case reading.Share:
		if zero, ok := quantity(c, "zero", parseShare); ok {
			m.Zero = 100 * zero
		}
	default:
		if zero, ok := quantity(c, "zero", units.ParseDifference); ok {
			m.Zero = step(m.Unit, float64(zero))
		}
	}
	date, dated := take[time.Time](c, "date", "a date without quotes, such as 2026-03-01")
	if dated {
		m.Calibrated = time.Date(date.Year(), date.Month(), date.Day(), 0, 0, 0, 0, time.UTC)
	} else if !c.has("date") {
		c.warn("date", "is missing: the age of the calibration is not known", "add date = 2026-03-01")
	}
	c.done()
}

// Limits of a stated accuracy. Beyond them lies a typing error.
const (
	minAccuracy units.Kelvin = 0.001
	maxAccuracy units.Kelvin = 20
	minPascal                = 100.0
	maxPascal                = 10e5
	maxOfSpan                = 0.2
)

func showBar(pa float64) string { return fmt.Sprintf("%g bar", pa/1e5) }

// sensor reads what is stated about the sensor; rng is its span.
func (b *builder) sensor(t *table, kind reading.Kind, rng span) superheat.Sensor {
	var s superheat.Sensor
	switch kind {
	case reading.Pressure:
		s.Limit = b.pressureAccuracy(t, rng)
		readRow(t, rowOf(superheat.SensorRows(), "sealed"), &s)
	case reading.Temperature:
		if limit, ok := within(t, "accuracy", units.ParseDifference, minAccuracy, maxAccuracy, showKelvin, ""); ok {
			s.Limit = float64(limit)
		}
		readRow(t, rowOf(superheat.SensorRows(), "lag"), &s)
		readRow(t, rowOf(superheat.SensorRows(), "mounting"), &s)
	}
	return s
}

// pressureAccuracy is the half-width of a transmitter's limits in Pa: given as
// a pressure, or as a share of its span.
func (b *builder) pressureAccuracy(t *table, rng span) float64 {
	if text, isText := t.values["accuracy"].(string); isText && strings.Contains(text, "%") {
		share, ok := quantity(t, "accuracy", units.ParsePercent)
		switch {
		case !ok:
		case !rng.unit.Known():
			t.fault("accuracy", fmt.Sprintf("%q of what?", text), `write the pressure, such as "0.13 bar", or add span = "-1..12 barg"`)
		case !(share > 0 && share <= maxOfSpan):
			t.fault("accuracy", fmt.Sprintf("%q of the span is impossible", text), "it lies above 0 and at most at "+showShare(maxOfSpan))
		default:
			full := rng.unit.SI(rng.high) - rng.unit.SI(rng.low)
			return share * max(full, -full)
		}
		return 0
	}
	limit, _ := within(t, "accuracy", units.ParsePressureDifference, minPascal, maxPascal, showBar, "")
	return limit
}
