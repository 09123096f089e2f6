package recording

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

var points = []reading.Point{
	{Path: "mt.suction_pressure", Group: "mt", Role: reading.SuctionPressure},
	{Path: "mt.c1.suction_temperature", Group: "mt", Member: "c1", Role: reading.SuctionTemperature},
	{Path: "mt.c1.running", Group: "mt", Member: "c1", Role: reading.Running},
	{Path: "mt.c1.speed", Group: "mt", Member: "c1", Role: reading.Speed},
}

var start = time.Date(2026, 3, 1, 6, 41, 20, 0, time.UTC)

// readAll reads a recording to its end; rows are copied.
func readAll(r *Reader) (rows []reading.Row, err error) {
	for {
		var row reading.Row
		if err = r.Next(&row); err != nil {
			return rows, err
		}
		rows = append(rows, row)
	}
}

func readText(t *testing.T, text string) []reading.Row {
	t.Helper()
	r, err := NewReader(strings.NewReader(text), "test.csv", Lookup(points), units.StandardAtmosphere)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := readAll(r)
	if err != io.EOF {
		t.Fatal(err)
	}
	return rows
}

func TestBadRecordingsSayWhereAndWhatWouldBeRight(t *testing.T) {
	files, _ := filepath.Glob("testdata/bad/*.csv")
	if len(files) < 20 {
		t.Fatalf("only %d bad recordings found", len(files))
	}
	for _, file := range files {
		want, err := os.ReadFile(strings.TrimSuffix(file, ".csv") + ".want")
		if err != nil {
			t.Fatal(err)
		}
		r, err := Open(file, Lookup(points), units.StandardAtmosphere)
		if err == nil {
			_, err = readAll(r)
			r.Close()
		}
		for line := range strings.Lines(string(want)) {
			if line = strings.TrimSpace(line); !strings.Contains(err.Error(), line) {
				t.Errorf("%s: error\n%v\nlacks\n%s", file, err, line)
			}
		}
		if !strings.HasPrefix(err.Error(), file+": ") {
			t.Errorf("%s: error %q does not begin with the file's name", file, err)
		}
	}
}

// Factors from NIST SP 811, appendix B (see units); the atmosphere is ISO
// 2533's at sea level.
func TestUnitsOfTheContract(t *testing.T) {
	for _, c := range []struct {
		column, cell string
		want         float64
	}{
		{"mt.suction_pressure:Paa", "253000.1", 253000.1},
		{"mt.suction_pressure:Pag", "100", 101425},
		{"mt.suction_pressure:kPaa", "253", 253000},
		{"mt.suction_pressure:kPag", "0", 101325},
		{"mt.suction_pressure:bara", "2.5", 250000},
		{"mt.suction_pressure:barg", "-0.3", 71325},
		{"mt.suction_pressure:psia", "14.69595", 101325},
		{"mt.suction_pressure:psig", "26", 280588.68},
		{"mt.c1.suction_temperature:degC", "-6.123", -6.123},
		{"mt.c1.suction_temperature:degF", "22", -5.5556},
		{"mt.c1.suction_temperature:K", "273.15", 0},
		{"mt.c1.suction_temperature:degC", "1e1", 10},
		{"mt.c1.running:bool", "1", 1},
		{"mt.c1.speed:%", "62.5", 62.5},
		{"mt.c1.running:bool", "false", 0},
	} {
		rows := readText(t, "\uFEFFtime,"+c.column+"\r\n2026-03-01T07:41:20.25+01:00,"+c.cell+"\r\n")
		got := rows[0].Readings[0]
		if math.Abs(got.Value-c.want) > 0.01*max(1, math.Abs(c.want)/1e5) || got.Quality != reading.Good {
			t.Errorf("%s %s: %+v, want %v", c.column, c.cell, got, c.want)
		}
		if want := start.Add(250 * time.Millisecond); !rows[0].Time.Equal(want) || rows[0].Time.Location() != time.UTC {
			t.Errorf("time %v, want %v", rows[0].Time, want)
		}
	}
}

