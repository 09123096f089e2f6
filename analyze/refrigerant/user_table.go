package refrigerant

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"dewgap/analyze/units"
)

// TableError is a fault of a user's table.
type TableError struct {
	Row int // line of the file, counted from 1
	Why string
}

func (e *TableError) Error() string { return fmt.Sprintf("row %d: %s", e.Row, e.Why) }

// What a table must have.
const (
	fewestRows = 6
	widestStep = 12.0 // K between rows
	mostRows   = 5000
	mostFaults = 20 // reported of one file

	// d ln p/dT of the refrigerants in this package lies between 0.019 (near
	// a critical point) and 0.085 per K (R1233zd(E) at -70 °C).
	flattest, steepest = 0.012, 0.12
	// A row may lie this far, in K, off the line through its neighbours, plus a
	// share of their distance: rounding and curvature, not a slip of the pen.
	rowSlack, rowShare = 1.0, 0.15
)

const tableHeader = `temperature, dew and bubble with units, such as "temperature:degC,dew:barg,bubble:barg"`

// FromTable makes a fluid from a maker's table: CSV with a header such as
//
//	temperature:degC,dew:barg,bubble:barg
//
// in any order and in any unit of temperature and of absolute or gauge
// pressure, one row for each temperature, rising: the pressures at which that
// is the dew and the bubble temperature. For a refrigerant without glide the
// two columns are equal. Gauge pressures are above the given atmosphere, which
// for printed tables is the standard one. The error joins a TableError for
// each fault. The fluid has no vapour properties; its Uncertainty is that of
// interpolation and rounding only, and says nothing of the maker's model.
func FromTable(name string, r io.Reader, atmosphere units.Pascal) (*Fluid, error) {
	rows, err := readTable(r, atmosphere)
	if err != nil {
		return nil, fmt.Errorf("table of refrigerant %s: %w", name, err)
	}
	var celsius, dew, bubble []float64
	for _, row := range rows {
		celsius, dew, bubble = append(celsius, row.celsius), append(dew, row.dew), append(bubble, row.bubble)
	}
	f := &Fluid{Name: name, Kind: UserTable, dew: newCurve(celsius, dew), bubble: newCurve(celsius, bubble)}
	f.uncertainty = units.Kelvin(max(interpolationError(celsius, dew), interpolationError(celsius, bubble)))
	for _, row := range rows {
		// Between two rounded rows the spline may swing further than they do.
		const swing = 1.3
		f.uncertainty = max(f.uncertainty, units.Kelvin(swing*row.rounding*f.dew.slope(row.dew)))
	}
	f.Source = fmt.Sprintf("user's table of %d rows from %.4g to %.4g °C", len(rows), celsius[0], celsius[len(celsius)-1])
	f.Remark = fmt.Sprintf("interpolation and rounding of the table only, estimated from its own rows: %.2g K", float64(f.uncertainty))
	return f, nil
}

// tableRow is one row in °C and Pa absolute.
type tableRow struct {
	line                 int
	celsius, dew, bubble float64
	rounding             float64 // half a unit of dew's last digit as printed, Pa
}

func readTable(r io.Reader, atmosphere units.Pascal) ([]tableRow, error) {
	in := csv.NewReader(r)
	in.Comment = '#'
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, &TableError{1, "the table is empty; want a header with " + tableHeader}
	}
	if err != nil {
		return nil, err
	}
	line, _ := in.FieldPos(0)
	columns, err := tableColumns(header, line)
	if err != nil {
		return nil, err
	}
	var rows []tableRow
	var faults []error
	fault := func(line int, format string, a ...any) {
		faults = append(faults, &TableError{line, fmt.Sprintf(format, a...)})
	}
	for len(faults) < mostFaults {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			fault(parse.Line, "%v; want %d cells as in the header", parse.Err, len(header))
			if errors.Is(err, csv.ErrFieldCount) {
				continue
			}
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := in.FieldPos(0)
		if len(rows) == mostRows {
			fault(line, "the table is longer than %d rows", mostRows)
			break
		}
		var si [3]float64
		good := true
		for i, c := range columns {
			x, err := strconv.ParseFloat(strings.TrimSpace(record[c.index]), 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
				fault(line, "%s %q is not a number", c.name, record[c.index])
				good = false
				continue
			}
			si[i] = c.unit.ToSI(x, atmosphere)
		}
		if good {
			dew := columns[1]
			half := 0.5 * math.Pow(10, -float64(decimals(record[dew.index])))
			rows = append(rows, tableRow{line, si[0], si[1], si[2], math.Abs(dew.unit.SI(half))})
		}
	}
	if len(faults) == 0 {
		faults = checkTable(rows, line)
	}
	return rows, errors.Join(faults...)
}

// decimals counts the digits after the point; a number with an exponent is
// taken as exact.
func decimals(cell string) int {
	if strings.ContainsAny(cell, "eE") {
		return 15
	}
	_, after, _ := strings.Cut(strings.TrimSpace(cell), ".")
	return len(after)
}

// tableColumn is where one of the three quantities stands.
type tableColumn struct {
	name  string
	index int
	unit  units.Unit
}

