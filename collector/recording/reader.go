package recording

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// ErrTruncated is in the error of a recording that ends in the middle of a
// row or of its compressed stream, as a power cut leaves it. All rows before
// have been read.
var ErrTruncated = errors.New("the recording is cut off")

// Error is a fault in a recording, with its place and what would be right.
type Error struct {
	Name string
	Row  int // data row, from 1; 0 for the header
	Line int // line of the file, from 1
	Path string
	Err  error
}

func (e *Error) Error() string {
	where := fmt.Sprintf("%s: line %d", e.Name, e.Line)
	if e.Row > 0 {
		where = fmt.Sprintf("%s: row %d (line %d)", e.Name, e.Row, e.Line)
	}
	if e.Path != "" {
		where += ", " + e.Path
	}
	return where + ": " + e.Err.Error()
}

func (e *Error) Unwrap() error { return e.Err }

// Reader reads a recording row by row.
type Reader struct {
	name    string
	columns []Column
	lines   lines
	rows    int
	last    time.Time
	clock   clockText
	failed  error
	reasons map[string]string // one string for each reason seen
	close   func() error
}

const bufferSize = 256 << 10

// Open opens the recording at path; a name that ends in .gz is compressed.
// lookup gives the index of an input's point, or an error with what
// would be right. A gauge pressure is above atmosphere.
func Open(path string, lookup func(path string) (int, error), atmosphere units.Pascal) (*Reader, error) {
	return open(path, asItIs, lookup, atmosphere)
}

// asItIs reads a file up to the end that it has now.
func asItIs(f *os.File) io.Reader { return f }

// open is Open with what reads the file.
func open(path string, through func(*os.File) io.Reader, lookup func(path string) (int, error), atmosphere units.Pascal) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	in := through(f)
	if strings.HasSuffix(path, ".gz") {
		in, err = gzip.NewReader(bufio.NewReaderSize(in, bufferSize))
		if err != nil {
			f.Close()
			return nil, &Error{Name: path, Line: 1, Err: gzipError(err)}
		}
	}
	r, err := NewReader(in, path, lookup, atmosphere)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.close = f.Close
	return r, nil
}

// NewReader reads a recording from in; name stands in its errors.
func NewReader(in io.Reader, name string, lookup func(path string) (int, error), atmosphere units.Pascal) (*Reader, error) {
	r := &Reader{name: name, lines: lines{in: in}, reasons: map[string]string{}, close: func() error { return nil }}
	if err := r.readHeader(lookup, atmosphere); err != nil {
		return nil, err
	}
	return r, nil
}

// Columns returns the inputs that the recording at path holds, without asking
// whether a site has them.
func Columns(path string) ([]Column, error) {
	r, err := Open(path, func(string) (int, error) { return 0, nil }, units.StandardAtmosphere)
	if err != nil {
		return nil, err
	}
	return r.columns, r.Close()
}

// Close closes the file.
func (r *Reader) Close() error { return r.close() }

// Columns returns the inputs that the recording holds.
func (r *Reader) Columns() []Column { return r.columns }

// Rows returns how many rows have been read.
func (r *Reader) Rows() int { return r.rows }

// Missing returns those of points that the recording has no column for.
func (r *Reader) Missing(points []reading.Point) []reading.Point {
	has := make(map[int]bool, len(r.columns))
	for _, c := range r.columns {
		has[c.index] = true
	}
	var lacking []reading.Point
	for i, p := range points {
		if !has[i] {
			lacking = append(lacking, p)
		}
	}
	return lacking
}

func (r *Reader) readHeader(lookup func(string) (int, error), atmosphere units.Pascal) error {
	line, err := r.lines.next()
	if err == io.EOF {
		return r.wrong("", errors.New("the file is empty; the first line names the columns: time,PATH:UNIT,…"))
	}
	if err != nil {
		return r.wrong("", gzipError(err))
	}
	cells, err := splitQuoted(strings.TrimPrefix(string(line), "\uFEFF"))
	if err != nil {
		return r.wrong("", err)
	}
	if cells[0] != "time" {
		hint := ""
		if strings.Contains(cells[0], ";") {
			hint = "; columns are separated by commas, not semicolons"
		}
		return r.wrong("", fmt.Errorf("the first column is %.40q, want time%s", cells[0], hint))
	}
	// All faults of the header in one go.
	var faults []error
	seen := map[string]bool{}
	for _, cell := range cells[1:] {
		c, err := parseColumn(cell, atmosphere)
		if err == nil && seen[c.Point.Path] {
			err = fmt.Errorf("column %q: there is one for %s already; each input has one column", cell, c.Point.Path)
		}
		if err == nil {
			seen[c.Point.Path] = true
			c.index, err = lookup(c.Point.Path)
		}
		if err != nil {
			faults = append(faults, r.wrong("", err))
			continue
		}
		r.columns = append(r.columns, c)
	}
	return errors.Join(faults...)
}

// Next reads the next row into row, whose Readings it reuses. At the end it
// returns io.EOF. Any other error is an *Error; Next then returns it for ever.
func (r *Reader) Next(row *reading.Row) error {
	if r.failed != nil {
		return r.failed
	}
	if err := r.next(row); err != nil {
		if err == io.ErrUnexpectedEOF || errors.Is(err, ErrTruncated) {
			err = r.wrong("", fmt.Errorf("%w after %d good rows (a power cut or a full disk does that); what comes before is whole", ErrTruncated, r.rows))
		}
		r.failed = err
		row.Readings = row.Readings[:0]
		return err
	}
	r.rows++
	return nil
}

func (r *Reader) next(row *reading.Row) error {
	line, err := r.lines.next()
	for err == nil && len(line) == 0 {
		line, err = r.lines.next()
	}
	switch {
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return err
	case err != nil:
		r.rows++
		defer func() { r.rows-- }()
		if errors.Is(err, gzip.ErrHeader) {
			err = errors.New("something else follows the compressed data")
		}
		return r.wrong("", gzipError(err))
	}
	r.rows++ // for messages; Next counts the good ones
	err = r.parse(line, row)
	r.rows--
	return err
}

// wrong places err at the current row.
func (r *Reader) wrong(path string, err error) error {
	var placed *Error
	if errors.As(err, &placed) {
		return err
	}
	return &Error{Name: r.name, Row: r.rows, Line: max(r.lines.line, 1), Path: path, Err: err}
}

func gzipError(err error) error {
	switch {
	case errors.Is(err, gzip.ErrHeader):
		return errors.New("the name ends in .gz, but this is no gzip file; rename it if it is plain CSV")
	case errors.Is(err, gzip.ErrChecksum):
		return errors.New("the compressed data is damaged (checksum does not fit)")
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return fmt.Errorf("%w in its first bytes", ErrTruncated)
	}
	return err
}
