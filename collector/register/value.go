package register

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"dewgap/analyze/units"
)

// ValueOfWords decodes the words of one value, in the order in which they came
// over the wire, and maps them to SI: Pa absolute, °C, or 0/1.
func (m *Mapping) ValueOfWords(words []uint16) (float64, Fault) {
	number, fault := m.decode(words)
	if fault.Failed() {
		return math.NaN(), fault
	}
	return m.engineering(number)
}

// ValueOfBit maps a coil, a discrete input or one bit of a register to 0 or 1.
func (m *Mapping) ValueOfBit(set bool) (float64, Fault) {
	if m.Unit.Quantity != units.NoQuantity {
		return math.NaN(), Fault{CodeMapping, "a bit has no unit"}
	}
	return truth(set != m.Invert), Fault{}
}

// ValueOfNumber maps a number that was sent as one (in JSON or text) to SI.
func (m *Mapping) ValueOfNumber(number float64) (float64, Fault) {
	if fault := notANumber(number); fault.Failed() {
		return math.NaN(), fault
	}
	for _, s := range m.Sentinels {
		if number == s {
			return math.NaN(), Fault{CodeSentinel, short(s)}
		}
	}
	return m.engineering(number)
}

// ValueOfText maps a number, or the words for a switch, written in text.
func (m *Mapping) ValueOfText(text string) (float64, Fault) {
	if m.Unit.Quantity == units.NoQuantity && m.Signal == Plain && len(m.Codes) == 0 {
		if set, ok := ParseSwitch(text); ok {
			return m.ValueOfBit(set)
		}
	}
	number, fault := ParseNumber(text)
	if fault.Failed() {
		return math.NaN(), fault
	}
	return m.ValueOfNumber(number)
}

// decode reads the words by their type and rejects what is not a value.
func (m *Mapping) decode(words []uint16) (float64, Fault) {
	if len(words) != m.Type.Words() {
		return 0, Fault{CodeMapping, fmt.Sprintf("%s takes %d words, got %d", m.Type, m.Type.Words(), len(words))}
	}
	var bits uint32
	if len(words) == 2 {
		if m.Order < ABCD || m.Order > DCBA {
			return 0, Fault{CodeMapping, m.Type.String() + " needs a byte order: ABCD, BADC, CDAB or DCBA"}
		}
		bits = m.Order.join(words[0], words[1])
	} else {
		bits = uint32(words[0])
	}
	number := m.Type.number(bits)
	if fault := notANumber(number); fault.Failed() {
		fault.Detail = fmt.Sprintf("0x%08X", bits)
		return 0, fault
	}
	for _, s := range m.Sentinels {
		if m.Type.same(bits, s) {
			return 0, Fault{CodeSentinel, m.Type.sentinelText(bits)}
		}
	}
	return number, Fault{}
}

// join puts two words together; first is the one with the lower address.
func (o Order) join(first, second uint16) uint32 {
	switch o {
	case BADC:
		first, second = swap(first), swap(second)
	case CDAB:
		first, second = second, first
	case DCBA:
		first, second = swap(second), swap(first)
	}
	return uint32(first)<<16 | uint32(second)
}

func swap(w uint16) uint16 { return w<<8 | w>>8 }

// number reads bits by their type.
func (t Type) number(bits uint32) float64 {
	switch t {
	case Int16:
		return float64(int16(bits))
	case Int32:
		return float64(int32(bits))
	case Float32:
		return float64(math.Float32frombits(bits))
	default:
		return float64(bits)
	}
}

// same reports whether bits are the sentinel s. A manual may write the sentinel
// of a signed register signed or not (0x8000, 32768, −32768): all three match.
func (t Type) same(bits uint32, s float64) bool {
	switch t {
	case Float32:
		return math.Float32frombits(bits) == float32(s)
	case Int16, Uint16:
		return float64(int16(bits)) == s || float64(uint16(bits)) == s
	default:
		return float64(int32(bits)) == s || float64(bits) == s
	}
}