func tableColumns(header []string, line int) ([3]tableColumn, error) {
	columns := [3]tableColumn{{name: "temperature", index: -1}, {name: "dew", index: -1}, {name: "bubble", index: -1}}
	var faults []error
	fault := func(format string, a ...any) {
		faults = append(faults, &TableError{line, fmt.Sprintf(format, a...)})
	}
	for i, cell := range header {
		cell = strings.TrimSpace(strings.TrimPrefix(cell, "\ufeff")) // some editors' mark at the start
		name, unitName, _ := strings.Cut(cell, ":")
		at := slices.IndexFunc(columns[:], func(c tableColumn) bool { return c.name == strings.TrimSpace(name) })
		if at < 0 {
			fault("column %q is not known; want %s", cell, tableHeader)
			continue
		}
		unit, err := units.ParseUnit(unitName)
		switch {
		case columns[at].index >= 0:
			fault("column %q comes twice", name)
		case err != nil:
			fault("column %q: %v", cell, err)
		case at == 0 && unit.Quantity != units.Temperature:
			fault("column %q: want a unit of temperature: degC, degF or K", cell)
		case at > 0 && !unit.IsPressure():
			fault("column %q: want a unit of absolute or gauge pressure, such as bara, barg, psig", cell)
		}
		columns[at].index, columns[at].unit = i, unit
	}
	for _, c := range columns {
		if c.index < 0 {
			fault("there is no column %s; want %s", c.name, tableHeader)
		}
	}
	return columns, errors.Join(faults...)
}

// checkTable returns a fault for each row that cannot be of a saturation line.
func checkTable(rows []tableRow, headerLine int) (faults []error) {
	fault := func(line int, format string, a ...any) {
		if len(faults) < mostFaults {
			faults = append(faults, &TableError{line, fmt.Sprintf(format, a...)})
		}
	}
	if len(rows) < fewestRows {
		fault(headerLine, "the table has %d rows, want %d or more", len(rows), fewestRows)
	}
	for i, row := range rows {
		switch {
		case row.celsius < -150 || row.celsius > 200:
			fault(row.line, "temperature %.4g °C is not of a refrigeration table", row.celsius)
		case row.dew < 10 || row.bubble < 10 || row.dew > 20e6 || row.bubble > 20e6:
			fault(row.line, "dew %.4g and bubble pressure %.4g Pa absolute; want 10 Pa to 20 MPa (gauge or absolute, and which unit?)", row.dew, row.bubble)
		case row.bubble < row.dew*(1-1e-3):
			fault(row.line, "bubble pressure %.5g Pa is below dew pressure %.5g Pa; are the columns exchanged?", row.bubble, row.dew)
		}
		if i == 0 {
			continue
		}
		before := rows[i-1]
		step := row.celsius - before.celsius
		switch {
		case step <= 0:
			fault(row.line, "temperature %.5g °C does not rise from row %d's %.5g °C", row.celsius, before.line, before.celsius)
			continue
		case step > widestStep:
			fault(row.line, "%.4g K from row %d; want %v K or less between rows", step, before.line, widestStep)
		}
		for _, c := range []struct {
			name     string
			old, new float64
		}{{"dew", before.dew, row.dew}, {"bubble", before.bubble, row.bubble}} {
			if c.new <= c.old {
				fault(row.line, "%s pressure %.5g Pa does not rise from row %d's %.5g Pa", c.name, c.new, before.line, c.old)
			} else if slope := math.Log(c.new/c.old) / step; !(slope >= flattest && slope <= steepest) {
				fault(row.line, "%s pressure rises by %.2g %% a kelvin from row %d; refrigerants rise by %.2g to %.2g %%", c.name, slope*100, before.line, flattest*100, steepest*100)
			}
		}
	}
	if len(faults) > 0 {
		return faults
	}
	for i := 1; i < len(rows)-1; i++ {
		a, row, b := rows[i-1], rows[i], rows[i+1]
		for _, c := range []struct {
			name              string
			before, at, after float64
		}{{"dew", a.dew, row.dew, b.dew}, {"bubble", a.bubble, row.bubble, b.bubble}} {
			share := math.Log(c.at/c.before) / math.Log(c.after/c.before)
			ya, yb := 1/(a.celsius+zeroCelsius), 1/(b.celsius+zeroCelsius)
			off := row.celsius - (1/(ya+share*(yb-ya)) - zeroCelsius)
			if math.Abs(off) > rowSlack+rowShare*(b.celsius-a.celsius)/2 {
				fault(row.line, "%s pressure %.5g Pa lies %.1f K off the line through rows %d and %d; a slip of the pen?", c.name, c.at, math.Abs(off), a.line, b.line)
			}
		}
	}
	return faults
}

// interpolationError estimates, in K, how far the curve may be off between
// the rows of its table, from the table alone: each row in turn is left out
// and found again, and the largest miss counts. That is about right for the
// rounding of the rows, and cautious for the width of the grid, since a row
// missing makes it twice as wide.
func interpolationError(celsius, pascal []float64) float64 {
	worst := 0.0
	for i := 1; i < len(celsius)-1; i++ {
		low, high := max(0, i-6), min(len(celsius), i+7)
		without := newCurve(except(celsius[low:high], i-low), except(pascal[low:high], i-low))
		worst = max(worst, math.Abs(without.temperature(pascal[i])-celsius[i]))
	}
	return worst
}

func except(values []float64, i int) []float64 {
	return slices.Concat(values[:i], values[i+1:])
}
