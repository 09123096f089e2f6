// Package scan finds out what the numbers of an unknown device may mean: which
// places look like pressures, temperatures or switches under which type, order,
// scale and unit, and which move together while a machine starts or stops. Its
// findings are proposals for a person; nothing is decided by them.
//
// It may import the standard library's pure packages, units and register. It must
// never import a wire, a clock or the analysis.
package scan

import (
	"math"
	"slices"
	"time"

	"dewgap/analyze/units"
	"dewgap/collector/register"
)

// Place is where a number stands: at an address of a table, or in a topic's
// messages.
type Place struct {
	Table   string // holding, input, coil, discrete; empty for MQTT
	Unit    uint8
	Address uint16
	Topic   string
	Pointer string
	Time    string // JSON Pointer of the message's time stamp; empty where there is none
}

// Row is one sweep over a range, or one instant of a broker's topics.
type Row struct {
	At    time.Time
	Words map[uint16]uint16 // of registers and bits, by address
}

// Kind of quantity that a place looks like.
type Kind string

// Kinds.
const (
	Pressure    Kind = "pressure"
	Temperature Kind = "temperature"
	Switch      Kind = "switch"
)

// Reading is one way to read a place.
type Reading struct {
	Kind   Kind
	Type   register.Type  // 0 for a number in a message
	Order  register.Order // NoOrder for one word
	Scale  float64
	Unit   units.Unit // none for a switch
	Series []float64  // in Unit, one a row; NaN where nothing came
	Score  float64    // of likelihood, natural logarithm; larger is likelier
	Words  int        // registers that it takes
}

// Last returns the last value; NaN where there is none.
func (r *Reading) Last() float64 {
	for i := len(r.Series) - 1; i >= 0; i-- {
		if !math.IsNaN(r.Series[i]) {
			return r.Series[i]
		}
	}
	return math.NaN()
}

// Found is what one place looks like, the likeliest reading first.
type Found struct {
	Place
	Raw      []uint16 // last words; nil for a message
	Readings []Reading
	Why      string // what it moved with, for a person; empty where nothing is known
	Role     Role   // what the movement makes of it
}

// maxReadings of one place are shown.
const maxReadings = 3

// bar, psi and the others are the units that are proposed. Whether a pressure is
// gauge or absolute no number shows; gauge is the commoner.
var (
	barg = unit("barg")
	psig = unit("psig")
	kPag = unit("kPag")
	degC = unit("degC")
	degF = unit("degF")
)

func unit(name string) units.Unit {
	u, err := units.ParseUnit(name)
	if err != nil {
		panic(err) // constants of ours
	}
	return u
}

// Registers returns what each address of a range of registers looks like, in the
// order of the addresses. Addresses that only ever held 0 are left out: nothing
// can be said of them.
func Registers(place Place, rows []Row, system units.System) []Found {
	if len(rows) == 0 {
		return nil
	}
	addresses := map[uint16]bool{}
	for _, r := range rows {
		for a := range r.Words {
			addresses[a] = true
		}
	}
	var order []uint16
	for a := range addresses {
		order = append(order, a)
	}
	slices.Sort(order)
	var all []Found
	taken := map[uint16]bool{} // second words of readings of two registers
	for _, a := range order {
		if taken[a] {
			continue
		}
		f := Found{Place: place}
		f.Address = a
		f.Readings = readings(rows, a, addresses[a+1] && a < 0xFFFF, system)
		if len(f.Readings) == 0 {
			continue
		}
		all = append(all, f)
		if f.Readings[0].Type == register.Float32 {
			taken[a+1] = true
		}
	}
	agree(all)
	for i := range all {
		f := &all[i]
		f.Raw = lastWords(rows, f.Address, f.Readings[0].Words)
	}
	return all
}

// Bits returns what each coil or discrete input did.
func Bits(place Place, rows []Row) []Found {
	addresses := map[uint16]bool{}
	for _, r := range rows {
		for a := range r.Words {
			addresses[a] = true
		}
	}
	var all []Found
	for a := range addresses {
		f := Found{Place: place, Readings: []Reading{{Kind: Switch, Type: register.Bit, Scale: 1, Words: 1, Series: series(rows, a)}}}
		f.Address, f.Raw = a, lastWords(rows, a, 1)
		all = append(all, f)
	}
	slices.SortFunc(all, func(x, y Found) int { return int(x.Address) - int(y.Address) })
	return all
}

