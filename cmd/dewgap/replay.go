package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/watch"
	"dewgap/collector/recording"
	"dewgap/config"
)

type replayVerb struct {
	Config     string   `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site; where inputs come from is not needed."`
	Events     string   `type:"path" placeholder:"FILE" help:"Write events as JSON lines."`
	States     string   `type:"path" placeholder:"FILE" help:"Write one row for each compressor and recording row as CSV."`
	Recordings []string `arg:"" name:"recording" type:"path" help:"Recordings in order of time; a name that ends in .gz is compressed."`
}

func (replayVerb) Help() string {
	return "Runs recordings through the same analysis as the live daemon, in their own time. Without --events and --states it prints a summary. Exit status 0: replayed, whatever was found."
}

func (v *replayVerb) Run(ctx context.Context, con console) error {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	site, err := recordedSite(cfg, v.Recordings)
	if err != nil {
		return err
	}
	run, err := newReplay(site, con.Err)
	if err != nil {
		return err
	}
	var closers []func() error
	if v.States != "" {
		f, err := os.Create(v.States)
		if err != nil {
			return err
		}
		if run.states, err = watch.NewStatesWriter(f); err != nil {
			return err
		}
		closers = append(closers, run.states.Flush, f.Close)
	}
	quiet := v.Events != "" || v.States != ""
	if !quiet {
		run.tally = watch.NewTally(site)
	}
	for _, name := range v.Recordings {
		if err := run.file(ctx, name); err != nil {
			return errors.Join(append([]error{err}, closeAll(closers)...)...)
		}
	}
	if err := errors.Join(closeAll(closers)...); err != nil {
		return err
	}
	run.history.Refresh(run.line.Book.Open())
	events := run.history.Events()
	if v.Events != "" {
		if err := writeEvents(v.Events, events); err != nil {
			return err
		}
	}
	if !quiet {
		run.tally.Write(con.Out, cfg.Units, events)
	}
	return nil
}

func closeAll(closers []func() error) []error {
	var errs []error
	for _, closer := range closers {
		errs = append(errs, closer())
	}
	return errs
}

// recordedSite is the configured site with the inputs that the recordings hold.
func recordedSite(cfg *config.Config, recordings []string) (analyze.Site, error) {
	var paths []string
	seen := map[string]bool{}
	for _, name := range recordings {
		columns, err := recording.Columns(name)
		if err != nil {
			return analyze.Site{}, err
		}
		for _, c := range columns {
			if !seen[c.Point.Path] {
				seen[c.Point.Path] = true
				paths = append(paths, c.Point.Path)
			}
		}
	}
	site, err := cfg.ForRecording(paths)
	if err != nil {
		return analyze.Site{}, fmt.Errorf("%s does not fit %s:\n%w", recordings[0], cfg.File, err)
	}
	return site, nil
}

// replay steps one line through recordings.
type replay struct {
	site    analyze.Site
	line    *watch.Line
	history *alert.History
	states  *watch.StatesWriter // nil when not asked for
	tally   *watch.Tally        // nil when not asked for
	index   map[string]int
	last    time.Time
	warn    io.Writer
}

func newReplay(site analyze.Site, warn io.Writer) (*replay, error) {
	line, err := watch.NewLine(site)
	if err != nil {
		return nil, err
	}
	r := &replay{site: site, line: line, history: alert.NewHistory(0), index: map[string]int{}, warn: warn}
	for i, p := range site.Points {
		r.index[p.Path] = i
	}
	return r, nil
}

// file replays one recording after those before it.
func (r *replay) file(ctx context.Context, name string) (err error) {
	in, err := recording.Open(name, func(path string) (int, error) {
		if i, ok := r.index[path]; ok {
			return i, nil
		}
		return 0, errors.New("not configured") // cannot be: the site was made from these columns
	}, r.site.Atmosphere)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	var row reading.Row
	for n := 0; ; n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		switch err := in.Next(&row); {
		case errors.Is(err, io.EOF):
			return nil
		case errors.Is(err, recording.ErrTruncated):
			// A power cut ends a recording so; what was whole has been replayed.
			fmt.Fprintf(r.warn, "dewgap: %v; its %d whole rows are replayed\n", err, in.Rows())
			return nil
		case err != nil:
			return err
		}
		if row.Time.Before(r.last) {
			return fmt.Errorf("%s begins at %s, before the recording ahead of it ends at %s: give recordings in order of time",
				name, row.Time.Format(time.RFC3339), r.last.Format(time.RFC3339))
		}
		r.last = row.Time
		result, changes := r.line.Step(&row)
		r.history.Apply(changes...)
		if r.tally != nil {
			r.tally.Add(result)
		}
		if r.states != nil {
			if err := r.states.Write(result.States); err != nil {
				return err
			}
		}
	}
}

func writeEvents(name string, events []alert.Event) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(alert.WriteEvents(f, events), f.Close())
}
