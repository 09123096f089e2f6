package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/exposition"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/cmd/dewgap/internal/web"
	"dewgap/collector"
	"dewgap/collector/recording"
	"dewgap/config"
)

// Setting is what a daemon runs with beside its configuration.
type Setting struct {
	Config  *config.Config
	Clock   collector.Clock
	Sources []collector.Source
	Listen  net.Listener // the daemon closes it
	Log     *slog.Logger
	Version exposition.Build
	Mode    string // "live" or "demo", for the page
	Note    string // beside the mode, for people
}

// Daemon watches one site: sources, main loop, journal, recorder and page.
type Daemon struct {
	Setting
	site     analyze.Site
	line     *Line
	hub      *collector.Hub
	journal  *alert.Journal
	ledger   *alert.Ledger
	recorder *recording.Recorder // nil when not recording
	board    *snapshot.Board
	log      *slog.Logger
	tally    *Tally

	late   uint64
	faults map[string]string // said once, until they change
}

// recentEvents is how many closed events the page shows.
const recentEvents = 20

// journalLimit is the size at which the journal turns over.
const journalLimit = 8 << 20

// Open takes up the journal and ledger that an earlier run left and makes
// ready to run. It opens no device.
func Open(s Setting) (*Daemon, error) {
	line, err := NewLine(s.Config.Site)
	if err != nil {
		return nil, err
	}
	data := s.Config.Daemon.Data
	if err := os.MkdirAll(data, 0o750); err != nil {
		return nil, fmt.Errorf("make the data directory: %w; set daemon.data to one that this user may write", err)
	}
	journal, err := alert.OpenJournal(data, journalLimit)
	if err != nil {
		return nil, err
	}
	d := &Daemon{
		Setting: s, site: s.Config.Site, line: line, journal: journal,
		hub:    collector.NewHub(s.Config.Site.Points),
		board:  snapshot.NewBoard(time.Now),
		log:    s.Log,
		tally:  NewTally(s.Config.Site),
		faults: map[string]string{},
	}
	if found := journal.Status().Recovered.String(); found != "" {
		d.log.Warn("journal mended at opening", "found", found)
	}
	ledger, totals, err := alert.OpenLedger(data)
	if err != nil {
		d.log.Error("exposure of an earlier run could not be read", "error", err)
	}
	d.ledger = ledger
	line.Book.Restore(journal.Open(), totals)
	if s.Config.Daemon.Record {
		d.recorder = recording.NewRecorder(filepath.Join(data, RecordingsDir), d.site.Points, s.Config.Daemon.RecordLimit, d.reportRecorder)
	}
	return d, nil
}

// RecordingsDir is where the daemon keeps recordings, below its data directory.
const RecordingsDir = "recordings"

// Run watches until ctx ends. Everything stops within five seconds; what was
// opened is closed in reverse order.
func (d *Daemon) Run(ctx context.Context) error {
	d.journal.Note(alert.Note{At: d.Clock.Now(), What: "start", Text: d.Version.Version})
	d.log.Info("watching", "site", d.site.Name, "inputs", len(d.site.Points), "page", "http://"+d.Listen.Addr().String())

	group, ctx := errgroup.WithContext(ctx)
	for _, source := range d.Sources {
		group.Go(func() error {
			if err := source.Run(ctx, d.hub); err != nil {
				return fmt.Errorf("source %s: %w", source.Name(), err)
			}
			return nil
		})
	}
	if d.recorder != nil {
		group.Go(func() error { return d.recorder.Run(ctx) })
	}
	server := web.New(web.Parts{
		Board: d.board, Events: d.journal, Metrics: d.metrics(), Version: d.Version.Version, Log: d.log,
	})
	group.Go(func() error { return server.Run(ctx, d.Listen) })
	group.Go(func() error { return d.loop(ctx) })
	err := group.Wait()
	return errors.Join(err, d.close())
}

func (d *Daemon) metrics() http.Handler {
	return exposition.Handler(exposition.NewRegistry(d.board, d.Version), d.log)
}

// loop takes a row at each tick until ctx ends.
func (d *Daemon) loop(ctx context.Context) error {
	pace := collector.NewPace(d.Clock, d.Config.Daemon.Sample)
	for {
		tick, err := pace.Next(ctx)
		if err != nil {
			return nil // ctx ended
		}
		d.late += uint64(tick.Skipped)
		for _, jump := range tick.Jumps {
			d.log.Warn("clock", "what", jump.String())
			d.journal.Note(alert.Note{At: jump.At, What: "clock", Text: jump.String()})
		}
		row := d.hub.Take(tick.Time)
		d.step(&row)
	}
}

