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

// TableError is a fault of a user's table: where, what, and what would be right.
type TableError struct {
	Line   int    // of the file, counted from 1
	Column string // temperature, dew or bubble; empty where it is the whole line
	Why    string // with the values as they are written
	Want   string
}

// Where names line and column.
func (e *TableError) Where() string {
	if e.Column == "" {
		return fmt.Sprintf("line %d", e.Line)
	}
	return fmt.Sprintf("line %d, column %s", e.Line, e.Column)
}

func (e *TableError) Error() string { return e.Where() + ": " + e.Why + "; want " + e.Want }

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

const tableHeader = `a header of temperature, dew and bubble with units, such as "temperature:degC,dew:barg,bubble:barg"`

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
	rounding             float64   // half a unit of dew's last digit as printed, Pa
	written              [3]string // temperature, dew, bubble with their units
}

func readTable(r io.Reader, atmosphere units.Pascal) ([]tableRow, error) {
	in := csv.NewReader(r)
	in.Comment = '#'
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, &TableError{1, "", "the table is empty", tableHeader}
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
	fault := func(line int, column, want, format string, a ...any) {
		faults = append(faults, &TableError{line, column, fmt.Sprintf(format, a...), want})
	}
	for len(faults) < mostFaults {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			fault(parse.Line, "", fmt.Sprintf("%d cells, as in the header", len(header)), "%v", parse.Err)
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
			fault(line, "", "fewer rows", "the table is longer than %d rows", mostRows)
			break
		}
		var si [3]float64
		var written [3]string
		good := true
		for i, c := range columns {
			x, err := strconv.ParseFloat(strings.TrimSpace(record[c.index]), 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
				fault(line, c.name, "a number in "+c.unit.Name, "%q is not a number", record[c.index])
				good = false
				continue
			}
			written[i] = strings.TrimSpace(record[c.index]) + " " + c.unit.Name
			si[i] = c.unit.ToSI(x, atmosphere)
		}
		if good {
			dew := columns[1]
			half := 0.5 * math.Pow(10, -float64(decimals(record[dew.index])))
			rows = append(rows, tableRow{line, si[0], si[1], si[2], math.Abs(dew.unit.SI(half)), written})
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
	fault := func(want, format string, a ...any) {
		faults = append(faults, &TableError{line, "", fmt.Sprintf(format, a...), want})
	}
	for i, cell := range header {
		cell = strings.TrimSpace(strings.TrimPrefix(cell, "\ufeff")) // some editors' mark at the start
		name, unitName, _ := strings.Cut(cell, ":")
		at := slices.IndexFunc(columns[:], func(c tableColumn) bool { return c.name == strings.TrimSpace(name) })
		if at < 0 {
			fault(tableHeader, "column %q is not known", cell)
			continue
		}
		unit, err := units.ParseUnit(unitName)
		switch {
		case columns[at].index >= 0:
			fault(tableHeader, "column %q comes twice", name)
		case err != nil:
			fault(tableHeader, "column %q: %v", cell, err)
		case at == 0 && unit.Quantity != units.Temperature:
			fault("a unit of temperature: degC, degF or K", "column %q is not in one of temperature", cell)
		case at > 0 && !unit.IsPressure():
			fault("a unit of absolute or gauge pressure, such as bara, barg, psig", "column %q is not in one of pressure", cell)
		}
		columns[at].index, columns[at].unit = i, unit
	}
	for _, c := range columns {
		if c.index < 0 {
			fault(tableHeader, "there is no column %s", c.name)
		}
	}
	return columns, errors.Join(faults...)
}

// checkTable returns a fault for each row that cannot be of a saturation line.
func checkTable(rows []tableRow, headerLine int) []error {
	var c tableCheck
	if len(rows) < fewestRows {
		c.fault(headerLine, "", fmt.Sprintf("%d or more", fewestRows), "the table has %d rows", len(rows))
	}
	for i := range rows {
		c.alone(&rows[i])
		if i > 0 {
			c.after(&rows[i-1], &rows[i])
		}
	}
	if len(c.faults) == 0 {
		for i := 1; i < len(rows)-1; i++ {
			c.between(&rows[i-1], &rows[i], &rows[i+1])
		}
	}
	return c.faults
}

type tableCheck struct{ faults []error }

func (c *tableCheck) fault(line int, column, want, format string, a ...any) {
	if len(c.faults) < mostFaults {
		c.faults = append(c.faults, &TableError{line, column, fmt.Sprintf(format, a...), want})
	}
}

// tableLine is one of the two saturation lines in a row.
type tableLine struct {
	name string
	at   func(*tableRow) float64
	text int // in written
}

var tableLines = [...]tableLine{
	{"dew", func(r *tableRow) float64 { return r.dew }, 1},
	{"bubble", func(r *tableRow) float64 { return r.bubble }, 2},
}

// alone checks what a row says by itself.
func (c *tableCheck) alone(row *tableRow) {
	if row.celsius < -150 || row.celsius > 200 {
		c.fault(row.line, "temperature", "-150 to 200 °C", "%s is not of a refrigeration table", row.written[0])
		return
	}
	for _, l := range tableLines {
		if p := l.at(row); p < 10 || p > 20e6 {
			c.fault(row.line, l.name, "an absolute pressure of 10 Pa to 20 MPa: which unit is it, gauge or absolute?", "%s is not of a saturation line", row.written[l.text])
			return
		}
	}
	if row.bubble < row.dew*(1-1e-3) {
		c.fault(row.line, "", "bubble at or above dew: are the columns exchanged?", "bubble %s is below dew %s", row.written[2], row.written[1])
	}
}

// after checks a row against the one before.
func (c *tableCheck) after(before, row *tableRow) {
	step := row.celsius - before.celsius
	switch {
	case step <= 0:
		c.fault(row.line, "temperature", "rows of rising temperature", "%s does not rise from line %d's %s", row.written[0], before.line, before.written[0])
		return
	case step > widestStep:
		c.fault(row.line, "temperature", fmt.Sprintf("%v K or less between rows", widestStep), "%s is %.4g K from line %d", row.written[0], step, before.line)
	}
	for _, l := range tableLines {
		old, p := l.at(before), l.at(row)
		if p <= old {
			c.fault(row.line, l.name, "a pressure that rises with temperature", "%s does not rise from line %d's %s", row.written[l.text], before.line, before.written[l.text])
		} else if slope := math.Log(p/old) / step; !(slope >= flattest && slope <= steepest) {
			c.fault(row.line, l.name, fmt.Sprintf("a rise of %.2g to %.2g %%, as refrigerants have: is the unit right?", flattest*100, steepest*100),
				"%s is %.2g %% more for each kelvin than line %d's %s", row.written[l.text], slope*100, before.line, before.written[l.text])
		}
	}
}

// between checks a row against the line through its neighbours.
func (c *tableCheck) between(a, row, b *tableRow) {
	for _, l := range tableLines {
		share := math.Log(l.at(row)/l.at(a)) / math.Log(l.at(b)/l.at(a))
		ya, yb := 1/(a.celsius+zeroCelsius), 1/(b.celsius+zeroCelsius)
		off := math.Abs(row.celsius - (1/(ya+share*(yb-ya)) - zeroCelsius))
		if allowed := rowSlack + rowShare*(b.celsius-a.celsius)/2; off > allowed {
			c.fault(row.line, l.name, fmt.Sprintf("%.1f K or less: a slip of the pen?", allowed), "%s lies %.1f K off the line through lines %d and %d", row.written[l.text], off, a.line, b.line)
		}
	}
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
