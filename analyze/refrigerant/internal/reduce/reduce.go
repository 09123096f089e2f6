// Package reduce makes the embedded refrigerant tables from the reference
// data: two CSV files of properties and the text that says where they come
// from. `go generate ./analyze/refrigerant` runs it.
//
// It may import the standard library's pure packages and tables. The program
// itself never imports it.
package reduce

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"dewgap/analyze/refrigerant/internal/tables"
)

// Reduce reads saturation.csv, vapor.csv and about.md.
func Reduce(saturation, vapour, about io.Reader) ([]tables.Table, error) {
	all, err := readSaturation(saturation)
	if err != nil {
		return nil, fmt.Errorf("saturation: %w", err)
	}
	index := map[string]*tables.Table{}
	for i := range all {
		index[all[i].Name] = &all[i]
	}
	if err := readVapour(vapour, index); err != nil {
		return nil, fmt.Errorf("vapour: %w", err)
	}
	if err := readAbout(about, index); err != nil {
		return nil, fmt.Errorf("about: %w", err)
	}
	for _, t := range all {
		if t.DewRows == 0 || t.Uncertainty == 0 || t.Source == "" {
			return nil, fmt.Errorf("%s: no vapour, uncertainty or source", t.Name)
		}
	}
	return all, nil
}

// rows calls row with each row's columns by the names in its header.
func rows(r io.Reader, header string, row func(name string, field func(column string) string) error) error {
	in := csv.NewReader(r)
	first, err := in.Read()
	if err != nil {
		return err
	}
	if got := strings.Join(first, ","); got != header {
		return fmt.Errorf("header %q, want %q", got, header)
	}
	column := map[string]int{}
	for i, name := range first {
		column[name] = i
	}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := row(record[0], func(name string) string { return record[column[name]] }); err != nil {
			line, _ := in.FieldPos(0)
			return fmt.Errorf("line %d: %w", line, err)
		}
	}
}

// numbers parses fields and keeps the first error.
type numbers struct {
	field func(string) string
	err   error
}

func (n *numbers) get(column string) float64 {
	x, err := strconv.ParseFloat(n.field(column), 64)
	if err != nil && n.err == nil {
		n.err = fmt.Errorf("%s: %w", column, err)
	}
	return x
}

func readSaturation(r io.Reader) ([]tables.Table, error) {
	var all []tables.Table
	err := rows(r, "refrigerant,kind,t_c,p_bubble_pa,p_dew_pa,h_liq_j_kg,h_vap_j_kg,rho_liq,rho_vap,s_vap,cp_vap",
		func(name string, field func(string) string) error {
			n := numbers{field: field}
			celsius := n.get("t_c")
			if len(all) == 0 || all[len(all)-1].Name != name {
				all = append(all, tables.Table{Name: name, Kind: field("kind"), First: celsius})
			}
			t := &all[len(all)-1]
			if want := t.First + float64(t.Rows); celsius != want {
				return fmt.Errorf("%s: %v °C, want %v", name, celsius, want)
			}
			t.Rows++
			dew, bubble := n.get("p_dew_pa"), n.get("p_bubble_pa")
			t.Dew = append(t.Dew, dew)
			if t.Kind != "pure" {
				t.Bubble = append(t.Bubble, bubble)
			} else if bubble != dew {
				return fmt.Errorf("%s is pure with two pressures at %v °C", name, celsius)
			}
			t.LiquidEnthalpy = append(t.LiquidEnthalpy, n.get("h_liq_j_kg"))
			t.VapourEnthalpy = append(t.VapourEnthalpy, n.get("h_vap_j_kg"))
			t.LiquidDensity = append(t.LiquidDensity, n.get("rho_liq"))
			t.VapourDensity = append(t.VapourDensity, n.get("rho_vap"))
			t.VapourEntropy = append(t.VapourEntropy, n.get("s_vap"))
			t.VapourCp = append(t.VapourCp, n.get("cp_vap"))
			return n.err
		})
	return all, err
}

// The grid of vapor.csv.
const dewStep = 5

var superheats = []float64{0, 1, 2, 5, 10, 15, 20, 30, 40, 60, 80, 100}

func readVapour(r io.Reader, index map[string]*tables.Table) error {
	return rows(r, "refrigerant,p_pa,superheat_k,t_c,h_j_kg,s_j_kgk,rho_kg_m3,cp_j_kgk",
		func(name string, field func(string) string) error {
			t := index[name]
			if t == nil {
				return fmt.Errorf("%s has no saturation line", name)
			}
			n := numbers{field: field}
			celsius, superheat := n.get("t_c"), n.get("superheat_k")
			dew := celsius - superheat
			if t.DewRows == 0 {
				t.FirstDew, t.DewStep, t.Superheats = dew, dewStep, superheats
			}
			if dew == t.FirstDew+dewStep*float64(t.DewRows) {
				t.DewRows++
				for _, c := range []*[]float64{&t.Enthalpy, &t.Entropy, &t.Density, &t.Cp} {
					for range superheats {
						*c = append(*c, math.NaN())
					}
				}
			}
			row, column := t.DewRows-1, -1
			for i, s := range superheats {
				if s == superheat {
					column = i
				}
			}
			at := int(dew - t.First)
			if column < 0 || dew != t.FirstDew+dewStep*float64(row) || at < 0 || at >= t.Rows ||
				math.Abs(n.get("p_pa")/t.Dew[at]-1) > 1e-7 {
				return fmt.Errorf("%s: %v °C with %v K is not of the grid", name, celsius, superheat)
			}
			cell := row*len(superheats) + column
			t.Enthalpy[cell] = n.get("h_j_kg")
			t.Entropy[cell] = n.get("s_j_kgk")
			t.Density[cell] = n.get("rho_kg_m3")
			t.Cp[cell] = n.get("cp_j_kgk")
			return n.err
		})
}

// readAbout takes source and uncertainty from the tables of about.md.
func readAbout(r io.Reader, index map[string]*tables.Table) error {
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	var library, header string
	for lines.Scan() {
		line := lines.Text()
		if after, found := strings.CutPrefix(line, "Computed on "); found {
			// "2026-11-25 with CoolProp 8.0.1dev (MIT licence), repository …"
			_, after, _ = strings.Cut(after, " with ")
			library, _, _ = strings.Cut(after, " (")
		}
		if !strings.HasPrefix(line, "|") {
			header = ""
			continue
		}
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if header == "" {
			header = cells[0] + "," + cells[len(cells)-1]
			continue
		}
		t := index[cells[0]]
		if t == nil {
			continue
		}
		critical, uncertainty := "", ""
		switch header {
		case "fluid,U, K":
			critical, uncertainty = cells[4], cells[6]
			t.Source = library + "; equation of state of " + cells[1] + ", " + cells[2]
			if cells[3] != "-" {
				t.Source += ", doi " + cells[3]
			}
		case "blend,remark":
			critical, uncertainty = cells[3], cells[7]
			t.Composition = cells[1]
			t.Remark = cells[8]
			t.Source = library + ", multi-fluid mixture model of " + cells[1] + " mass %"
		default:
			continue
		}
		var err, other error
		t.Uncertainty, err = strconv.ParseFloat(uncertainty, 64)
		t.Critical, other = strconv.ParseFloat(critical, 64)
		if err = errors.Join(err, other); err != nil {
			return fmt.Errorf("%s: %w", cells[0], err)
		}
	}
	return lines.Err()
}
