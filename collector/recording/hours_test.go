package recording

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

// threeHours records a row every 20 s from 10:30 to 13:10, written every 7 minutes,
// so that hours begin in the middle of what is written at once.
func threeHours(t *testing.T) (path string, rows []reading.Row) {
	t.Helper()
	dir := t.TempDir()
	r := NewRecorder(dir, points, Limits{Bytes: 64 << 20}, nil)
	from := time.Date(2026, 3, 1, 10, 30, 0, 0, time.UTC)
	for i := range 480 {
		row := rowAt(i)
		row.Time = from.Add(time.Duration(i) * 20 * time.Second)
		rows = append(rows, row)
		r.Append(row)
		if i%21 == 20 {
			if err := r.write(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	files, err := Files(dir)
	if err != nil || len(files) != 1 || !files[0].First.Equal(from) {
		t.Fatalf("%v, %v", files, err)
	}
	return files[0].Path, rows
}

func timesFrom(t *testing.T, path string, from time.Time) []time.Time {
	t.Helper()
	r, err := OpenAt(path, from, Lookup(points), units.StandardAtmosphere)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	rows, err := readAll(r)
	if err != io.EOF {
		t.Fatal(err)
	}
	var times []time.Time
	for _, row := range rows {
		if len(row.Readings) == 0 {
			t.Fatalf("%v: %d readings", row.Time, len(row.Readings))
		}
		times = append(times, row.Time)
	}
	return times
}

func TestAnyHourOpensWithWhateverIndex(t *testing.T) {
	path, rows := threeHours(t)
	whole, err := os.ReadFile(path + indexTail)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(whole), "\n"); n != 1+4 {
		t.Fatalf("%d lines in the index of the hours from 10 to 13:\n%s", n, whole)
	}
	wrong := bytes.ReplaceAll(whole, []byte("T12:"), []byte("T11:"))
	for name, index := range map[string][]byte{
		"as written":           whole,
		"missing":              nil,
		"empty":                {},
		"other text":           []byte("hello\n"),
		"cut in a line":        whole[:len(whole)-7],
		"only its first line":  []byte(indexHead),
		"of another recording": []byte(indexHead + "0 2026-03-01T09:00:00.000Z\n"),
		"out of order":         wrong,
		"beyond the end":       append(slices.Clone(whole), "99999999 2026-03-01T14:00:00.000Z\n"...),
	} {
		t.Run(name, func(t *testing.T) {
			if err := os.Remove(path + indexTail); err != nil && !os.IsNotExist(err) {
				t.Fatal(err)
			}
			if index != nil {
				if err := os.WriteFile(path+indexTail, index, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			for _, c := range []struct{ from, first string }{
				{"09:00:00", "10:30:00"}, {"10:30:00", "10:30:00"}, {"10:59:59", "10:30:00"},
				{"11:00:00", "11:00:00"}, {"11:40:10", "11:00:00"}, {"12:00:00", "12:00:00"}, {"12:59:59", "12:00:00"},
			} {
				from, _ := time.Parse(time.DateTime, "2026-03-01 "+c.from)
				want, _ := time.Parse(time.DateTime, "2026-03-01 "+c.first)
				got := timesFrom(t, path, from)
				i := slices.IndexFunc(rows, func(r reading.Row) bool { return r.Time.Equal(want) })
				if len(got) != len(rows)-i || !got[0].Equal(want) {
					t.Errorf("from %s: %d rows from %s, want %d from %s", c.from, len(got), got[0], len(rows)-i, want)
				}
			}
			// The last hour, with an index that may have lost it.
			from := time.Date(2026, 3, 1, 13, 5, 0, 0, time.UTC)
			if got := timesFrom(t, path, from); got[0].After(from) || !got[len(got)-1].Equal(rows[len(rows)-1].Time) {
				t.Errorf("13:05: rows from %s to %s", got[0], got[len(got)-1])
			}
		})
	}
}

func TestWholeRecordingReadsAsOne(t *testing.T) {
	path, rows := threeHours(t)
	r, err := Open(path, Lookup(points), units.StandardAtmosphere)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	got, err := readAll(r)
	if err != io.EOF || len(got) != len(rows) {
		t.Fatalf("%d rows of %d, %v", len(got), len(rows), err)
	}
	for i := range got {
		if !got[i].Time.Equal(rows[i].Time) || got[i].Readings[0].Value != rows[i].Readings[0].Value {
			t.Fatalf("row %d: %v, want %v", i, got[i], rows[i])
		}
	}
}

func TestOlderAndPlainRecordingsOpenAtTheirBeginning(t *testing.T) {
	for _, name := range []string{"a.csv", "a.csv.gz"} {
		f, err := os.Create(filepath.Join(t.TempDir(), name))
		if err != nil {
			t.Fatal(err)
		}
		w, err := NewWriter(f, points)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 3 {
			row := rowAt(i)
			row.Time = start.Add(time.Duration(i) * time.Hour)
			if err := w.Append(row); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if got := timesFrom(t, f.Name(), start.Add(2*time.Hour)); len(got) != 3 || !got[0].Equal(start) {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestIndexGoesWithItsRecording(t *testing.T) {
	path, _ := threeHours(t)
	dir := filepath.Dir(path)
	r := NewRecorder(dir, points, Limits{Bytes: 2 * minFile}, nil)
	orphan := filepath.Join(dir, prefix+"20250101T000000.000Z"+suffix+indexTail)
	if err := os.WriteFile(orphan, whole(t, path+indexTail), 0o600); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	index := whole(t, path+indexTail)
	_, total, err := r.finished()
	if err != nil || total != info.Size()+int64(len(index)) {
		t.Errorf("%d bytes counted of %d + %d, %v", total, info.Size(), len(index), err)
	}
	if _, err := os.Stat(orphan); !os.IsNotExist(err) {
		t.Errorf("an index without a recording stays: %v", err)
	}
	if err := removeWithIndex(path); err != nil {
		t.Fatal(err)
	}
	if names, err := os.ReadDir(dir); err != nil || len(names) != 0 {
		t.Errorf("%v, %v", names, err)
	}
}

func whole(t *testing.T, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func FuzzIndex(f *testing.F) {
	f.Add([]byte(indexHead + "0 2026-03-01T10:30:00.000Z\n517 2026-03-01T11:00:00.000Z\n"))
	f.Add([]byte(indexHead + "0 2026-03-01T10:30:00.000Z\n517 2026"))
	f.Fuzz(func(t *testing.T, text []byte) {
		hours, err := parseIndex(text)
		if err != nil {
			return
		}
		again := indexHead
		for i, h := range hours {
			if h.offset < 0 || i > 0 && h.offset <= hours[i-1].offset {
				t.Fatalf("%v", hours)
			}
			again += indexLine(h)
		}
		if got, err := parseIndex([]byte(again)); err != nil || !slices.Equal(got, hours) {
			t.Fatalf("%v became %v, %v", hours, got, err)
		}
	})
}

func FuzzFindHours(f *testing.F) {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	z.Extra = appendMark(nil, start)
	if err := z.Close(); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes(), 3)
	f.Add(b.Bytes(), bufferSize-10)
	f.Fuzz(func(t *testing.T, text []byte, before int) {
		if before < 0 || before > 2*bufferSize {
			return
		}
		alone, err := findHours(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		// Whatever stands before, and wherever a buffer ends, the same is found.
		moved, err := findHours(io.MultiReader(bytes.NewReader(make([]byte, before)), bytes.NewReader(text)))
		if err != nil || len(moved) != len(alone) {
			t.Fatalf("%v became %v, %v", alone, moved, err)
		}
		for i := range alone {
			if alone[i].offset+int64(before) != moved[i].offset || !memberAt(bytes.NewReader(text), alone[i]) {
				t.Fatalf("%v became %v", alone[i], moved[i])
			}
		}
	})
}
