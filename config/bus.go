package config

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/collector/modbus"
	"dewgap/collector/register"
)

var baudRates = []int64{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}

// bus reads one [[modbus]] table, without its points.
func (b *builder) bus(t *table) modbus.Settings {
	s := setting.Defaults(modbusRows)
	s.Name, _ = t.values["name"].(string)
	read(t, modbusRows, &s)
	address, hasAddress := t.text("address", "192.0.2.10:502")
	device, hasSerial := t.text("serial", "/dev/ttyUSB0")
	switch {
	case hasAddress && hasSerial:
		t.fault("serial", "is given beside an address", "keep address for a device or gateway on the network, or serial for a line of this machine")
	case hasSerial:
		s.Transport, s.Address = modbus.RTU, device
		s.Serial = b.serialLine(t)
		if t.has("framing") {
			t.fault("framing", "is for addresses on the network; a serial line is always RTU", "leave it out")
		}
		if _, err := os.Stat(device); err != nil {
			t.notReady("serial", fmt.Sprintf("%s is not there", device), "check the adapter and the device's name: ls /dev/serial/by-id")
		}
	case hasAddress:
		s.Address = address
		if problem := wrongHostPort(address, false); problem != "" {
			t.fault("address", problem, `write host and port, such as "192.0.2.10:502"`)
		}
		t.hints = make(map[string]string)
		hint(t, []string{"baud", "parity", "stop_bits", "rs485"}, "it is for a serial line of this machine; behind a gateway the gateway has it")
	case !t.has("address") && !t.has("serial"):
		t.fault("address", "is missing", `add address = "192.0.2.10:502", or serial = "/dev/ttyUSB0" with baud and parity`)
	}
	for _, f := range t.inners("forbidden", `[{ unit_id = 1, input = "100-119" }]`) {
		s.Forbidden = append(s.Forbidden, b.forbidden(f)...)
	}
	t.done()
	return s
}

func (b *builder) serialLine(t *table) modbus.Serial {
	s := setting.Defaults(serialRows)
	if baud, ok := take[int64](t, "baud", "a number without quotes, such as 19200"); ok {
		if s.Baud = int(baud); !slices.Contains(baudRates, baud) {
			t.fault("baud", fmt.Sprintf("%d is no speed of a serial line", baud), "write 9600 or 19200, or another that the devices are set to: "+strings.Trim(fmt.Sprint(baudRates), "[]"))
		}
	} else if !t.has("baud") {
		t.fault("baud", "is missing", "add the speed that all devices on the line are set to, such as baud = 19200")
	}
	read(t, serialRows, &s)
	if !t.has("parity") {
		t.fault("parity", "is missing", `add the parity that all devices on the line are set to: "none", "even" or "odd"`)
	}
	return s
}

var addressRange = regexp.MustCompile(`^\s*(\d+)\s*(?:-\s*(\d+)\s*)?$`)

// forbidden reads the ranges of one unit that are never to be read.
func (b *builder) forbidden(t *table) []modbus.Span {
	unit, _ := t.unitID(true)
	var spans []modbus.Span
	for _, table := range tables {
		text, ok := t.text(table.Name, "100-119")
		if !ok {
			continue
		}
		m := addressRange.FindStringSubmatch(text)
		if m == nil {
			t.fault(table.Name, fmt.Sprintf("%q is no range of addresses", text), `write the first and the last, zero-based, such as "100-119"`)
			continue
		}
		if m[2] == "" {
			m[2] = m[1]
		}
		first, wrongFirst := strconv.ParseUint(m[1], 10, 16)
		last, wrongLast := strconv.ParseUint(m[2], 10, 16)
		if wrongFirst != nil || wrongLast != nil || first > last {
			t.fault(table.Name, fmt.Sprintf("%q is no range of addresses", text), "the first is not above the last, and both lie between 0 and 65535")
			continue
		}
		spans = append(spans, modbus.Span{Unit: unit, Table: table.Value, First: uint16(first), Last: uint16(last)})
	}
	if len(spans) == 0 && !slices.ContainsFunc(tables, func(n setting.Word[modbus.Table]) bool { return t.has(n.Name) }) {
		t.fault("", "forbids nothing", `add the addresses, such as input = "100-119"`)
	}
	t.done()
	return spans
}

