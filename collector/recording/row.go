package recording

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"dewgap/analyze/reading"
)

// parse reads one record into row.
func (r *Reader) parse(line []byte, row *reading.Row) error {
	row.Readings = row.Readings[:0]
	if r.lines.open && bytes.Count(line, []byte{','}) < len(r.columns) {
		return ErrTruncated // the last row was not written to its end
	}
	if r.lines.quoted {
		return r.parseQuoted(line, row)
	}
	i := bytes.IndexByte(line, ',')
	if i < 0 {
		i = len(line)
	}
	if err := r.parseTime(line[:i], row); err != nil {
		return err
	}
	n := 0
	for i < len(line) {
		from := i + 1
		i = from
		for i < len(line) && line[i] != ',' {
			i++
		}
		if n < len(r.columns) && i > from {
			if err := r.parseCell(&r.columns[n], line[from:i], row); err != nil {
				return err
			}
		}
		n++
	}
	return r.checkCells(n)
}

func (r *Reader) parseQuoted(line []byte, row *reading.Row) error {
	cells, err := splitQuoted(string(line))
	if err != nil {
		return r.wrong("", err)
	}
	if err := r.parseTime([]byte(cells[0]), row); err != nil {
		return err
	}
	for n, cell := range cells[1:] {
		if n < len(r.columns) && cell != "" {
			if err := r.parseCell(&r.columns[n], []byte(cell), row); err != nil {
				return err
			}
		}
	}
	return r.checkCells(len(cells) - 1)
}

func (r *Reader) checkCells(n int) error {
	if n == len(r.columns) {
		return nil
	}
	return r.wrong("", fmt.Errorf("%d cells after the time, but the header names %d columns; an input that was not read is an empty cell", n, len(r.columns)))
}

func (r *Reader) parseTime(cell []byte, row *reading.Row) error {
	t, err := r.clock.parse(cell)
	if err != nil {
		return r.wrong("time", err)
	}
	if t.Before(r.last) {
		return r.wrong("time", fmt.Errorf("%s is before the row above (%s); rows must be in order of time (equal times are allowed)",
			t.Format(time.RFC3339Nano), r.last.Format(time.RFC3339Nano)))
	}
	r.last, row.Time = t, t
	return nil
}

// parseCell appends the reading of a cell that is not empty. A cell that is not
// a number stops the replay: no answer is better than a wrong one.
func (r *Reader) parseCell(c *Column, cell []byte, row *reading.Row) error {
	row.Readings = append(row.Readings, reading.Reading{Point: c.index, Time: row.Time})
	out := &row.Readings[len(row.Readings)-1]
	switch number, ok := parseNumber(cell); {
	case ok:
		out.Value, out.Quality = c.value(number), reading.Good
		if c.kind == reading.Switch && number != 0 && number != 1 {
			return r.badCell(c, cell)
		}
	case cell[0] == '!':
		out.Reason = r.reason(cell[1:])
	default:
		var err error
		if *out, err = r.parseWord(c, cell, *out); err != nil {
			return err
		}
	}
	if out.Reason != "" || !certainlyPossible(out.Value, c.kind) {
		*out = settleFailure(*out, c.kind)
	}
	return nil
}

// certainlyPossible reports whether a value is within physical limits without the
// full check of settleFailure. It keeps the common case fast.
func certainlyPossible(v float64, k reading.Kind) bool {
	return k == reading.Pressure && v >= 0 && v < 1e11 || k == reading.Temperature && v >= -273 && v < 1e5 || k == reading.Switch || k == reading.Share && v >= 0 && v < 1e5
}

// settleFailure names failures as reading.Settle does, but leaves values as
// recorded: another program's recording may be finer than ours.
func settleFailure(r reading.Reading, k reading.Kind) reading.Reading {
	s := reading.Settle(r, k)
	if s.Quality == reading.Good {
		return r
	}
	return s
}

