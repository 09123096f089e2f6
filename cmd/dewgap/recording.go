package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/collector/recording"
	"dewgap/config"
)

// recordingRows reads recordings one after the other, as one.
type recordingRows struct {
	site  analyze.Site
	names []string  // still to be opened
	from  time.Time // the first of them is read from the hour on that holds this instant
	name  string
	in    *recording.Reader
	last  time.Time
	warn  io.Writer
	rows  int
}

// openRecordings returns the recordings as one and the configured site with the
// inputs that they hold.
func openRecordings(cfg *config.Config, recordings []string, warn io.Writer) (*recordingRows, error) {
	var paths []string
	seen := map[string]bool{}
	for _, name := range recordings {
		columns, err := recording.Columns(name)
		if err != nil {
			return nil, err
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
		return nil, fmt.Errorf("%s does not fit %s:\n%w", recordings[0], cfg.File, err)
	}
	return &recordingRows{site: site, names: recordings, warn: warn}, nil
}

// Next reads the next row into row. It returns io.EOF after the last row of
// the last recording.
func (t *recordingRows) Next(ctx context.Context, row *reading.Row) error {
	if t.rows%1024 == 0 && ctx.Err() != nil {
		return ctx.Err()
	}
	for {
		if t.in == nil {
			if len(t.names) == 0 {
				return io.EOF
			}
			var err error
			t.name, t.names = t.names[0], t.names[1:]
			if t.in, err = recording.OpenAt(t.name, t.from, recording.Lookup(t.site.Points), t.site.Atmosphere); err != nil {
				return err
			}
			t.from = time.Time{}
		}
		err := t.in.Next(row)
		switch {
		case err == nil:
			if row.Time.Before(t.last) {
				return fmt.Errorf("%s begins at %s, before the recording ahead of it ends at %s: give recordings in order of time",
					t.name, row.Time.Format(time.RFC3339), t.last.Format(time.RFC3339))
			}
			t.last = row.Time
			t.rows++
			return nil
		case errors.Is(err, recording.ErrTruncated):
			// A power cut ends a recording so; what was whole has been replayed.
			fmt.Fprintf(t.warn, "dewgap: %v; its %d whole rows are used\n", err, t.in.Rows())
		case !errors.Is(err, io.EOF):
			return err
		}
		if err := t.Close(); err != nil {
			return err
		}
	}
}

// Close closes what is open.
func (t *recordingRows) Close() error {
	if t.in == nil {
		return nil
	}
	in := t.in
	t.in = nil
	return in.Close()
}
