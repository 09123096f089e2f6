package recording

import (
	"bufio"
	"compress/gzip"
	"io"
	"os"
	"strconv"
	"strings"

	"dewgap/analyze/reading"
)

const timeLayout = "2006-01-02T15:04:05.000Z"

// Encoder turns rows into lines. It is pure; see Writer and Recorder.
type Encoder struct {
	points []reading.Point
	cells  []*reading.Reading
}

// NewEncoder returns an encoder with one column for each point.
func NewEncoder(points []reading.Point) *Encoder {
	return &Encoder{points: points, cells: make([]*reading.Reading, len(points))}
}

// AppendHeader appends the first line to dst.
func (e *Encoder) AppendHeader(dst []byte) []byte {
	dst = append(dst, "time"...)
	for _, p := range e.points {
		dst = append(dst, ',')
		dst = append(dst, p.Path...)
		dst = append(dst, ':')
		dst = append(dst, ownUnit(p.Role.Kind())...)
	}
	return append(dst, '\n')
}

// AppendRow appends a row's line to dst. The row's values must be settled, as
// the hub's are; others are rounded to 0.1 Pa and 0.001 °C.
func (e *Encoder) AppendRow(dst []byte, row reading.Row) []byte {
	for i := range row.Readings {
		if r := &row.Readings[i]; r.Point >= 0 && r.Point < len(e.cells) {
			e.cells[r.Point] = r
		}
	}
	dst = row.Time.UTC().AppendFormat(dst, timeLayout)
	for i, r := range e.cells {
		dst = append(dst, ',')
		if r == nil {
			continue
		}
		e.cells[i] = nil
		dst = appendCell(dst, reading.Settle(*r, e.points[i].Role.Kind()), e.points[i].Role.Kind())
	}
	return append(dst, '\n')
}

func appendCell(dst []byte, r reading.Reading, kind reading.Kind) []byte {
	if r.Quality != reading.Good {
		return appendText(dst, "!"+r.Reason)
	}
	switch kind {
	case reading.Pressure:
		return strconv.AppendFloat(dst, r.Value, 'f', 1, 64)
	case reading.Temperature:
		return strconv.AppendFloat(dst, r.Value, 'f', 3, 64)
	case reading.Share:
		return strconv.AppendFloat(dst, r.Value, 'f', 2, 64)
	}
	return strconv.AppendFloat(dst, r.Value, 'f', 0, 64)
}

// appendText appends a cell of text, quoted when CSV asks for it.
func appendText(dst []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"") {
		return append(dst, s...)
	}
	dst = append(dst, '"')
	for i := range len(s) {
		if s[i] == '"' {
			dst = append(dst, '"')
		}
		dst = append(dst, s[i])
	}
	return append(dst, '"')
}

// Writer writes one recording to its end. For the daemon's endless one see
// Recorder.
type Writer struct {
	encoder *Encoder
	line    []byte
	buffer  *bufio.Writer
	gzip    *gzip.Writer
	file    *os.File
}

// NewWriter begins a recording in an empty file, compressed if its name ends in .gz.
// The writer closes the file, also when it cannot begin.
func NewWriter(f *os.File, points []reading.Point) (*Writer, error) {
	w := &Writer{encoder: NewEncoder(points), file: f}
	var out io.Writer = f
	if strings.HasSuffix(f.Name(), ".gz") {
		w.gzip = gzip.NewWriter(f)
		out = w.gzip
	}
	w.buffer = bufio.NewWriterSize(out, 64<<10)
	w.line = w.encoder.AppendHeader(w.line[:0])
	if _, err := w.buffer.Write(w.line); err != nil {
		f.Close()
		return nil, err
	}
	return w, nil
}

// Append writes a row.
func (w *Writer) Append(row reading.Row) error {
	w.line = w.encoder.AppendRow(w.line[:0], row)
	_, err := w.buffer.Write(w.line)
	return err
}

// Flush hands everything to the operating system.
func (w *Writer) Flush() error {
	if err := w.buffer.Flush(); err != nil || w.gzip == nil {
		return err
	}
	return w.gzip.Flush()
}

// Close finishes the recording and puts it on the disk.
func (w *Writer) Close() error {
	err := w.buffer.Flush()
	if w.gzip != nil {
		if e := w.gzip.Close(); err == nil {
			err = e
		}
	}
	if e := w.file.Sync(); err == nil {
		err = e
	}
	if e := w.file.Close(); err == nil {
		err = e
	}
	return err
}
