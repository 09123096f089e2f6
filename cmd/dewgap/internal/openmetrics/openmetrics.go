// Package openmetrics writes samples as OpenMetrics 1.0 text with time stamps, or
// as CSV.
//
// It may import metrics for what a sample is. It must never import the daemon or a
// source of rows.
package openmetrics

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewgap/cmd/dewgap/internal/metrics"
)

const (
	sampleSize = 16  // bytes of a sample in the spool: time in ms, value
	chunkSize  = 256 // samples of a series that go to the spool at once
)

// Text writes OpenMetrics. The format has all samples of a series together and
// all series of a metric together, and rows bring one sample of each: samples
// wait in a spool on the disk, in chunks. Memory grows with the number of series
// only.
type Text struct {
	spool  *os.File
	end    int64
	series map[string]*series
	key    []byte
}

// series is what the spool holds of one series.
type series struct {
	metric *metrics.Metric
	labels []string
	chunk  []byte
	chunks []int64 // where full ones stand in the spool
}

// NewText returns a Text with its spool in dir, which has to take 16 bytes for each
// sample.
func NewText(dir string) (*Text, error) {
	spool, err := os.CreateTemp(dir, ".dewgap-export-*")
	if err != nil {
		return nil, fmt.Errorf("make a spool for the export: %w", err)
	}
	return &Text{spool: spool, series: map[string]*series{}}, nil
}

// Close deletes the spool.
func (t *Text) Close() error {
	return errors.Join(t.spool.Close(), os.Remove(t.spool.Name()))
}

// Add takes a sample; those of a series come in order of time.
func (t *Text) Add(at time.Time, sample metrics.Sample) error {
	t.key = append(t.key[:0], sample.Metric.Name...)
	for _, l := range sample.Labels {
		t.key = append(append(t.key, 0xff), l...)
	}
	s := t.series[string(t.key)]
	if s == nil {
		s = &series{metric: sample.Metric, labels: slices.Clone(sample.Labels)}
		t.series[string(t.key)] = s
	}
	s.chunk = binary.LittleEndian.AppendUint64(s.chunk, uint64(at.UnixMilli()))
	s.chunk = binary.LittleEndian.AppendUint64(s.chunk, math.Float64bits(sample.Value))
	if len(s.chunk) < chunkSize*sampleSize {
		return nil
	}
	if _, err := t.spool.WriteAt(s.chunk, t.end); err != nil {
		return fmt.Errorf("write the spool of the export: %w", err)
	}
	s.chunks = append(s.chunks, t.end)
	t.end += int64(len(s.chunk))
	s.chunk = s.chunk[:0]
	return nil
}

// Write writes all samples.
func (t *Text) Write(w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	byMetric := map[*metrics.Metric][]*series{}
	for _, key := range slices.Sorted(maps.Keys(t.series)) {
		s := t.series[key]
		byMetric[s.metric] = append(byMetric[s.metric], s)
	}
	written := map[string]bool{}
	for _, m := range slices.SortedFunc(maps.Keys(byMetric), func(a, b *metrics.Metric) int { return a.Order - b.Order }) {
		if written[m.Name] {
			continue // with the one of the same name
		}
		written[m.Name] = true
		family, kind := m.Name, "gauge"
		if m.Counter {
			family, kind = strings.TrimSuffix(m.Name, "_total"), "counter"
		}
		fmt.Fprintf(out, "# TYPE %s %s\n# HELP %s %s\n", family, kind, family, escape.Replace(m.Help))
		for other := range byMetric {
			if other.Name == m.Name && other != m {
				byMetric[m] = append(byMetric[m], byMetric[other]...)
			}
		}
		for _, s := range byMetric[m] {
			if err := t.writeSeries(out, s); err != nil {
				return err
			}
		}
	}
	out.WriteString("# EOF\n")
	return out.Flush()
}

// escape writes text inside quotes, and help, as the format has it.
var escape = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`)

func (t *Text) writeSeries(out *bufio.Writer, s *series) error {
	var head strings.Builder
	head.WriteString(s.metric.Name + "{")
	for i, name := range s.metric.Labels {
		if i > 0 {
			head.WriteByte(',')
		}
		head.WriteString(name + `="` + escape.Replace(s.labels[i]) + `"`)
	}
	head.WriteString("} ")
	write := func(chunk []byte) error {
		var line []byte
		for ; len(chunk) > 0; chunk = chunk[sampleSize:] {
			line = append(line[:0], head.String()...)
			line = appendValue(line, math.Float64frombits(binary.LittleEndian.Uint64(chunk[8:])))
			line = appendTime(append(line, ' '), int64(binary.LittleEndian.Uint64(chunk)))
			if _, err := out.Write(append(line, '\n')); err != nil {
				return err
			}
		}
		return nil
	}
	chunk := make([]byte, chunkSize*sampleSize)
	for _, at := range s.chunks {
		if _, err := t.spool.ReadAt(chunk, at); err != nil {
			return fmt.Errorf("read the spool of the export: %w", err)
		}
		if err := write(chunk); err != nil {
			return err
		}
	}
	return write(s.chunk)
}

func appendValue(b []byte, v float64) []byte { return strconv.AppendFloat(b, v, 'g', -1, 64) }

// appendTime writes milliseconds since the epoch as seconds.
func appendTime(b []byte, ms int64) []byte {
	return strconv.AppendFloat(b, float64(ms)/1000, 'f', -1, 64)
}

// CSV writes a line for each sample: time, metric, a column for each label there
// is, value. A label that a metric does not have is empty.
type CSV struct {
	out     *bufio.Writer
	columns map[string]int
	cells   []string
	line    []byte
}

// NewCSV writes the header to w.
func NewCSV(w io.Writer) *CSV {
	names := metrics.RowLabels()
	c := &CSV{out: bufio.NewWriterSize(w, 1<<16), columns: map[string]int{}, cells: make([]string, len(names))}
	c.out.WriteString("time,metric")
	for i, name := range names {
		c.columns[name] = i
		c.out.WriteString("," + name)
	}
	c.out.WriteString(",value\n")
	return c
}

// Add writes a sample.
func (c *CSV) Add(at time.Time, sample metrics.Sample) error {
	clear(c.cells)
	for i, name := range sample.Metric.Labels {
		column, ok := c.columns[name]
		if !ok {
			return fmt.Errorf("%s has the label %s, which has no column", sample.Metric.Name, name)
		}
		c.cells[column] = sample.Labels[i]
	}
	b := at.UTC().AppendFormat(c.line[:0], time.RFC3339Nano)
	b = append(append(b, ','), sample.Metric.Name...)
	for _, cell := range c.cells {
		b = append(b, ',')
		if strings.ContainsAny(cell, ",\"\r\n") {
			cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
		}
		b = append(b, cell...)
	}
	b = appendValue(append(b, ','), sample.Value)
	c.line = append(b, '\n')
	_, err := c.out.Write(c.line)
	return err
}

// Flush writes what is buffered.
func (c *CSV) Flush() error { return c.out.Flush() }
