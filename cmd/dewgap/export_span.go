package main

import (
	"bufio"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/openmetrics"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector/recording"
	"dewgap/config"
)

const spanHelp = `With --metrics, --states or --recording: what was known in a span, as one file. Names, labels and values are those of /metrics at that time: the recordings run through the same analysis. What was not known is absent. What no recording holds (sources, targets, faults of the gateway) is left out. OpenMetrics is for promtool tsdb create-blocks-from openmetrics, and each sample bears the time of its row. CSV of metrics has a line for each sample; CSV of states and recordings has the form of dewgap replay --states and of a recording.

With --from the analysis begins a day earlier, as far as there are recordings, and no more of them is read unless counters need it. Counters are complete only where the recordings go back to when the site's exposure began to count. Where they do not, counters are left out, and this is reported.`

// warmUp is how long before the span the analysis begins: each circuit of a site
// has been through its defrosts by then. Common practice, no source.
const warmUp = 24 * time.Hour

// everySample is the default time between samples of metrics: that of a usual
// scrape. Common practice, no source.
const everySample = 15 * time.Second

// spanWriter writes one form of a span. Row is called for each row of the span that
// is due, after the pipeline has taken it.
type spanWriter interface {
	row(row *reading.Row, result analyze.Result, p *pipeline.Pipeline) error
	close() error
}