// tables of a device by their key, zero-based addresses as on the wire.
var tables = []setting.Word[modbus.Table]{
	{Name: "input", Value: modbus.Input}, {Name: "holding", Value: modbus.Holding}, {Name: "coil", Value: modbus.Coil}, {Name: "discrete", Value: modbus.Discrete},
}

// unitID reads unit_id. Only plain Modbus TCP has 255, for a device that needs
// no unit; 0 is the broadcast, to which no device answers.
func (t *table) unitID(tcp bool) (uint8, bool) {
	n, ok := take[int64](t, "unit_id", "a whole number without quotes")
	switch {
	case !ok:
		if !t.has("unit_id") {
			t.fault("unit_id", "is missing", "add the device's number on the bus, 1 to 247, such as unit_id = 1")
		}
		return 0, false
	case n == 0:
		t.fault("unit_id", "is 0, the broadcast, to which no device answers", "write the device's number, 1 to 247")
		return 0, false
	case n < 0 || n > 247 && !(n == 255 && tcp):
		t.fault("unit_id", fmt.Sprintf("is %d", n), "a device's number lies between 1 and 247 (255 for some devices over Modbus TCP)")
		return 0, false
	}
	return uint8(n), true
}

// modbusPoint reads where on the bus an input stands and adds it there.
func (b *builder) modbusPoint(t *table, name string, index int, p reading.Point, m register.Mapping) {
	point := modbus.Point{Index: index, Path: p.Path, Bit: -1}
	src := b.find(t, "modbus", name, true)
	tcp := src == nil || b.config.Modbus[src.bus].Transport == modbus.TCP
	unit, okUnit := t.unitID(tcp)
	table, address, okAddress := b.address(t)
	point.Unit, point.Table, point.Address = unit, table, address
	read(t, busInputRows, &point)
	okWords := b.words(t, p, table, &point, &m)
	point.Mapping = m
	if src == nil || !okUnit || !okAddress || !okWords {
		return
	}
	s := &b.config.Modbus[src.bus]
	if point.Period == 0 {
		point.Period = s.Period
	}
	if int(address)+m.Type.Words() > 1<<16 {
		t.fault("type", fmt.Sprintf("%s takes two registers, and %d is the last there is", m.Type, address), "check the address, which is zero-based, and the type")
		return
	}
	last := address + uint16(m.Type.Words()-1)
	for _, f := range s.Forbidden {
		if f.Unit == unit && f.Table == table && f.First <= last && f.Last >= address {
			t.fault("", fmt.Sprintf("reads an address that the bus %q forbids", name), "take it out of forbidden, or read another address")
			return
		}
	}
	b.sameRegister(t, s, point, p)
	s.Points = append(s.Points, point)
}

// address reads exactly one of input, holding, coil, discrete and manual.
func (b *builder) address(t *table) (modbus.Table, uint16, bool) {
	var table modbus.Table
	var address int64
	var key string
	for _, n := range append(slices.Clone(tables), setting.Word[modbus.Table]{Name: "manual"}) {
		a, ok := take[int64](t, n.Name, "the address as a whole number without quotes")
		if !ok {
			continue
		}
		if key != "" {
			t.fault(n.Name, fmt.Sprintf("is given beside %s: two addresses", key), "keep one of the two")
			return 0, 0, false
		}
		key, table, address = n.Name, n.Value, a
	}
	switch {
	case key == "":
		for _, n := range tables {
			if t.has(n.Name) {
				return 0, 0, false
			}
		}
		if !t.has("manual") {
			t.fault("", "has no address", "add input = 100 or holding = 100 (coil, discrete), zero-based as on the wire, or manual = 30101 as device manuals count")
		}
		return 0, 0, false
	case key == "manual":
		return b.manual(t, address)
	case address < 0 || address > 65535:
		t.fault(key, fmt.Sprintf("%d is no address", address), "zero-based addresses lie between 0 and 65535; write manual = … for numbers like 300101")
		return 0, 0, false
	}
	if as, offset, ok := fromManual(address); ok {
		if as == table {
			t.warn(key, fmt.Sprintf("%d looks like a number from a manual, and is taken as the zero-based address", address), fmt.Sprintf("if the manual says %d, write manual = %d, which is %s = %d", address, address, key, offset))
		} else if as == modbus.Input || as == modbus.Holding {
			t.fault(key, fmt.Sprintf("%d in a manual's notation is a register of another table", address), fmt.Sprintf("write manual = %d, which is %s = %d", address, tableName(as), offset))
			return 0, 0, false
		}
	}
	return table, uint16(address), true
}

