package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/episodes"
	"dewgap/config"
)

type exportCmd struct {
	Episodes   bool     `help:"Write each closed floodback, and whatever somebody looked into, as a case with its recording."`
	Config     string   `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	Data       string   `type:"path" placeholder:"DIR" help:"Data directory with journal and recordings; by default the configuration's."`
	Out        string   `required:"" type:"path" placeholder:"DIR" help:"Write here; a directory that is new or empty."`
	HideDates  bool     `help:"Move each episode to a fixed date; the time of day in UTC stays."`
	Recordings []string `arg:"" optional:"" name:"recording" type:"path" help:"Recordings in order of time; by default those of the data directory."`
}

func (exportCmd) Help() string {
	return "With --episodes: for each closed floodback, and each event of another kind with what was found, a directory with the recording from two hours before to one hour after, the site's configuration, what was said and what was found. Names of site, groups, compressors and circuits are replaced, and free text is left out, so that it can be shared. Altitude, settings and measured values stay: read it before you send it. Without a journal the events are those that the recordings show. Reads only; a daemon may be running."
}

func (v *exportCmd) Run(ctx context.Context, con console) error {
	if !v.Episodes {
		return usageError{errors.New("what is to be exported? give --episodes")}
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
		return errors.New("there is no recording in the data directory: give recordings; an episode without one shows nothing")
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