// span writes what was known in a span.
func (v *exportCmd) span(ctx context.Context, con console, cfg *config.Config, p *past) (err error) {
	from, err := parseInstant("--from", v.From)
	if err != nil {
		return err
	}
	to, err := parseInstant("--to", v.To)
	if err != nil {
		return err
	}
	if !to.IsZero() && !from.Before(to) {
		return usageError{fmt.Errorf("--to %s is not after --from %s", v.To, v.From)}
	}
	if !from.IsZero() {
		p.recordedSince(from.Add(-warmUp))
	}
	files := outputsOf(cfg, v.Force, p.recordings, output.File{Option: "--out", Path: v.Out})
	if err := files.Check(); err != nil {
		return err
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	in, err := openRecordings(cfg, p.recordings, con.Err)
	if err != nil {
		return err
	}
	opened.Push("close the recording", in.Close)
	if !from.IsZero() && !v.countsFrom(p) {
		in.from = from.Add(-warmUp)
	}
	line, err := pipeline.New(in.site)
	if err != nil {
		return err
	}
	f, err := files.Create(v.Out)
	if err != nil {
		return err
	}
	opened.Push("close "+v.Out, f.Close)
	var out io.Writer = f
	if strings.HasSuffix(v.Out, ".gz") {
		z := gzip.NewWriter(f)
		opened.Push("finish "+v.Out, z.Close)
		out = z
	}
	w, err := v.writer(out, in.site, p, con.Err)
	if err != nil {
		return err
	}
	rows := 0
	err = v.pass(ctx, in, line, from, to, func(row *reading.Row, result analyze.Result) error {
		rows++
		return w.row(row, result, line)
	})
	if err = errors.Join(err, w.close()); err != nil {
		return err
	}
	if rows == 0 {
		fmt.Fprintln(con.Err, "dewgap: no row lies in the span")
	}
	return nil
}

// pass steps line through all rows up to the end of the span and calls each with
// those that lie in it and are due.
func (v *exportCmd) pass(ctx context.Context, in pipeline.Rows, line *pipeline.Pipeline, from, to time.Time, each func(*reading.Row, analyze.Result) error) error {
	every := v.Every
	if every == 0 && v.openMetrics() || every == 0 && v.Metrics {
		every = everySample
	}
	var row reading.Row
	var last int64
	for begun := false; ; {
		err := in.Next(ctx, &row)
		if errors.Is(err, io.EOF) || err == nil && !to.IsZero() && !row.Time.Before(to) {
			return nil
		}
		if err != nil {
			return err
		}
		result, _ := line.Step(&row)
		if row.Time.Before(from) {
			continue
		}
		if every > 0 {
			slot := row.Time.UnixNano() / int64(every)
			if begun && slot == last {
				continue
			}
			begun, last = true, slot
		}
		if err := each(&row, result); err != nil {
			return err
		}
	}
}

// countsFrom reports whether counters that are exported need the recordings from the
// first row on.
func (v *exportCmd) countsFrom(p *past) bool {
	if !v.Metrics {
		return false
	}
	first, ok := recording.FirstOf(p.recordings[0])
	since := countedSince(p.totals)
	return !ok || since.IsZero() || !first.After(since)
}

func (v *exportCmd) openMetrics() bool {
	return v.Format == "openmetrics" || v.Format == "" && v.Metrics
}

func (v *exportCmd) writer(out io.Writer, site analyze.Site, p *past, warn io.Writer) (spanWriter, error) {
	parts := metrics.OfRows
	switch {
	case v.States:
		parts = metrics.Plant
	case v.Recording:
		parts = metrics.Inputs
	}
	samples := sampleWriter{site: site, parts: parts, since: countedSince(p.totals), warn: warn}
	switch {
	case v.openMetrics():
		text, err := openmetrics.NewText(filepath.Dir(v.Out))
		if err != nil {
			return nil, err
		}
		samples.add, samples.finish = text.Add, func() error { return errors.Join(text.Write(out), text.Close()) }
		return &samples, nil
	case v.Metrics:
		csv := openmetrics.NewCSV(out)
		samples.add, samples.finish = csv.Add, csv.Flush
		return &samples, nil
	case v.States:
		states, err := pipeline.NewStatesWriter(out)
		return statesCSV{states}, err
	default:
		w := &recordingCSV{out: bufio.NewWriter(out), encoder: recording.NewEncoder(site.Points)}
		_, err := w.out.Write(w.encoder.AppendHeader(nil))
		return w, err
	}
}

// countedSince returns when a site's exposure began to count; zero where there is
// none.
func countedSince(totals []alert.Totals) (since time.Time) {
	for i := range totals {
		if t := totals[i].Since; !t.IsZero() && (since.IsZero() || t.Before(since)) {
			since = t
		}
	}
	return since
}

// sampleWriter writes metrics.
type sampleWriter struct {
	site   analyze.Site
	parts  metrics.Part
	add    func(time.Time, metrics.Sample) error
	finish func() error
	since  time.Time // the live counters count from here on
	warn   io.Writer

	begun   bool
	partial bool // the counters of the replay are not those of the daemon
}

func (w *sampleWriter) row(row *reading.Row, result analyze.Result, p *pipeline.Pipeline) (err error) {
	s := snapshot.Of(w.site, p, result)
	if !w.begun {
		w.begun = true
		if first := countedSince(s.Totals); !w.since.IsZero() && first.After(w.since) && w.parts&metrics.Counts != 0 {
			w.partial = true
			fmt.Fprintf(w.warn, "dewgap: counters are left out: the site has counted since %s, and the recordings used begin at %s\n",
				w.since.UTC().Format(time.RFC3339), first.UTC().Format(time.RFC3339))
		}
	}
	metrics.Of(s, w.parts, func(sample metrics.Sample) {
		if err == nil && !(w.partial && sample.Metric.Counter) {
			err = w.add(row.Time, sample)
		}
	})
	return err
}

func (w *sampleWriter) close() error { return w.finish() }

// statesCSV writes the contract's states.csv.
type statesCSV struct{ *pipeline.StatesWriter }

func (w statesCSV) row(_ *reading.Row, result analyze.Result, _ *pipeline.Pipeline) error {
	return w.Write(result.States)
}

func (w statesCSV) close() error { return w.Flush() }

// recordingCSV writes a recording.
type recordingCSV struct {
	out     *bufio.Writer
	encoder *recording.Encoder
	line    []byte
}

func (w *recordingCSV) row(row *reading.Row, _ analyze.Result, _ *pipeline.Pipeline) error {
	w.line = w.encoder.AppendRow(w.line[:0], *row)
	_, err := w.out.Write(w.line)
	return err
}

func (w *recordingCSV) close() error { return w.out.Flush() }