// manual reads an address as device manuals count: one-based, with the table
// in the first digit.
func (b *builder) manual(t *table, n int64) (modbus.Table, uint16, bool) {
	if table, address, ok := fromManual(n); ok {
		return table, address, true
	}
	remedy := "30001 to 39999 or 300001 to 365536 are input registers, 4… holding registers, 1… discrete inputs"
	if n >= 1 && n <= 9999 {
		remedy = fmt.Sprintf("for a coil write coil = %d; %s", n-1, remedy)
	}
	t.fault("manual", fmt.Sprintf("%d is no number of a manual", n), remedy)
	return 0, 0, false
}

func fromManual(n int64) (modbus.Table, uint16, bool) {
	for _, digits := range []struct{ base, highest int64 }{{10000, 9999}, {100000, 65536}} {
		table, ok := map[int64]modbus.Table{1: modbus.Discrete, 3: modbus.Input, 4: modbus.Holding}[n/digits.base]
		if rest := n % digits.base; ok && rest >= 1 && rest <= digits.highest {
			return table, uint16(rest - 1), true
		}
	}
	return 0, 0, false
}

func tableName(table modbus.Table) string {
	for _, n := range tables {
		if n.Value == table {
			return n.Name
		}
	}
	return ""
}

// words reads how the registers of an input are to be understood.
func (b *builder) words(t *table, p reading.Point, table modbus.Table, point *modbus.Point, m *register.Mapping) bool {
	before := len(b.faults)
	kind, hasType := word(t, "type", registerTypes)
	order, hasOrder := word(t, "order", registerOrders)
	bit, hasBit := t.whole("bit", 0, 15)
	isSwitch := p.Role.Kind() == reading.Switch
	bits := table == modbus.Coil || table == modbus.Discrete
	switch {
	case bits && !isSwitch:
		t.fault(tableName(table), fmt.Sprintf("is a single bit, and %s is a %s", p.Role, p.Role.Kind()), "read it from an input or holding register")
	case bits && (hasType || hasOrder || hasBit):
		t.fault("", "a coil or discrete input is one bit and has no type, order or bit", "leave them out")
	case bits:
		m.Type = register.Bit
	case hasBit && !isSwitch:
		t.fault("bit", fmt.Sprintf("is for switches, and %s is a %s", p.Role, p.Role.Kind()), "leave it out and write the type")
	case hasBit && (hasType || hasOrder):
		t.fault("bit", "is given beside a type", "a bit of a register needs no type; leave it out")
	case hasBit:
		m.Type, point.Bit = register.Bit, int(bit)
	case t.has("bit") || t.has("type") && !hasType:
	case !hasType:
		t.notReady("type", "is missing", `add type = "int16" (or uint16, int32, uint32, float32) as the manual states it; check --live shows what each would give`)
	default:
		m.Type = kind
		b.wordOrder(t, m, order, hasOrder)
	}
	if isSwitch && hasType && !bits && !hasBit && !t.has("threshold") && !t.has("unit") && !t.has("equals") {
		t.fault("threshold", "is missing: from which number on is it running?", `add unit = "A" and threshold = "8 A", unit = "bool" for a register of 0 and 1, or equals = [3, 4] for a register of states`)
	}
	if m.Type == register.Bit {
		for _, key := range []string{"unit", "threshold", "equals", "scale", "offset", "sentinel"} {
			if t.has(key) {
				t.fault(key, "is given for a bit, which is 0 or 1", "leave it out")
			}
		}
		m.Threshold, m.Codes, m.Scale = 0, nil, 1
	}
	b.holds(t, "sentinel", m.Sentinels, m.Type)
	b.holds(t, "equals", m.Codes, m.Type)
	return len(b.faults) == before
}