// Numbers returns what the numbers of a message's place look like.
func Numbers(place Place, values []float64, isSwitch bool, system units.System) (Found, bool) {
	f := Found{Place: place}
	if isSwitch || isOnOff(values) {
		f.Readings = []Reading{{Kind: Switch, Scale: 1, Series: values}}
		return f, true
	}
	all := valued(0, register.NoOrder, values, 0, system)
	for i := range all {
		all[i].Score += nameScore(all[i].Kind, place)
	}
	f.Readings = fewest(sorted(all))
	return f, len(f.Readings) > 0
}

func series(rows []Row, a uint16) []float64 {
	out := make([]float64, len(rows))
	for i, r := range rows {
		if w, ok := r.Words[a]; ok {
			out[i] = float64(w)
		} else {
			out[i] = math.NaN()
		}
	}
	return out
}

func lastWords(rows []Row, a uint16, n int) []uint16 {
	for i := len(rows) - 1; i >= 0; i-- {
		w, ok := rows[i].Words[a]
		if !ok {
			continue
		}
		out := []uint16{w}
		if second, ok := rows[i].Words[a+1]; ok && n == 2 {
			out = append(out, second)
		}
		return out
	}
	return nil
}

// readings lists the likely ways to read the word at a, alone or with the next.
func readings(rows []Row, a uint16, pair bool, system units.System) []Reading {
	first := series(rows, a)
	var all []Reading
	if isOnOff(first) {
		all = append(all, Reading{Kind: Switch, Type: register.Uint16, Scale: 1, Words: 1, Series: first, Score: switchScore(first)})
	}
	types := []register.Type{register.Int16, register.Uint16}
	if pair {
		types = append(types, register.Float32, register.Int32, register.Uint32)
	}
	for _, t := range types {
		orders := []register.Order{register.NoOrder}
		if t.Words() == 2 {
			orders = []register.Order{register.ABCD, register.CDAB, register.BADC, register.DCBA}
		}
		for _, o := range orders {
			if raw, ok := decode(rows, a, t, o); ok {
				all = append(all, valued(t, o, raw, typeScore(t, o), system)...)
			}
		}
	}
	return sorted(all)
}

// decode returns the numbers before scale under a type and order; not ok where
// one of them is none, or where the type cannot be told from a shorter one.
func decode(rows []Row, a uint16, t register.Type, o register.Order) ([]float64, bool) {
	m := register.Mapping{Type: t, Order: o, Scale: 1}
	out := make([]float64, len(rows))
	negative, nonzero, largest := false, false, 0.0
	for i, r := range rows {
		words := make([]uint16, 0, 2)
		for n := range uint16(t.Words()) {
			if w, ok := r.Words[a+n]; ok {
				words = append(words, w)
			}
		}
		if len(words) < t.Words() {
			out[i] = math.NaN()
			continue
		}
		if isSentinel(t, words) {
			out[i] = math.NaN() // a sensor that fails now and then
			continue
		}
		number, ok := m.Number(words)
		if !ok {
			return nil, false
		}
		largest = max(largest, math.Abs(number))
		negative = negative || int16(words[0]) < 0
		nonzero = nonzero || number != 0
		out[i] = number
	}
	if !nonzero || t == register.Float32 && largest < minFloat {
		return nil, false
	}
	if t == register.Uint16 && !negative {
		return nil, false // the same as int16
	}
	return out, true
}

// minFloat is below what the floats of a pressure or temperature come to at
// their largest.
const minFloat = 0.05

func isSentinel(t register.Type, words []uint16) bool {
	if t.Words() != 1 {
		return false
	}
	switch words[0] {
	case 0x7FFF, 0x8000, 0xFFFF:
		return true
	}
	return false
}

func isOnOff(values []float64) bool {
	seen := false
	for _, v := range values {
		switch {
		case math.IsNaN(v):
		case v != 0 && v != 1:
			return false
		default:
			seen = true
		}
	}
	return seen
}