func TestCells(t *testing.T) {
	rows := readText(t, `time,mt.suction_pressure:Paa,mt.c1.suction_temperature:degC,mt.c1.running:bool
2026-03-01T06:41:20Z,,,
2026-03-01T06:41:20Z,!timeout,!sentinel: 0x7FFF,!

2026-03-01T06:41:21Z,nan,"!a ""quoted"", reason",1
2026-03-01T06:41:21.5Z,-5,-300,0`)
	type want struct {
		quality reading.Quality
		reason  string
	}
	for i, w := range [][]want{
		{},
		{{reading.Missing, "timeout"}, {reading.Bad, "sentinel: 0x7FFF"}, {reading.Missing, "no-data"}},
		{{reading.Bad, "nan"}, {reading.Bad, `a "quoted", reason`}, {reading.Good, ""}},
		{{reading.Bad, "out-of-range: no absolute pressure"}, {reading.Bad, "out-of-range: no temperature"}, {reading.Good, ""}},
	} {
		if len(rows[i].Readings) != len(w) {
			t.Fatalf("row %d: %+v", i+1, rows[i])
		}
		for j, r := range rows[i].Readings {
			if r.Quality != w[j].quality || r.Reason != w[j].reason || r.Point != j || !r.Time.Equal(rows[i].Time) {
				t.Errorf("row %d: %+v, want %+v", i+1, r, w[j])
			}
		}
	}
}

func TestWhatTheRecordingLacks(t *testing.T) {
	r, err := NewReader(strings.NewReader("time,mt.c1.running:bool\n"), "x", Lookup(points), units.StandardAtmosphere)
	if err != nil {
		t.Fatal(err)
	}
	if l := r.Missing(points); len(l) != 3 || l[0] != points[0] || l[1] != points[1] || l[2] != points[3] {
		t.Errorf("lacking %+v", l)
	}
}

// Law: what is written reads back to the last bit, through every quoting.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var rows []reading.Row
		at := start
		for range rapid.IntRange(0, 20).Draw(t, "rows") {
			at = at.Add(time.Duration(rapid.Int64Range(0, 90_000).Draw(t, "ms")) * time.Millisecond)
			row := reading.Row{Time: at}
			for i, p := range points {
				r := reading.Reading{Point: i, Time: at}
				switch rapid.IntRange(0, 2).Draw(t, "kind") {
				case 0:
					continue
				case 1:
					r.Quality, r.Value = reading.Good, rapid.OneOf(rapid.Float64Range(-400, 400), rapid.Float64()).Draw(t, "v")
				case 2:
					r.Quality, r.Reason = reading.Bad, rapid.String().Draw(t, "reason")
				}
				row.Readings = append(row.Readings, reading.Settle(r, p.Role.Kind()))
			}
			rows = append(rows, row)
		}
		e := NewEncoder(points)
		text := e.AppendHeader(nil)
		for _, row := range rows {
			text = e.AppendRow(text, row)
		}
		r, err := NewReader(bytes.NewReader(text), "x", Lookup(points), units.StandardAtmosphere)
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(r)
		if err != io.EOF || len(got) != len(rows) {
			t.Fatalf("%d rows of %d, %v, from\n%s", len(got), len(rows), err, text)
		}
		for i := range rows {
			if !got[i].Time.Equal(rows[i].Time) || len(got[i].Readings) != len(rows[i].Readings) {
				t.Fatalf("row %d: %+v, want %+v", i+1, got[i], rows[i])
			}
			for j, g := range got[i].Readings {
				w := rows[i].Readings[j]
				if math.Float64bits(g.Value) != math.Float64bits(w.Value) || g.Quality != w.Quality || g.Reason != w.Reason || g.Point != w.Point {
					t.Fatalf("row %d: %+v, want %+v, from\n%s", i+1, g, w, text)
				}
			}
		}
	})
}

func TestFastNumbersAreStrconvs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`-?[0-9]{0,9}\.?[0-9]{0,8}`).Draw(t, "number")
		got, ok := parseNumber([]byte(s))
		want, err := strconv.ParseFloat(s, 64)
		if ok && (err != nil || got != want) {
			t.Fatalf("%q: %v, strconv says %v, %v", s, got, want, err)
		}
		if !ok && err == nil && len(s) < 15 {
			t.Fatalf("%q: refused", s)
		}
	})
}

func TestFastTimesAreTheLibrarys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c clockText
		at := time.Unix(rapid.Int64Range(-1e9, 4e9).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		for range 4 {
			at = at.Add(time.Duration(rapid.Int64Range(0, 30e9).Draw(t, "step")))
			text := at.UTC().Format(time.RFC3339Nano)
			if got, err := c.parse([]byte(text)); err != nil || !got.Equal(at) {
				t.Fatalf("%s: %v, %v", text, got, err)
			}
		}
	})
}

