package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/episodes"
	"dewgap/config"
)

type exportCmd struct {
	Episodes   bool          `help:"Write each closed floodback, and whatever somebody looked into, as a case with its recording."`
	Metrics    bool          `help:"Write what the metrics showed in a span."`
	States     bool          `help:"Write the states of compressors and circuits in a span."`
	Recording  bool          `help:"Write what was read in a span."`
	Format     string        `placeholder:"openmetrics|csv" enum:",openmetrics,csv" default:"" help:"Form of a span: OpenMetrics with time stamps (the default of --metrics), or CSV (of the others)."`
	From       string        `placeholder:"TIME" help:"Begin of the span: a date (UTC) or an instant such as 2026-03-01T06:00:00Z; by default the first row there is."`
	To         string        `placeholder:"TIME" help:"End of the span, which is not part of it; by default after the last row."`
	Every      time.Duration `placeholder:"TIME" help:"Time from one sample to the next; by default 15s for metrics and all that is OpenMetrics, every row otherwise."`
	Force      bool          `help:"Replace an existing file."`
	Config     string        `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	Data       string        `type:"path" placeholder:"DIR" help:"Data directory with journal and recordings; by default the configuration's."`
	Out        string        `required:"" type:"path" placeholder:"PATH" help:"Write here: for episodes a directory that is new or empty, otherwise a file; a name that ends in .gz is compressed."`
	HideDates  bool          `help:"Move each episode to a fixed date; the time of day in UTC stays."`
	Recordings []string      `arg:"" optional:"" name:"recording" type:"path" help:"Recordings in order of time; by default those of the data directory."`
}

func (exportCmd) Help() string {
	return spanHelp + "\n\nWith --episodes: for each closed floodback, and each event of another kind with what was found, a directory with the recording from two hours before to one hour after, the site's configuration, what was said and what was found. Names of site, groups, compressors and circuits are replaced, and free text is left out, so that it can be shared. Altitude, settings and measured values stay: read it before you send it. Without a journal the events are those that the recordings show. Reads only; a daemon may be running."
}

func (v *exportCmd) Run(ctx context.Context, con console) error {
	if err := v.what(); err != nil {
		return err
	}
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	p, err := readPast(cfg, v.Data, v.Recordings, con.Err)
	if err != nil {
		return err
	}
	if len(p.recordings) == 0 {
		return errors.New("there is no recording in the data directory: give recordings; without one there is nothing to export")
	}
	if !v.Episodes {
		return v.span(ctx, con, cfg, p)
	}
	if !p.hasJournal {
		replayed, err := replayPast(ctx, cfg, p.recordings, con.Err, nil)
		if err != nil {
			return err
		}
		p.events = replayed.events
	}
	results, err := v.write(ctx, cfg, p, con.Err)
	if err != nil {
		return err
	}
	written := 0
	for _, r := range results {
		if r.Dir == "" {
			fmt.Fprintf(con.Err, "%s: left out: %s\n", r.ID, r.Skip)
			continue
		}
		written++
		fmt.Fprintf(con.Err, "%s: %s\n", r.ID, r.Dir)
	}
	fmt.Fprintf(con.Err, "%d of %d episodes written\n", written, len(results))
	return nil
}

// what checks that one thing is to be exported, with the options that belong to it.
func (v *exportCmd) what() error {
	chosen := 0
	for _, on := range []bool{v.Episodes, v.Metrics, v.States, v.Recording} {
		if on {
			chosen++
		}
	}
	switch {
	case chosen == 0:
		return usageError{errors.New("what is to be exported? give --metrics, --states, --recording or --episodes")}
	case chosen > 1:
		return usageError{errors.New("one thing at a time: give one of --metrics, --states, --recording and --episodes")}
	case v.Episodes && (v.Format != "" || v.From != "" || v.To != "" || v.Every != 0 || v.Force):
		return usageError{errors.New("--format, --from, --to, --every and --force are for a span, not for --episodes")}
	case !v.Episodes && v.HideDates:
		return usageError{errors.New("--hide-dates is for --episodes")}
	case v.Every < 0:
		return usageError{fmt.Errorf("--every %s is no time between samples", v.Every)}
	}
	return nil
}

func (v *exportCmd) write(ctx context.Context, cfg *config.Config, p *past, warn io.Writer) (results []episodes.Result, err error) {
	text, err := os.ReadFile(cfg.File)
	if err != nil {
		return nil, err
	}
	if err := emptyDirectory(v.Out); err != nil {
		return nil, err
	}
	in, err := openRecordings(cfg, p.recordings, warn)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	w := episodes.NewWriter(episodes.Setting{Dir: v.Out, Config: cfg, Text: text, Site: in.site, Events: episodes.Select(p.events), HideDates: v.HideDates})
	var row reading.Row
	for {
		err := in.Next(ctx, &row)
		if err == nil {
			err = w.Take(&row)
		}
		if errors.Is(err, io.EOF) {
			return w.Close()
		}
		if err != nil {
			_, closing := w.Close()
			return nil, errors.Join(err, closing)
		}
	}
}

// emptyDirectory makes dir, or accepts it where it holds nothing: an export
// replaces nothing.
func emptyDirectory(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return os.MkdirAll(dir, 0o755)
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("--out %s holds files: choose a new or an empty directory", dir)
	}
	return nil
}
