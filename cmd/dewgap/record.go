package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector"
	"dewgap/collector/recording"
	"dewgap/config"
)

type recordCmd struct {
	Config string        `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	For    time.Duration `required:"" placeholder:"3h" help:"How long to record; Ctrl-C ends earlier, and the recording is whole."`
	Out    string        `required:"" type:"path" placeholder:"FILE" help:"The recording; compressed if the name ends in .gz. An existing file is kept unless --force is given."`
	Force  bool          `help:"Replace an existing file."`

	clock collector.Clock // for tests; nil: the real one
}

func (recordCmd) Help() string {
	return "Reads the devices as run does and writes their values to a recording, without the daemon: for a commissioning, from a laptop. Meanwhile shows the phase, superheat and lowest superheat of each compressor on standard error. Where that is no terminal, it prints plain lines. The recording can be replayed."
}

// flushEvery is how much a crash can lose of the recording.
const flushEvery = 3 * time.Second

func (v *recordCmd) Run(ctx context.Context, con console) (err error) {
	if v.For < time.Second {
		return usageError{fmt.Errorf("--for %s: record for a second at least", v.For)}
	}
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	if err := cfg.Runnable(); err != nil {
		return err
	}
	files := outputsOf(cfg, v.Force, nil, output.File{Option: "--out", Path: v.Out})
	if err := files.Check(); err != nil {
		return err
	}
	clock := v.clock
	if clock == nil {
		clock = collector.NewRealClock()
	}
	// The table shows the state of the sources; a log would break its lines.
	sources, err := openSources(cfg, clock, slog.New(slog.DiscardHandler), "record")
	if err != nil {
		return err
	}
	p, err := pipeline.New(cfg.Site)
	if err != nil {
		return err
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	file, err := files.Create(v.Out)
	if err != nil {
		return fmt.Errorf("begin the recording: %w", err)
	}
	out, err := recording.NewWriter(file, cfg.Site.Points)
	if err != nil {
		return fmt.Errorf("begin the recording: %w", err)
	}
	opened.Push("finish the recording", out.Close)
	r := recorder{
		clock: clock, hub: collector.NewHub(cfg.Site.Points), out: out, pipeline: p,
		until: clock.Now().Add(v.For), sample: cfg.Daemon.Sample, good: make([]bool, len(cfg.Site.Points)),
		progress: newProgress(con.Err, cfg.Units, v.Out, clock.Now(), v.For, sources),
	}
	sourcing, stop := context.WithCancel(ctx)
	group, sourcing := errgroup.WithContext(sourcing)
	for _, s := range sources {
		group.Go(func() error { return s.Run(sourcing, r.hub) })
	}
	group.Go(func() error {
		defer stop()
		return r.run(sourcing)
	})
	err = errors.Join(group.Wait(), opened.Close())
	r.progress.end()
	if err != nil {
		return fmt.Errorf("%w; %s holds %d rows", err, v.Out, r.rows)
	}
	r.printSummary(con, v, cfg.Site.Points)
	return nil
}

// recorder writes a row at each tick and shows it.
type recorder struct {
	clock    collector.Clock
	hub      *collector.Hub
	out      *recording.Writer
	pipeline *pipeline.Pipeline
	until    time.Time
	sample   time.Duration
	progress *progress
	rows     int
	good     []bool // by point: a good value has been read
	flushed  time.Time
}

// run records until the time is over or ctx ends.
func (r *recorder) run(ctx context.Context) error {
	pace := collector.NewTicker(r.clock, r.sample)
	for {
		tick, err := pace.Next(ctx)
		if errors.Is(err, collector.ErrSetBack) {
			return fmt.Errorf("%w: a recording cannot go back in time; the rows so far are kept, start another recording", err)
		}
		if err != nil || tick.Time.After(r.until) {
			return nil
		}
		row := r.hub.Take(tick.Time)
		if err := r.out.Append(row); err != nil {
			return fmt.Errorf("write the recording: %w", err)
		}
		r.rows++
		if now := time.Now(); now.Sub(r.flushed) >= flushEvery {
			r.flushed = now
			if err := r.out.Flush(); err != nil {
				return fmt.Errorf("write the recording: %w", err)
			}
		}
		for i := range row.Readings {
			if x := &row.Readings[i]; x.Quality == reading.Good {
				r.good[x.Point] = true
			}
		}
		result, _ := r.pipeline.Step(&row)
		r.progress.show(result, r.rows)
	}
}

// printSummary prints how many rows were recorded, and which points had no good
// value.
func (r *recorder) printSummary(con console, v *recordCmd, points []reading.Point) {
	var never []string
	for i, good := range r.good {
		if !good {
			never = append(never, points[i].Path)
		}
	}
	fmt.Fprintf(con.Err, "%s: %d rows\n", v.Out, r.rows)
	if len(never) > 0 {
		fmt.Fprintf(con.Err, "warning: not one good value of %s; dewgap check --live shows why\n", strings.Join(never, ", "))
	}
	fmt.Fprintf(con.Err, "next: dewgap report commissioning --config %s --out record.html %s\n", v.Config, v.Out)
}
