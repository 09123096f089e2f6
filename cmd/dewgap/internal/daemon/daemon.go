// Package daemon is the main loop of dewgap: it takes a row at each tick, steps
// the pipeline, writes journal, ledger and recording, and publishes a snapshot.
//
// It may import every package of the tree but simulators. Nothing may import it
// but the commands that run a site.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"time"

	"dewgap/cmd/dewgap/internal/pipeline"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/web"
	"dewgap/collector"
	"dewgap/config"
)

// Setting is what a daemon runs with beside its configuration.
type Setting struct {
	Config *config.Config
	Clock  collector.Clock
	// Sources prepares the buses and brokers of a configuration; it connects
	// to nothing.
	Sources func(*config.Config) ([]collector.Source, error)
	// Reload reads the configuration again whenever Again delivers something.
	// Both may be nil.
	Reload  func() (*config.Config, error)
	Again   <-chan os.Signal
	Listen  net.Listener // the daemon closes it
	Log     *slog.Logger
	Version metrics.Build
	Mode    string // "live" or "demo", for the page
	Note    string // beside the mode, for people
}

// Daemon watches one site. What outlives a configuration is here; what goes
// with one is a shift.
type Daemon struct {
	Setting
	journal *alert.Journal
	ledger  *alert.Ledger
	days    *alert.DayBook
	board   *snapshot.Board
	log     *slog.Logger
	shift   *shift

	late        uint64
	configFault string            // why the last reload changed nothing
	faults      map[string]string // said once, until they change
}

// journalLimit is the size at which the journal turns over.
const journalLimit = 8 << 20

// Open takes up the journal and ledger that an earlier run left and makes
// ready to run. It opens no device.
func Open(s Setting) (*Daemon, error) {
	data := s.Config.Daemon.Data
	d := &Daemon{Setting: s, board: snapshot.NewBoard(time.Now), log: s.Log, faults: map[string]string{}}
	var err error
	if d.shift, err = d.newShift(s.Config); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(data, 0o750); err != nil {
		return nil, fmt.Errorf("make the data directory: %w; set daemon.data to one that this user may write", err)
	}
	if d.journal, err = alert.OpenJournal(data, journalLimit); err != nil {
		return nil, err
	}
	if found := d.journal.Status().Recovered.String(); found != "" {
		d.log.Warn("journal mended at opening", "found", found)
	}
	ledger, totals, err := alert.OpenLedger(data)
	if err != nil {
		d.log.Error("exposure of an earlier run could not be read", "error", err)
	}
	d.ledger = ledger
	book, days, err := alert.OpenDayBook(data)
	if err != nil {
		d.log.Error("days of slow trends could not be read", "error", err)
	}
	d.days = book
	d.takeUp(totals, days)
	return d, nil
}

// Run watches until ctx ends. Everything stops within five seconds; what was
// opened is closed in reverse order.
func (d *Daemon) Run(ctx context.Context) error {
	d.journal.Note(alert.Note{At: d.Clock.Now(), What: "start", Text: d.Version.Version})
	site := d.shift.site
	d.log.Info("watching", "site", site.Name, "inputs", len(site.Points), "page", "http://"+d.Listen.Addr().String())

	group, ctx := errgroup.WithContext(ctx)
	server := web.New(web.Parts{
		Board: d.board, Events: d.journal, Version: d.Version.Version, Log: d.log,
		Metrics: metrics.Handler(metrics.NewRegistry(d.board, d.Version), d.log),
	})
	group.Go(func() error { return server.Run(ctx, d.Listen) })
	group.Go(func() error { return d.work(ctx) })
	err := group.Wait()
	return errors.Join(err, d.close())
}

// work does one shift after the other until ctx ends.
func (d *Daemon) work(ctx context.Context) error {
	for {
		next, err := d.run(ctx, d.shift)
		if err != nil || next == nil {
			return err
		}
		d.shift = next
	}
}

// say logs a fault of the daemon itself when it begins, changes or ends.
func (d *Daemon) say(what string, err error) {
	text := ""
	if err != nil {
		text = err.Error()
	}
	if d.faults[what] == text {
		return
	}
	d.faults[what] = text
	if err != nil {
		d.log.Error(what+" fails", "error", err)
	} else {
		d.log.Info(what + " works again")
	}
}

// close ends what Run kept open, in reverse order of opening.
func (d *Daemon) close() error {
	now := d.Clock.Now()
	d.journal.Refresh(now, d.shift.line.Book.Open(), true)
	d.journal.Note(alert.Note{At: now, What: "stop", Text: d.Version.Version})
	return errors.Join(
		d.days.Keep(now, d.shift.line.TrendDays, true),
		d.ledger.Keep(now, d.shift.line.Book.Totals, true),
		d.journal.Close())
}

// Summary returns what the run has shown, for a person. Call it after Run.
func (d *Daemon) Summary() (*pipeline.Tally, []alert.Event) {
	return d.shift.tally, d.journal.Events(time.Time{}, false)
}