func compress(text []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	z.Write(text)
	z.Close()
	return b.Bytes()
}

func TestTrap30TruncatedGzip(t *testing.T) {
	e := NewEncoder(points)
	text := e.AppendHeader(nil)
	for i := range 5000 {
		v := float64(i*7919%1000) / 7
		text = e.AppendRow(text, reading.Row{Time: start.Add(time.Duration(i) * time.Second), Readings: []reading.Reading{
			{Point: 0, Value: v * 1000, Quality: reading.Good}, {Point: 1, Value: v, Quality: reading.Good}}})
	}
	whole := compress(text)
	path := filepath.Join(t.TempDir(), "x.csv.gz")
	for _, part := range []int{1, 2, 3, 10} { // cut off in the middle, and by the trailer
		cut := whole[:len(whole)-len(whole)/2/part]
		if part == 10 {
			cut = whole[:len(whole)-4]
		}
		if err := os.WriteFile(path, cut, 0o644); err != nil {
			t.Fatal(err)
		}
		r, err := Open(path, Lookup(points), units.StandardAtmosphere)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := readAll(r)
		r.Close()
		if !errors.Is(err, ErrTruncated) || !strings.Contains(err.Error(), strconv.Itoa(len(rows))+" good rows") || len(rows) < 1000 {
			t.Errorf("cut to %d of %d: %d rows, %v", len(cut), len(whole), len(rows), err)
		}
	}
	damaged := bytes.Clone(whole)
	damaged[len(damaged)-6] ^= 1
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"plain":    {text, "no gzip file"},
		"nothing":  {nil, "cut off"},
		"flipped":  {damaged, "checksum"},
		"two ends": {append(bytes.Clone(whole), "something that is no gzip"...), "something else follows"},
	} {
		os.WriteFile(path, c.data, 0o644)
		r, err := Open(path, Lookup(points), units.StandardAtmosphere)
		if err == nil {
			_, err = readAll(r)
			r.Close()
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

func FuzzReader(f *testing.F) {
	bad, _ := filepath.Glob("testdata/bad/*.csv")
	for _, file := range bad {
		data, _ := os.ReadFile(file)
		f.Add(data)
	}
	f.Add([]byte("time,mt.suction_pressure:psig\n2026-03-01T06:41:20.123456789-08:00,1e3\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewReader(bytes.NewReader(data), "x", Lookup(points), units.StandardAtmosphere)
		if err != nil {
			return
		}
		rows, err := readAll(r)
		if err == nil || len(rows) != r.Rows() {
			t.Fatalf("%d rows, %d counted, error %v", len(rows), r.Rows(), err)
		}
		var last time.Time
		for _, row := range rows {
			if row.Time.Before(last) {
				t.Fatal("time went back")
			}
			last = row.Time
			for _, g := range row.Readings {
				if (g.Quality == reading.Good) == math.IsNaN(g.Value) || math.IsInf(g.Value, 0) || (g.Reason == "") != (g.Quality == reading.Good) {
					t.Fatalf("%+v", g)
				}
			}
		}
	})
}

// What it costs to replay: a year at 5 s is 6.3 million rows.
func BenchmarkReader(b *testing.B) {
	e := NewEncoder(points)
	text := e.AppendHeader(nil)
	const rows = 20000
	for i := range rows {
		v := float64(i*7919%1000) / 77
		text = e.AppendRow(text, reading.Row{Time: start.Add(time.Duration(i) * 5 * time.Second), Readings: []reading.Reading{
			{Point: 0, Value: 250000 + v*1000, Quality: reading.Good}, {Point: 1, Value: v, Quality: reading.Good}, {Point: 2, Value: 1, Quality: reading.Good}}})
	}
	for name, data := range map[string][]byte{"csv": text, "gz": compress(text)} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var row reading.Row
			for b.Loop() {
				var in io.Reader = bytes.NewReader(data)
				if name == "gz" {
					in, _ = gzip.NewReader(in)
				}
				r, err := NewReader(in, "x", Lookup(points), units.StandardAtmosphere)
				for err == nil {
					err = r.Next(&row)
				}
				if err != io.EOF {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
			b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/rows*365*86400/5, "s/year")
		})
	}
}
