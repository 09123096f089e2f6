package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/collector/recording"
	"dewgap/config"
)

// recordingsDir is where the daemon keeps recordings, below its data directory.
const recordingsDir = "recordings"

// past is what a site left behind: journal, ledger and recordings of its data
// directory, or recordings that were given.
type past struct {
	hasJournal bool
	events     []alert.Event // of the journal
	totals     []alert.Totals
	totalsAt   time.Time
	recordings []string // in order of time
	given      bool     // the recordings were named by the user
	remarks    []string // what could not be read, for people
}

// readPast reads journal and ledger without a lock, also while a daemon runs. data
// is a data directory, empty for the configuration's. It fails where there is
// neither a journal nor a recording.
func readPast(cfg *config.Config, data string, recordings []string, warn io.Writer) (*past, error) {
	p := &past{recordings: recordings, given: len(recordings) > 0}
	dir := data
	if dir == "" {
		dir = cfg.Daemon.Data
	}
	_, err := os.Stat(filepath.Join(dir, alert.JournalFile))
	switch {
	case dir != "" && err == nil:
		if err := p.readData(dir, warn); err != nil {
			return nil, err
		}
	case data != "" || len(recordings) == 0 || err != nil && dir != "" && !errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("no journal in %q: give --data with the daemon's data directory, or recordings to be replayed", dir)
	}
	return p, nil
}

func (p *past) readData(dir string, warn io.Writer) error {
	events, found, err := alert.ReadEvents(dir)
	if err != nil {
		return err
	}
	if text := found.String(); text != "" {
		fmt.Fprintln(warn, "dewgap:", text)
		p.remarks = append(p.remarks, "The journal was read with damage: "+text+".")
	}
	p.hasJournal, p.events = true, events
	if p.totalsAt, p.totals, err = alert.ReadLedger(dir); err != nil {
		fmt.Fprintln(warn, "dewgap:", err)
		p.remarks = append(p.remarks, "The exposure ledger: "+err.Error()+".")
	}
	if p.given {
		return nil
	}
	if p.recordings, err = filepath.Glob(filepath.Join(dir, recordingsDir, "recording-*.csv.gz")); err != nil {
		return err
	}
	slices.Sort(p.recordings) // names hold the time of the first row
	return nil
}

// recordedSince drops the recordings of the data directory that end before an
// instant, as far as their names show it.
func (p *past) recordedSince(since time.Time) {
	if p.given || since.IsZero() {
		return
	}
	for len(p.recordings) > 1 {
		if at, ok := recording.FirstOf(p.recordings[1]); !ok || at.After(since) {
			return
		}
		p.recordings = p.recordings[1:]
	}
}

// parseSince reads --since.
func parseSince(text string) (time.Time, error) { return parseInstant("--since", text) }

// parseInstant reads an option: a date, which is midnight in UTC, or an instant;
// zero where it is not given.
func parseInstant(option, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.RFC3339, time.DateOnly} {
		if t, err := time.Parse(layout, text); err == nil {
			return t.UTC(), nil
		}
	}
	return time.Time{}, usageError{fmt.Errorf("%s %q is no time: write a date such as 2026-03-01, or an instant such as 2026-03-01T06:00:00Z", option, text)}
}