// parseWord reads what is neither a plain number nor a failure.
func (r *Reader) parseWord(c *Column, cell []byte, out reading.Reading) (reading.Reading, error) {
	word := strings.ToLower(strings.TrimSpace(string(cell)))
	if c.kind == reading.Switch {
		switch word {
		case "true", "1":
			out.Value, out.Quality = 1, reading.Good
		case "false", "0":
			out.Value, out.Quality = 0, reading.Good
		default:
			return out, r.badCell(c, cell)
		}
		return out, nil
	}
	if strings.ContainsAny(word, "_xp") { // strconv takes more than decimal numbers
		return out, r.badCell(c, cell)
	}
	v, err := strconv.ParseFloat(word, 64)
	switch {
	case err != nil && !math.IsInf(v, 0):
		return out, r.badCell(c, cell)
	case math.IsNaN(v) || math.IsInf(v, 0):
		out.Reason = reading.NotANumber
	default:
		out.Value, out.Quality = c.value(v), reading.Good
	}
	return out, nil
}

func (r *Reader) badCell(c *Column, cell []byte) error {
	want := "a number with a decimal point"
	if c.kind == reading.Switch {
		want = "0 or 1"
	}
	return r.wrong(c.Point.Path, fmt.Errorf("%.40q is no value in %s; want %s, nothing, or !reason", cell, c.Unit, want))
}

// maxReasons bounds how many different reasons are kept as shared strings.
const maxReasons = 1000

func (r *Reader) reason(text []byte) string {
	if s, ok := r.reasons[string(text)]; ok {
		return s
	}
	s := string(text)
	if len(text) == 0 {
		s = reading.NoData
	}
	if len(r.reasons) < maxReasons {
		r.reasons[string(text)] = s
	}
	return s
}

var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// parseNumber reads a plain decimal number of at most 15 digits. Digits and
// power of ten are exact then, so that one division rounds correctly: the
// result is what strconv gives. Everything else is not ok.
func parseNumber(s []byte) (float64, bool) {
	i := 0
	negative := len(s) > 0 && s[0] == '-'
	if negative {
		i = 1
	}
	var digits uint64
	n, point := 0, -1
	for ; i < len(s); i++ {
		switch d := s[i] - '0'; {
		case d <= 9:
			digits = digits*10 + uint64(d)
			n++
		case s[i] == '.' && point < 0:
			point = n
		default:
			return 0, false
		}
	}
	if n == 0 || n > 15 {
		return 0, false
	}
	v := float64(digits)
	if point >= 0 {
		v /= powers[n-point]
	}
	if negative {
		v = -v
	}
	return v + 0, true
}

// clockText reads times, remembering the minute of the last one: in most rows
// only the seconds differ.
type clockText struct {
	minute [17]byte // 2026-03-01T06:41:
	unix   int64    // of that minute, when zone is zero
}

func (c *clockText) parse(s []byte) (time.Time, error) {
	if len(s) >= 20 && s[len(s)-1] == 'Z' && c.unix != 0 && string(s[:17]) == string(c.minute[:]) {
		if seconds, nanos, ok := parseSeconds(s[17 : len(s)-1]); ok {
			return time.Unix(c.unix+seconds, nanos).UTC(), nil
		}
	}
	t, err := time.Parse(time.RFC3339Nano, string(s))
	if err != nil {
		return t, fmt.Errorf("%.40q is no time; want RFC 3339 with a zone, such as 2026-03-01T06:41:20.000Z%s", s, zoneHint(s))
	}
	t = t.UTC()
	if s[len(s)-1] == 'Z' && t.Unix() > 0 {
		copy(c.minute[:], s)
		c.unix = t.Unix() - int64(t.Second())
	}
	return t, nil
}

// zoneHint returns a hint for a time that only lacks its zone.
func zoneHint(s []byte) string {
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05"} {
		if _, err := time.Parse(layout, string(s)); err == nil {
			return "; without a zone an hour is missing or doubled when summer time changes"
		}
	}
	return ""
}

// parseSeconds reads SS or SS.fff with up to nine digits of fraction.
func parseSeconds(s []byte) (seconds, nanos int64, ok bool) {
	d, e := s[0]-'0', s[1]-'0'
	if d > 5 || e > 9 {
		return 0, 0, false
	}
	seconds = int64(d)*10 + int64(e)
	if len(s) == 2 {
		return seconds, 0, true
	}
	if s[2] != '.' || len(s) == 3 || len(s) > 12 {
		return 0, 0, false
	}
	for i := 3; i < 12; i++ {
		nanos *= 10
		if i < len(s) {
			d := s[i] - '0'
			if d > 9 {
				return 0, 0, false
			}
			nanos += int64(d)
		}
	}
	return seconds, nanos, true
}
