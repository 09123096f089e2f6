// Package daemon is the main loop of dewgap: it takes a row at each tick, steps
// the pipeline, writes journal, ledger and recording, and publishes a snapshot.
//
// It may import every package of the tree but simulators. Nothing may import it
// but the commands that run a site.
package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/cmd/dewgap/internal/access"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/history"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/pipeline"
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
	// Reload reads the configuration again whenever ReloadRequests delivers a signal.
	// Both may be nil.
	Reload         func() (*config.Config, error)
	ReloadRequests <-chan os.Signal
	// ReloadAccess, where set, reads who may reach the page again, for a configuration.
	ReloadAccess func(*config.Config) (*access.Policy, error)
	// OnRow, where set, is called by the main loop after each row that is on the
	// disk and published, with the time to the next one.
	OnRow func(period time.Duration) error
	// Listen is where page and metrics answer. Open and Run close it, whether
	// they succeed or fail.
	Listen  net.Listener
	Access  *access.Policy // who may reach the page; nil: everybody who can reach Listen
	Log     *slog.Logger
	Version metrics.Build
	Mode    string // "live" or "demo", for the page
	Note    string // beside the mode, for people
}

// Daemon watches one site. It holds what outlives a configuration; a generation
// holds what belongs to one.
type Daemon struct {
	Setting
	journal *alert.Journal
	ledger  *alert.Ledger
	days    *alert.TrendStore
	board   *snapshot.Board
	history *history.Store
	started time.Time // by the plant's clock: what came before is made from recordings
	log     *slog.Logger
	current *generation
	opened  cleanup.Stack // what Open and Run have opened

	operations chan operation
	ended      chan struct{} // closed when the main loop takes no more operations

	anew        uint64 // times that the journal was written anew, as far as was noted
	logged      uint64 // number of the newest entry of the journal that was logged
	late        uint64
	configFault string            // why the last reload changed nothing
	faults      map[string]string // the last text logged of each fault
}

// journalLimit is the size at which the journal turns over.
const journalLimit = 8 << 20

// Open continues from the journal and ledger that an earlier run left, and
// prepares Run. It opens no device. When a part of it fails, Open closes what it
// opened before, the listener among it.
func Open(s Setting) (d *Daemon, err error) {
	d = &Daemon{Setting: s, board: snapshot.NewBoard(time.Now), log: s.Log, faults: map[string]string{},
		operations: make(chan operation), ended: make(chan struct{})}
	defer func() {
		if err != nil {
			d.opened.CloseInto(&err)
			d = nil
		}
	}()
	d.history = history.Open(filepath.Join(s.Config.Daemon.Data, HistoryDir), s.Config.Daemon.RecordLimit/historyShare)
	d.started = s.Clock.Now()
	if s.Listen != nil {
		d.opened.PushListener("close the page's listener", s.Listen)
	}
	if d.current, err = d.newGeneration(s.Config); err != nil {
		return d, err
	}
	data := s.Config.Daemon.Data
	if err := os.MkdirAll(data, 0o750); err != nil {
		return d, fmt.Errorf("make the data directory: %w; set daemon.data to one that this user may write", err)
	}
	if d.journal, err = alert.OpenJournal(data, journalLimit); err != nil {
		return d, err
	}
	d.opened.Push("close the journal", d.journal.Close)
	d.journal.SetRenderer(d.renderer())
	if found := d.journal.Status().Recovered.String(); found != "" {
		d.log.Warn("the journal was repaired at opening", "found", found)
	}
	ledger, totals, err := alert.OpenLedger(data)
	if err != nil {
		d.log.Error("the exposure of an earlier run cannot be read", "error", err)
	}
	d.ledger = ledger
	book, days, err := alert.OpenTrendStore(data)
	if err != nil {
		d.log.Error("the days of slow trends cannot be read", "error", err)
	}
	d.days = book
	d.restore(totals, days)
	return d, nil
}

// Run watches until ctx ends, then closes what Open opened. Everything stops
// within five seconds.
func (d *Daemon) Run(ctx context.Context) (err error) {
	d.saveAtEnd()
	defer d.opened.CloseInto(&err)
	d.note(d.Clock.Now(), evidence.DaemonStarted, evidence.Name("version", d.Version.Version))
	site := d.current.site
	d.log.Info("watching", "site", site.Name, "inputs", len(site.Points), "page", d.Access.Scheme()+"://"+d.Listen.Addr().String())

	group, ctx := errgroup.WithContext(ctx)
	server := web.New(web.Parts{
		Board: d.board, Events: d.journal, Access: d.Access, Version: d.Version.Version, Log: d.log,
		History: d.history, Operations: d, Loopback: web.IsLoopback(d.Listen.Addr()),
		Metrics: metrics.Handler(metrics.NewRegistry(d.board, d.Version), d.log),
	})
	group.Go(func() error { return server.Run(ctx, d.Listen) })
	group.Go(func() error { return d.work(ctx) })
	return group.Wait()
}

// saveAtEnd adds the clean-ups that write the state of the run: open events and a
// note to the journal, exposure, days of slow trends.
func (d *Daemon) saveAtEnd() {
	d.opened.Push("save the exposure", func() error {
		if d.journal.Status().Unshown > 0 {
			return nil // not ahead of the journal
		}
		return d.saveExposure(d.current, d.Clock.Now(), false, true)
	})
	d.opened.Push("save the days of slow trends", func() error {
		return d.days.Save(d.Clock.Now(), d.current.pipeline.TrendDays, true)
	})
	d.opened.Push("note the stop in the journal", func() error {
		now := d.Clock.Now()
		d.journal.Refresh(now, d.current.pipeline.Tracker.Open(), true)
		d.note(now, evidence.DaemonStopped, evidence.Name("version", d.Version.Version))
		return d.journal.Commit()
	})
}

// Close closes what Open opened. It is for a daemon whose Run is never called;
// after Run it does nothing.
func (d *Daemon) Close() error { return d.opened.Close() }

// work runs one generation after the other until ctx ends.
func (d *Daemon) work(ctx context.Context) error {
	defer close(d.ended)
	for {
		next, err := d.run(ctx, d.current)
		if err != nil || next == nil {
			return err
		}
		d.current = next
		d.journal.SetRenderer(d.renderer())
	}
}

// logFault logs a fault of the daemon itself when it begins, changes or ends.
func (d *Daemon) logFault(what string, err error) {
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

// Summary returns what the run has shown, for a person. Call it after Run.
func (d *Daemon) Summary() (*pipeline.Tally, []alert.Event) {
	return d.current.tally, d.journal.Events(time.Time{}, false)
}
