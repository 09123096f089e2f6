package recording

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
)

// maxLine bounds one row: 2,000 inputs with long reasons fit.
const maxLine = 4 << 20

// lines cuts a stream into CSV records without copying. A line break inside
// quotes belongs to the record.
type lines struct {
	in     io.Reader
	buf    []byte
	start  int
	end    int
	err    error
	line   int  // number of the record's first line, from 1
	after  int  // lines consumed
	open   bool // the last record had no line break at its end
	quoted bool // the last record has quotes
}

// next returns the next record without its line break, valid until the next
// call. A stream that breaks off in the middle of a compressed block gives
// io.ErrUnexpectedEOF, after all whole records.
func (l *lines) next() ([]byte, error) {
	l.line = l.after + 1
	from, quotes := l.start, 0
	for {
		i := bytes.IndexByte(l.buf[from:l.end], '\n')
		if i >= 0 {
			quotes += bytes.Count(l.buf[from:from+i], []byte{'"'})
			from += i + 1
			l.after++
			if quotes%2 == 1 {
				continue
			}
			record := l.buf[l.start : from-1]
			l.start, l.quoted = from, quotes > 0
			if n := len(record) - 1; n >= 0 && record[n] == '\r' {
				record = record[:n]
			}
			return record, nil
		}
		quotes += bytes.Count(l.buf[from:l.end], []byte{'"'})
		from = l.end
		if l.err != nil {
			return l.tail(quotes)
		}
		if l.end-l.start > maxLine {
			return nil, fmt.Errorf("a row is longer than %d bytes; is a quote not closed?", maxLine)
		}
		from -= l.fill()
	}
}

// fill reads more and returns by how much it moved what is left.
func (l *lines) fill() (moved int) {
	if l.end == len(l.buf) {
		moved = l.start
		to := l.buf
		if l.end-l.start > len(l.buf)/2 || len(l.buf) == 0 {
			to = make([]byte, max(2*len(l.buf), bufferSize))
		}
		l.end = copy(to, l.buf[l.start:l.end])
		l.start, l.buf = 0, to
	}
	n, err := l.in.Read(l.buf[l.end:])
	l.end += n
	l.err = err
	return moved
}

// tail returns what stands after the last line break.
func (l *lines) tail(quotes int) ([]byte, error) {
	rest := l.buf[l.start:l.end]
	if len(rest) == 0 || l.err != io.EOF {
		return nil, l.err
	}
	l.start, l.quoted = l.end, quotes > 0
	l.after++
	l.open = true
	if quotes%2 == 1 {
		return nil, io.ErrUnexpectedEOF
	}
	return bytes.TrimSuffix(rest, []byte{'\r'}), nil
}

// splitQuoted splits one record by all rules of RFC 4180.
func splitQuoted(record string) ([]string, error) {
	r := csv.NewReader(strings.NewReader(record))
	r.FieldsPerRecord = -1
	cells, err := r.Read()
	if err == io.EOF {
		return []string{""}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("not CSV (RFC 4180): %w", err)
	}
	return cells, nil
}
