package store

import (
	"math"
	"strings"

	"dewgap/simulators/plant"
)

// wiring is where each input is found on the wire.
type wiring struct {
	inputs  []plant.InputInfo
	address []spot // by input
	at      map[cell]int
}

// spot is where an input is found: at a Modbus address and under an MQTT topic.
type spot struct {
	topic string
	cell  cell
	group int // index of its suction group
}

type cell struct {
	unit, table uint8
	address     uint16
}

// Modbus tables used, by function code.
const (
	discreteInputs = 2
	inputRegisters = 4
)

// noValue is what a register holds while its sensor gives nothing.
const noValue = 0x7FFF

// newWiring gives each input its place on the wire: unit n is the n-th group, with
// one input register or discrete input after another, and the topic is the
// scenario's name with the input's path.
func newWiring(d plant.Description, inputs []plant.InputInfo) wiring {
	w := wiring{inputs: inputs, at: map[cell]int{}}
	groups := map[string]int{}
	for i, g := range d.Groups {
		groups[g.Name] = i
	}
	next := map[cell]uint16{}
	for i, in := range inputs {
		group, _, _ := strings.Cut(in.Path, ".")
		c := cell{unit: uint8(groups[group] + 1), table: inputRegisters}
		if in.Kind == plant.Switch {
			c.table = discreteInputs
		}
		base := c
		c.address = next[base]
		next[base]++
		w.address = append(w.address, spot{topic: d.Name + "/" + strings.ReplaceAll(in.Path, ".", "/"), cell: c, group: groups[group]})
		w.at[c] = i
	}
	return w
}

// encode returns what the register holds: bar absolute × 1000, °C × 10, 0 or 1.
func encode(kind plant.Kind, v float64, good bool) uint16 {
	if kind == plant.Switch {
		if good && v != 0 {
			return 1
		}
		return 0
	}
	if !good {
		return noValue
	}
	scaled := v * 10
	if kind == plant.Pressure {
		scaled = v / 100
	}
	return uint16(int16(math.Round(min(max(scaled, -32767), 32766))))
}

// shown returns what a message holds: bar absolute, °C, 0 or 1.
func shown(kind plant.Kind, v float64) float64 {
	if kind == plant.Pressure {
		return math.Round(v/10) / 1e4
	}
	return v
}