// MayBeSentinel reports whether words are what devices commonly send for "no
// value" (all ones, the largest or the smallest signed number; common practice, no
// source) at a point that lists no sentinel. A switch or status is any number.
func (m *Mapping) MayBeSentinel(words []uint16) bool {
	if len(m.Sentinels) > 0 || len(words) != m.Type.Words() || m.Unit.Quantity == units.NoQuantity && m.Signal == Plain {
		return false
	}
	switch m.Type {
	case Int16, Uint16:
		return words[0] == 0xFFFF || words[0] == 0x7FFF || words[0] == 0x8000
	case Int32, Uint32:
		bits := m.Order.join(words[0], words[1])
		return bits == 0xFFFF_FFFF || bits == 0x7FFF_FFFF || bits == 0x8000_0000
	}
	return false
}

func (t Type) sentinelText(bits uint32) string {
	switch t {
	case Float32:
		return strconv.FormatFloat(float64(math.Float32frombits(bits)), 'g', -1, 32)
	case Int32, Uint32:
		return fmt.Sprintf("0x%08X", bits)
	}
	return fmt.Sprintf("0x%04X", bits)
}

func notANumber(x float64) Fault {
	switch {
	case math.IsNaN(x):
		return Fault{CodeNaN, "the device sent no number"}
	case math.IsInf(x, 0):
		return Fault{CodeInfinite, "the device sent an infinite number"}
	}
	return Fault{}
}

// engineering takes the number from after the sentinels to SI.
func (m *Mapping) engineering(number float64) (float64, Fault) {
	number = number*orOne(m.Scale) + m.Offset
	value, fault := m.signal(number)
	if fault.Failed() {
		return math.NaN(), fault
	}
	value = value*orOne(m.Gain) + m.Zero
	if fault := notANumber(value); fault.Failed() {
		return math.NaN(), fault
	}
	if m.Valid != (Range{}) && (value < m.Valid.Min || value > m.Valid.Max) {
		return math.NaN(), Fault{CodeOutOfRange, fmt.Sprintf("%s %s is outside %s to %s",
			short(value), m.Unit.Name, short(m.Valid.Min), short(m.Valid.Max))}
	}
	return m.si(value)
}

// What a sensor on a refrigeration system can show at most. Wider than any
// machine, narrow enough for a wrong word order or unit to stand out.
// Common practice, no source.
const (
	highestPressure    = 250e5 // Pa absolute; transcritical CO2 stays below 150 bar
	coldestTemperature = -100  // °C
	hottestTemperature = 250   // °C
)

// si converts a value in Unit to SI and refuses what cannot be.
func (m *Mapping) si(value float64) (float64, Fault) {
	switch m.Unit.Quantity {
	case units.NoQuantity:
		on := value > m.Threshold
		if len(m.Codes) > 0 {
			on = slices.Contains(m.Codes, value)
		}
		return truth(on != m.Invert), Fault{}
	case units.AbsolutePressure, units.GaugePressure:
		pascal := m.Unit.ToSI(value, m.atmosphere())
		if pascal <= 0 {
			return math.NaN(), Fault{CodeImpossible, fmt.Sprintf("%s %s is at or below vacuum; is the transmitter absolute or gauge?", short(value), m.Unit.Name)}
		}
		if pascal > highestPressure {
			return math.NaN(), Fault{CodeImpossible, fmt.Sprintf("%s %s; check type, byte order, scale and unit", short(value), m.Unit.Name)}
		}
		return pascal, Fault{}
	case units.Temperature:
		celsius := m.Unit.SI(value)
		if celsius < coldestTemperature || celsius > hottestTemperature {
			return math.NaN(), Fault{CodeImpossible, fmt.Sprintf("%s %s; check type, byte order, scale and unit", short(value), m.Unit.Name)}
		}
		return celsius, Fault{}
	}
	return math.NaN(), Fault{CodeMapping, "unit " + m.Unit.Name + " is neither a pressure nor a temperature"}
}

func (m *Mapping) atmosphere() units.Pascal {
	if m.Atmosphere == 0 {
		return units.StandardAtmosphere
	}
	return m.Atmosphere
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// short writes a number for a technician.
func short(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
