// Package tables is the compact form that refrigerant tables are embedded in:
// a directory in JSON and the columns as little-endian floats. The generator
// writes it, package refrigerant reads it.
//
// It may import the standard library's pure packages only.
package tables

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// Table is what is known of one refrigerant, in SI units and °C.
type Table struct {
	Name        string
	Kind        string  // pure, azeotrope, zeotrope
	Composition string  `json:",omitempty"` // of a blend, mass %
	Source      string  // where the numbers come from
	Uncertainty float64 // of the dew temperature at a given pressure, K, k = 2
	Remark      string  `json:",omitempty"` // what the uncertainty rests on
	Critical    float64 // critical temperature of the model, °C

	// The saturation line, in steps of 1 K from First. For a pure fluid
	// Bubble is nil.
	First  float64 // °C
	Rows   int
	Dew    []float64 `json:"-"` // Pa
	Bubble []float64 `json:"-"` // Pa
	// Liquid on the bubble line, vapour on the dew line, at that temperature.
	LiquidEnthalpy, VapourEnthalpy []float64 `json:"-"` // J/kg
	LiquidDensity, VapourDensity   []float64 `json:"-"` // kg/m³
	VapourEntropy, VapourCp        []float64 `json:"-"` // J/(kg K)

	// Superheated vapour: at the pressures of dew points in steps of DewStep
	// from FirstDew, at each of Superheats. Row by row; NaN where there is none.
	FirstDew, DewStep float64 // °C, K
	DewRows           int
	Superheats        []float64 // K
	Enthalpy          []float64 `json:"-"`
	Entropy           []float64 `json:"-"`
	Density           []float64 `json:"-"`
	Cp                []float64 `json:"-"`
}

// column is one column of numbers. Pressures keep all digits; the rest is
// given to 7 digits or fewer by its source, which 32 bits hold.
type column struct {
	values *[]float64
	rows   int
	wide   bool
}

func (t *Table) columns() []column {
	grid := t.DewRows * len(t.Superheats)
	columns := []column{{&t.Dew, t.Rows, true}}
	if t.Kind != "pure" {
		columns = append(columns, column{&t.Bubble, t.Rows, true})
	}
	for _, c := range []*[]float64{&t.LiquidEnthalpy, &t.VapourEnthalpy, &t.LiquidDensity, &t.VapourDensity, &t.VapourEntropy, &t.VapourCp} {
		columns = append(columns, column{c, t.Rows, false})
	}
	for _, c := range []*[]float64{&t.Enthalpy, &t.Entropy, &t.Density, &t.Cp} {
		columns = append(columns, column{c, grid, false})
	}
	return columns
}

func (c column) size() int {
	if c.wide {
		return 8 * c.rows
	}
	return 4 * c.rows
}

func (t *Table) size() (n int) {
	for _, c := range t.columns() {
		n += c.size()
	}
	return n
}

// Encode returns the embedded form of the tables.
func Encode(all []Table) ([]byte, error) {
	directory, err := json.Marshal(all)
	if err != nil {
		return nil, err
	}
	out := binary.LittleEndian.AppendUint32(nil, uint32(len(directory)))
	out = append(out, directory...)
	for i := range all {
		t := &all[i]
		for _, c := range t.columns() {
			if len(*c.values) != c.rows {
				return nil, fmt.Errorf("%s: a column has %d rows, want %d", t.Name, len(*c.values), c.rows)
			}
			for _, x := range *c.values {
				if c.wide {
					out = binary.LittleEndian.AppendUint64(out, math.Float64bits(x))
				} else {
					out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x)))
				}
			}
		}
	}
	return out, nil
}

var errTorn = errors.New("refrigerant tables are damaged")

// Directory reads the directory of the embedded form. Load then reads the
// columns of one of its tables.
func Directory(embedded []byte) (all []Table, columns []byte, err error) {
	if len(embedded) < 4 {
		return nil, nil, errTorn
	}
	end := 4 + int(binary.LittleEndian.Uint32(embedded))
	if end > len(embedded) {
		return nil, nil, errTorn
	}
	if err := json.Unmarshal(embedded[4:end], &all); err != nil {
		return nil, nil, fmt.Errorf("%w: %w", errTorn, err)
	}
	total := 0
	for i := range all {
		total += all[i].size()
	}
	if total != len(embedded)-end {
		return nil, nil, errTorn
	}
	return all, embedded[end:], nil
}

// Load returns table i of the directory with its columns.
func Load(directory []Table, columns []byte, i int) Table {
	for j := range i {
		columns = columns[directory[j].size():]
	}
	t := directory[i]
	for _, c := range t.columns() {
		values := make([]float64, c.rows)
		for k := range values {
			if c.wide {
				values[k] = math.Float64frombits(binary.LittleEndian.Uint64(columns[8*k:]))
			} else {
				values[k] = float64(math.Float32frombits(binary.LittleEndian.Uint32(columns[4*k:])))
			}
		}
		*c.values = values
		columns = columns[c.size():]
	}
	return t
}
