package history

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/collector/recording"
)

// warmUp is replayed ahead of what is missing, so that phases are known where it
// begins: longer than a defrost with its pulldown. Common practice, no source.
const warmUp = 3 * time.Hour

// Rebuild makes what recordings before the instant until hold and the store does
// not. Hours that the store holds in part stay as they are.
func (s *Store) Rebuild(ctx context.Context, site analyze.Site, recordings string, until time.Time) error {
	files, err := recording.Files(recordings)
	if err != nil {
		return err
	}
	files = slices.DeleteFunc(files, func(f recording.File) bool { return !f.First.Before(until) })
	if len(files) == 0 {
		return nil
	}
	have := map[int64]bool{}
	hourOf := func(t time.Time) int64 { return t.Unix() / 3600 }
	begins := s.begins()
	if err := s.each(0, files[0].First, until, func(b *block) { have[hourOf(b.From)] = true }); err != nil {
		return err
	}
	var errs []error
	for i, f := range files {
		end := until
		if i+1 < len(files) {
			end = files[i+1].First
		}
		missing := time.Time{}
		for at := f.First; at.Before(end); at = at.Truncate(time.Hour).Add(time.Hour) {
			if !have[hourOf(at)] && !at.Before(begins) {
				missing = at
				break
			}
		}
		if missing.IsZero() {
			continue
		}
		before := ""
		if i > 0 && missing.Sub(f.First) < warmUp {
			before = files[i-1].Path
		}
		if err := s.replay(ctx, site, before, f.Path, missing, end, have); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// replay plays a recording from a while before missing until end, and keeps the hours
// that the store does not have. The recording before it, where given, leads in.
func (s *Store) replay(ctx context.Context, site analyze.Site, before, path string, missing, end time.Time, have map[int64]bool) error {
	p, err := pipeline.New(site)
	if err != nil {
		return err
	}
	made := map[int64]bool{}
	c := NewCollector(site, func(level int, b *block) {
		if hour := b.From.Unix() / 3600; !have[hour] {
			made[hour] = true
			s.Add(level, b)
		}
	})
	begin := missing.Add(-warmUp)
	for _, path := range []string{before, path} {
		if path == "" {
			continue
		}
		if err := play(ctx, site, path, begin, end, func(row *reading.Row) {
			result, _ := p.Step(row)
			if !result.Time.Before(missing) {
				c.Step(p, result)
			}
		}); err != nil {
			return err
		}
	}
	c.Flush()
	for hour := range made {
		have[hour] = true
	}
	return s.Drain()
}

// play calls each with the rows of a recording from begin until before end.
func play(ctx context.Context, site analyze.Site, path string, begin, end time.Time, each func(*reading.Row)) error {
	known := len(site.Points)
	lookup := recording.Lookup(site.Points)
	r, err := recording.OpenAt(path, begin, func(input string) (int, error) {
		if i, err := lookup(input); err == nil {
			return i, nil
		}
		return known, nil // an input that the configuration no longer has
	}, site.Atmosphere)
	if err != nil {
		return fmt.Errorf("history from recordings: %w", err)
	}
	defer r.Close()
	var row reading.Row
	for n := 0; ; n++ {
		if n%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		err := r.Next(&row)
		if err == io.EOF || errors.Is(err, recording.ErrTruncated) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("history from recordings: %w", err)
		}
		if row.Time.Before(begin) {
			continue
		}
		if !row.Time.Before(end) {
			return nil
		}
		row.Readings = slices.DeleteFunc(row.Readings, func(r reading.Reading) bool { return r.Point >= known })
		each(&row)
	}
}
