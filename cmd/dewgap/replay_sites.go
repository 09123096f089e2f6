package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"dewgap/analyze/evidence"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
)

// siteFile is the configuration in the directory of a site.
const siteFile = "site.toml"

// replaySites replays the recordings of many sites, some at a time. A site that
// cannot be replayed keeps no other one from it.
func (v *replayCmd) replaySites(ctx context.Context, con console) error {
	switch {
	case v.Config != "" || len(v.Recordings) > 0 || v.Events != "" || v.States != "" || v.Journal != "" || v.Speed != 0 || v.Listen != "":
		return usageError{errors.New("--sites replays whole directories: give --sites, --out and perhaps --jobs, and nothing else")}
	case v.Out == "":
		return usageError{errors.New("where do the events go? give --out DIR")}
	case v.Jobs < 0:
		return usageError{fmt.Errorf("--jobs %d is no number of sites at a time", v.Jobs)}
	}
	dirs, err := filepath.Glob(filepath.Join(v.Sites, "*", siteFile))
	if err != nil {
		return err
	}
	if len(dirs) == 0 {
		return fmt.Errorf("there is no SITE/%s in %s", siteFile, v.Sites)
	}
	if err := os.MkdirAll(v.Out, 0o755); err != nil {
		return err
	}
	jobs := v.Jobs
	if jobs == 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	var group errgroup.Group
	group.SetLimit(jobs)
	var mu sync.Mutex // over con.Err and failed
	failed := 0
	for _, file := range dirs {
		group.Go(func() error {
			dir := filepath.Dir(file)
			var remarks strings.Builder
			rows, events, err := v.replaySite(ctx, dir, &remarks)
			mu.Lock()
			defer mu.Unlock()
			io.WriteString(con.Err, remarks.String())
			if err != nil {
				failed++
				fmt.Fprintf(con.Err, "%s: %v\n", filepath.Base(dir), err)
			} else {
				fmt.Fprintf(con.Err, "%s: %d rows, %d events\n", filepath.Base(dir), rows, events)
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d sites could not be replayed", failed, len(dirs))
	}
	return nil
}

// replaySite replays the recordings of one site and writes its events. The file is
// there only when it is whole.
func (v *replayCmd) replaySite(ctx context.Context, dir string, warn io.Writer) (rows, events int, err error) {
	cfg, err := config.Load(filepath.Join(dir, siteFile))
	if err != nil {
		return 0, 0, err
	}
	recordings, err := recordingsIn(dir)
	if err != nil {
		return 0, 0, err
	}
	out := filepath.Join(v.Out, filepath.Base(dir)+eventsSuffix)
	files := outputsOf(cfg, v.Force, recordings, output.File{Option: "--out", Path: out})
	if err := files.Check(); err != nil {
		return 0, 0, err
	}
	in, err := openRecordings(cfg, recordings, warn)
	if err != nil {
		return 0, 0, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	p, err := pipeline.New(in.site)
	if err != nil {
		return 0, 0, err
	}
	history, err := p.Run(ctx, in, nil)
	if err != nil {
		return 0, 0, err
	}
	part := out + ".part"
	all := history.Events()
	files.Force = true // what an interrupted run left
	if err := writeEvents(files, part, all, evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere, Pressure: cfg.Site.PressureUnit()}); err != nil {
		return 0, 0, errors.Join(err, os.Remove(part))
	}
	return in.rows, len(all), os.Rename(part, out)
}

// recordingsIn returns the recordings of a site's directory, or of recordings below
// it, in order of their names, which is that of time for those of the daemon.
func recordingsIn(dir string) ([]string, error) {
	var found []string
	for _, pattern := range []string{"*.csv", "*.csv.gz", recordingsDir + "/*.csv", recordingsDir + "/*.csv.gz"} {
		names, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			return nil, err
		}
		found = append(found, names...)
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("there is no recording in %s or its %s", dir, recordingsDir)
	}
	slices.Sort(found)
	return found, nil
}