// step records, analyses, journals and shows one row, in this order: nobody is
// shown an event that is not on the disk, and what is analysed is what the
// recording holds.
func (d *Daemon) step(row *reading.Row) {
	if d.recorder != nil {
		d.recorder.Append(*row)
	}
	result, changes := d.line.Step(row)
	d.tally.Add(result)
	if gap := d.line.Book.Gap(); !gap.From.IsZero() {
		text := fmt.Sprintf("nothing was read for %s", gap.To.Sub(gap.From).Round(time.Second))
		d.log.Warn("gap", "what", text)
		d.journal.Note(alert.Note{At: gap.To, What: "gap", Text: text})
	}
	d.journal.Add(changes...)
	open := d.line.Book.Open()
	d.journal.Refresh(row.Time, open, false)
	d.say("journal", d.journal.Commit())
	d.say("ledger", d.ledger.Keep(row.Time, d.line.Book.Totals, len(changes) > 0))
	for _, c := range changes {
		d.logChange(c)
	}
	d.publish(result, open)
}

func (d *Daemon) logChange(c alert.Change) {
	ev := &c.Event
	args := []any{"event", ev.ID, "kind", ev.Kind, "severity", ev.Severity, "group", ev.Group, "compressor", ev.Compressor, "phase", ev.Phase}
	if ev.MinSuperheatK != nil {
		args = append(args, "min_superheat_k", *ev.MinSuperheatK)
	}
	if len(ev.Circuits) > 0 {
		args = append(args, "circuit", ev.Circuits[0].Name)
	}
	if len(ev.Causes) > 0 {
		args = append(args, "cause", ev.Causes[0].Cause)
	}
	if len(ev.Evidence) > 0 {
		args = append(args, "evidence", ev.Evidence[0])
	}
	level := slog.LevelWarn
	if c.Kind == alert.Closed {
		level = slog.LevelInfo
	}
	d.log.Log(context.Background(), level, "event "+c.Kind.String(), args...)
}

// publish shows a row to page, metrics and API.
func (d *Daemon) publish(result analyze.Result, open []alert.Event) {
	s := snapshot.Of(d.site, result)
	s.Mode, s.Note, s.Units = d.Mode, d.Note, d.Config.Units.String()
	s.Open = open
	s.Recent = d.recent()
	s.Totals = d.line.Book.Totals()
	s.Journal = d.journal.Status()
	s.LedgerFault, s.LedgerErrors = d.ledger.Status()
	s.LateRows = d.late
	if d.recorder != nil {
		if rows, err := d.recorder.Lost(); err != nil {
			s.Faults = append(s.Faults, snapshot.Fault{What: "recording", Text: fmt.Sprintf("%d rows lost: %v", rows, err)})
		}
	}
	for _, source := range d.Sources {
		s.Sources = append(s.Sources, source.Status())
	}
	d.board.Publish(s)
}

// recent returns the last closed events, newest first.
func (d *Daemon) recent() []alert.Event {
	all := d.journal.Events(time.Time{}, false)
	var recent []alert.Event
	for i := len(all) - 1; i >= 0 && len(recent) < recentEvents; i-- {
		if all[i].Closed != nil {
			recent = append(recent, all[i])
		}
	}
	return recent
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

func (d *Daemon) reportRecorder(err error) {
	if err != nil {
		d.log.Error("recording fails", "error", err)
	} else {
		d.log.Info("recording works again")
	}
}

// close ends what Run kept open, in reverse order of opening.
func (d *Daemon) close() error {
	var errs []error
	if d.recorder != nil {
		errs = append(errs, d.recorder.Close())
	}
	now := d.Clock.Now()
	d.journal.Refresh(now, d.line.Book.Open(), true)
	d.journal.Note(alert.Note{At: now, What: "stop", Text: d.Version.Version})
	errs = append(errs, d.ledger.Keep(now, d.line.Book.Totals, true), d.journal.Close())
	return errors.Join(errs...)
}

// Summary returns what the run has shown, for a person. Call it after Run.
func (d *Daemon) Summary() (*Tally, []alert.Event) {
	return d.tally, d.journal.Events(time.Time{}, false)
}
