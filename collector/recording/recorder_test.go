package recording

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
)

func rowAt(i int) reading.Row {
	return reading.Row{Time: start.Add(time.Duration(i) * time.Second), Readings: []reading.Reading{
		{Point: 0, Value: 250000 + float64(i*i%977)/10, Quality: reading.Good},
		{Point: 1, Value: float64(i*7919%1009) / 1000, Quality: reading.Good},
	}}
}

// recordings reads all of dir in order of time and returns rows and bytes.
func recordings(t *testing.T, dir string) (rows []reading.Row, size int64, last error) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(dir, prefix+"*"+suffix))
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
		r, err := Open(f, Lookup(points), units.StandardAtmosphere)
		if err != nil {
			t.Fatal(err)
		}
		got, err := readAll(r)
		r.Close()
		if err != io.EOF {
			last = err
		}
		rows = append(rows, got...)
	}
	return rows, size, last
}

func TestRecorderKeepsTheNewestWithinItsLimit(t *testing.T) {
	dir := t.TempDir()
	r := NewRecorder(dir, points, Limits{Bytes: 4 * minFile}, nil)
	const n = 60_000
	for i := range n {
		r.Append(rowAt(i))
		if i%500 == 499 {
			if err := r.write(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	rows, size, err := recordings(t, dir)
	if err != nil {
		t.Fatal(err)
	}
	if size > 4*minFile+minFile/2 || size < minFile {
		t.Errorf("%d bytes on disk, limit %d", size, 4*minFile)
	}
	if len(rows) == n || len(rows) < n/10 {
		t.Errorf("%d rows of %d kept", len(rows), n)
	}
	for i, row := range rows { // the newest, without a gap
		if want := rowAt(n - len(rows) + i); !row.Time.Equal(want.Time) {
			t.Fatalf("row %d is of %v, want %v", i, row.Time, want.Time)
		}
	}
}

func TestTrap30PowerCutLosesSecondsAndADiskThatFailsStopsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "data")
		var mu sync.Mutex
		var reported []error
		reports := func() []error { mu.Lock(); defer mu.Unlock(); return slices.Clone(reported) }
		r := NewRecorder(dir, points, Limits{Bytes: 1 << 20, Every: 3 * time.Second}, func(err error) { mu.Lock(); defer mu.Unlock(); reported = append(reported, err) })
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- r.Run(ctx) }()
		wait := func(d time.Duration) { <-time.After(d); synctest.Wait() }

		for i := range 20 {
			r.Append(rowAt(i))
			wait(time.Second)
		}
		// The power is cut here: no Close.
		rows, _, err := recordings(t, dir)
		if len(rows) < 20-4 || !errors.Is(err, ErrTruncated) {
			t.Errorf("%d of 20 rows on the disk, %v", len(rows), err)
		}

		// The disk goes: a file stands where the directory should be.
		r.file.Close()
		os.Rename(dir, dir+"-gone")
		os.WriteFile(dir, nil, 0o644)
		for i := range 120 {
			r.Append(rowAt(20 + i))
			wait(time.Second)
		}
		lost, err := r.Lost()
		got := reports()
		if err == nil || lost == 0 || lost > 4 || len(got) != 1 || got[0] == nil {
			t.Errorf("lost %d with %v; got %v", lost, err, got)
		}
		os.Remove(dir)
		wait(retryAfter + 3*time.Second)
		got = reports()
		if _, err := r.Lost(); err != nil || len(got) != 2 || got[1] != nil {
			t.Errorf("after the mend: %v; got %v", err, got)
		}
		cancel()
		if err := errors.Join(<-done, r.Close()); err != nil {
			t.Fatal(err)
		}
		if rows, _, err := recordings(t, dir); err != nil || len(rows) < 100 {
			t.Errorf("%d rows after the mend, %v", len(rows), err)
		}
	})
}

func TestAStuckDiskCostsRowsNotMemory(t *testing.T) {
	r := NewRecorder(t.TempDir(), points, Limits{Bytes: 1 << 20}, nil) // nobody runs it
	row := rowAt(0)
	line := len(r.encoder.AppendRow(nil, row))
	n := maxPending/line + 1000
	for range n {
		r.Append(row)
	}
	if lost, _ := r.Lost(); lost < 900 || len(r.pending) > maxPending+line {
		t.Errorf("lost %d of %d, %d bytes pending", lost, n, len(r.pending))
	}
}

func TestWriterWritesWhatIsReadBack(t *testing.T) {
	for _, name := range []string{"a.csv", "a.csv.gz"} {
		path := filepath.Join(t.TempDir(), name)
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		w, err := NewWriter(f, points)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 10 {
			w.Append(rowAt(i))
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err := Open(path, Lookup(points), units.StandardAtmosphere)
		if err != nil {
			t.Fatal(err)
		}
		if rows, err := readAll(r); len(rows) != 10 || err != io.EOF {
			t.Errorf("%s: %d rows, %v", name, len(rows), err)
		}
		r.Close()
	}
}
