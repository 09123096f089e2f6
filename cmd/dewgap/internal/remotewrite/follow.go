package remotewrite

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/collector/recording"
)

const (
	// lookEvery is the time between two looks at a recording that may have grown.
	lookEvery = 5 * time.Second
	// ahead is how far a row's time may be in front of the clock: it is waited
	// for. What lies further ahead was recorded under a clock that was wrong.
	ahead = time.Minute
)

// follower reads the recordings of a directory in the order of their names, which
// is that of time, and waits for more at the end of the last.
type follower struct {
	dir  string
	site analyze.Site
	now  func() time.Time
	said func(format string, args ...any) // what a person should know
}

// list returns the recordings that do not begin in the future.
func (f *follower) list() ([]recording.File, error) {
	files, err := recording.Files(f.dir)
	return slices.DeleteFunc(files, func(n recording.File) bool { return n.First.After(f.now().Add(ahead)) }), err
}

// after returns the recording that follows one, or the one that begins last before
// from when path is empty.
func (f *follower) after(path string, from time.Time) (recording.File, bool) {
	files, err := f.list()
	if err != nil {
		f.said("%v", err)
		return recording.File{}, false
	}
	if path != "" {
		i := slices.IndexFunc(files, func(n recording.File) bool { return n.Path > path })
		if i < 0 {
			return recording.File{}, false
		}
		return files[i], true
	}
	if len(files) == 0 {
		return recording.File{}, false
	}
	i := 0
	for i+1 < len(files) && !files[i+1].First.After(from) {
		i++
	}
	return files[i], true
}

// run calls each with every row from the hour on that holds the instant from, until
// ctx ends. The row is valid until each returns.
func (f *follower) run(ctx context.Context, from time.Time, each func(*reading.Row) error) error {
	path := ""
	for {
		next, ok := f.after(path, from)
		if !ok {
			if err := sleep(ctx, lookEvery); err != nil {
				return err
			}
			continue
		}
		path = next.Path
		err := f.read(ctx, path, from, each)
		from = time.Time{} // of what follows, every hour
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errStop):
			return err
		case err != nil && !errors.Is(err, recording.ErrTruncated): // a power cut leaves one truncated
			f.said("a recording is passed over: %v", err)
		}
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			f.said("%s was deleted to make room before it had been sent to its end; what was deleted after it is lost, too", filepath.Base(path))
		}
	}
}

// errStop is wrapped by each to end run.
var errStop = errors.New("stop")

// read calls each with the rows of one recording from the hour on that holds the
// instant from, up to its end when it is finished.
func (f *follower) read(ctx context.Context, path string, from time.Time, each func(*reading.Row) error) (err error) {
	// An input that the configuration no longer has is read and left out.
	known := len(f.site.Points)
	lookup := recording.Lookup(f.site.Points)
	rows, err := recording.OpenThrough(path, from, func(file *os.File) io.Reader {
		return &growing{ctx: ctx, file: file, finished: func() bool {
			_, ok := f.after(path, time.Time{})
			return ok
		}}
	}, func(input string) (int, error) {
		if i, err := lookup(input); err == nil {
			return i, nil
		}
		return known, nil
	}, f.site.Atmosphere)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	var row reading.Row
	for {
		err := rows.Next(&row)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		row.Readings = slices.DeleteFunc(row.Readings, func(r reading.Reading) bool { return r.Point >= known })
		wait := row.Time.Sub(f.now())
		if wait > ahead {
			continue // recorded under a clock that ran ahead
		}
		if err := sleep(ctx, wait); err != nil {
			return err
		}
		if err := each(&row); err != nil {
			return err
		}
	}
}

// growing reads a file that is still being written: at its end it waits for more
// until the file is finished or ctx ends.
type growing struct {
	ctx      context.Context
	file     *os.File
	finished func() bool
	last     bool // what is read now was written before the file was finished
}

func (g *growing) Read(p []byte) (int, error) {
	for {
		n, err := g.file.Read(p)
		if n > 0 || err != nil && err != io.EOF || g.last {
			return n, err
		}
		if g.last = g.finished(); g.last {
			continue
		}
		if err := sleep(g.ctx, lookEvery); err != nil {
			return 0, err
		}
	}
}

// sleep waits, or returns the error of ctx when that ends before.
func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
