package bench

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
)

// Floors are the figures that may only get better, by set of stores and name.
type Floors map[string]map[string]float64

// ReadFloors reads the CSV file of set, figure, floor at path; one that is not
// there holds nothing yet.
func ReadFloors(path string) (Floors, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return Floors{}, nil
	} else if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	out := Floors{}
	for i, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			return nil, fmt.Errorf("%s: line %d: %w", path, i+2, err)
		}
		if out[row[0]] == nil {
			out[row[0]] = map[string]float64{}
		}
		out[row[0]][row[1]] = v
	}
	return out, nil
}

// Write writes the floors to path, sorted.
func (f Floors) Write(path string) error {
	rows := [][]string{}
	for set, figures := range f {
		for name, v := range figures {
			rows = append(rows, []string{set, name, strconv.FormatFloat(v, 'f', -1, 64)})
		}
	}
	slices.SortFunc(rows, slices.Compare[[]string])
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.WriteAll(append([][]string{{"set", "figure", "floor"}}, rows...)); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// worse reports whether value a of the figure is worse than b.
func (g Figure) worse(a, b float64) bool {
	if g.Higher {
		return a < b
	}
	return a > b
}

// round keeps three decimals, to the bad side, so that a written floor is met
// by the figure that it was written from.
func (g Figure) round(v float64) float64 {
	const steps = 1000
	n := float64(int64(v * steps))
	if !g.Higher && n < v*steps {
		n++
	}
	return n / steps
}

// Missed names the figures of the set that are worse than their floors.
func (f Floors) Missed(set string, figures []Figure) []string {
	var out []string
	for _, g := range figures {
		floor, ok := f[set][g.Name]
		switch {
		case !ok:
		case g.Of == 0:
			out = append(out, fmt.Sprintf("%s: %s stands on nothing any more; it was %.3f", set, g.Name, floor))
		case g.worse(g.Value, floor):
			out = append(out, fmt.Sprintf("%s: %s is %.3f (of %d); its floor is %.3f", set, g.Name, g.Value, g.Of, floor))
		}
	}
	return out
}

// Raise takes the figures that are better than their floors, and those that
// have none yet, as the floors of the set. It never lowers one.
func (f Floors) Raise(set string, figures []Figure) {
	if f[set] == nil {
		f[set] = map[string]float64{}
	}
	for _, g := range figures {
		floor, ok := f[set][g.Name]
		v := g.round(g.Value)
		if g.Higher && v <= 0 {
			continue // a floor that cannot be missed is none
		}
		if g.Of > 0 && (!ok || g.worse(floor, v)) {
			f[set][g.Name] = v
		}
	}
}