func (b *builder) wordOrder(t *table, m *register.Mapping, order register.Order, hasOrder bool) {
	switch two := m.Type.Words() == 2; {
	case two && !hasOrder && !t.has("order"):
		t.notReady("order", fmt.Sprintf("is missing: %s takes two registers", m.Type), `add order = "ABCD", "CDAB", "BADC" or "DCBA" (A is the most significant byte); check --live shows which fits`)
	case !two && hasOrder:
		t.fault("order", fmt.Sprintf("is given for %s, which takes one register", m.Type), "leave it out")
	default:
		m.Order = order
	}
}

// holds checks that a register of the type can hold the numbers at all.
func (b *builder) holds(t *table, key string, numbers []float64, kind register.Type) {
	var lowest, highest float64
	switch kind {
	case register.Int16:
		lowest, highest = -1<<15, 1<<16-1 // manuals write 0x8000 for −32768
	case register.Uint16:
		lowest, highest = 0, 1<<16-1
	case register.Int32:
		lowest, highest = -1<<31, 1<<32-1
	case register.Uint32:
		lowest, highest = 0, 1<<32-1
	default:
		return
	}
	for _, x := range numbers {
		if x < lowest || x > highest || x != float64(int64(x)) {
			t.fault(key, fmt.Sprintf("%g is no content of a register of type %s", x, kind), "write raw numbers as the device sends them, before scale, such as 32767")
		}
	}
}

// sameRegister warns where two inputs read the same register and take it for
// different things.
func (b *builder) sameRegister(t *table, s *modbus.Settings, n modbus.Point, p reading.Point) {
	mine := meaning{n.Path, p.Role.Kind(), n.Mapping}
	for _, o := range s.Points {
		if o.Unit != n.Unit || o.Table != n.Table || int(o.Address)+o.Mapping.Type.Words() <= int(n.Address) || int(n.Address)+n.Mapping.Type.Words() <= int(o.Address) {
			continue
		}
		if o.Bit >= 0 && n.Bit >= 0 && o.Address == n.Address {
			continue // two switches packed in one register
		}
		theirs := meaning{o.Path, b.config.Site.Points[o.Index].Role.Kind(), o.Mapping}
		if o.Address != n.Address || mine.contradicts(theirs) {
			t.warn("", fmt.Sprintf("reads the same register as %s and takes it for something else", o.Path), "check both addresses and mappings")
		}
	}
}

// load compares what is asked of a serial line with what it can carry.
func (b *builder) load(t *table, s *modbus.Settings) {
	if s.Transport != modbus.RTU || s.Serial.Baud == 0 {
		return
	}
	busy := s.Load()
	key := "period"
	if !t.has(key) {
		key = "" // stands at the bus
	}
	slower := fmt.Sprintf("a period of %s would use half of it", shortDuration((time.Duration(busy*2*float64(s.Period))).Truncate(100*time.Millisecond)+100*time.Millisecond))
	switch {
	case busy > 1:
		t.fault(key, fmt.Sprintf("%d inputs ask for %.0f %% of what %d baud can carry", len(s.Points), busy*100, s.Serial.Baud), slower)
	case busy > 0.5:
		t.warn(key, fmt.Sprintf("%d inputs take %.0f %% of the line's time at %d baud, which others may need", len(s.Points), busy*100, s.Serial.Baud), slower)
	}
}
