package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/history"
	"dewgap/cmd/dewgap/internal/notify"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/remotewrite"
	"dewgap/cmd/dewgap/internal/snapshot"
	"dewgap/collector"
	"dewgap/collector/recording"
	"dewgap/config"
)

// generation is what runs under one configuration: its sources, the main loop,
// the recorder.
type generation struct {
	config   *config.Config
	site     analyze.Site
	sources  []collector.Source
	hub      *collector.Hub
	pipeline *pipeline.Pipeline
	tally    *pipeline.Tally
	recorder *recording.Recorder // nil when not recording
	history  *history.Collector  // nil when not recording
	notifier *notify.Notifier
	uplink   *remotewrite.Writer
	result   analyze.Result // of the last row, until the next
	shown    bool           // there is one, and it is published
}

// diskReserve is the space that recordings leave free for journal and exposure:
// both files of the journal, and as much again. Common practice, no source.
const diskReserve = 4 * journalLimit

// NotifyDir is where the daemon keeps what each target was told, below its data
// directory.
const NotifyDir = "notify"

// RemoteWriteDir is where the daemon keeps what each receiver of metrics has, below
// its data directory.
const RemoteWriteDir = "remote_write"

// HistoryDir is where the daemon keeps minutes and quarters of an hour, below its
// data directory.
const HistoryDir = "history"

// historyShare is the part of the recordings' limit that history may have beside
// them; as much time fits in it, about.
const historyShare = 8

// RecordingsDir is where the daemon keeps recordings, below its data directory.
const RecordingsDir = "recordings"

// newGeneration prepares what runs under a configuration. It starts and connects
// nothing, and leaves nothing open when it fails.
func (d *Daemon) newGeneration(cfg *config.Config) (*generation, error) {
	p, err := pipeline.New(cfg.Site)
	if err != nil {
		return nil, err
	}
	sources, err := d.Sources(cfg)
	if err != nil {
		return nil, err
	}
	g := &generation{config: cfg, site: cfg.Site, sources: sources, pipeline: p,
		hub: collector.NewHub(cfg.Site.Points), tally: pipeline.NewTally(cfg.Site)}
	if cfg.Daemon.Record {
		g.recorder = recording.NewRecorder(filepath.Join(d.Config.Daemon.Data, RecordingsDir), cfg.Site.Points,
			recording.Limits{Bytes: cfg.Daemon.RecordLimit, Every: cfg.Daemon.RecordEvery, Reserve: diskReserve}, d.reportRecorder)
		g.history = history.NewCollector(cfg.Site, d.history.Add)
	}
	g.notifier = notify.New(notify.Setting{
		Site: cfg.Site.Name, Targets: cfg.Notify, Dir: filepath.Join(d.Config.Daemon.Data, NotifyDir), Page: cfg.Daemon.Page,
		Now: d.Clock.Now, Renderer: rendererOf(cfg), Condition: d.condition, Log: d.log,
	})
	g.uplink = remotewrite.New(remotewrite.Setting{
		Site: cfg.Site, Receivers: cfg.RemoteWrite, Recordings: filepath.Join(d.Config.Daemon.Data, RecordingsDir),
		Dir: filepath.Join(d.Config.Daemon.Data, RemoteWriteDir), Now: d.Clock.Now, Board: d.board, Build: d.Version, Log: d.log,
	})
	return g, nil
}

// errReplaced ends a generation when the next one is ready.
var errReplaced = errors.New("the next generation is ready")

// run runs a generation until ctx ends, or until the next one is ready, which it
// returns.
func (d *Daemon) run(ctx context.Context, g *generation) (next *generation, err error) {
	group, ctx := errgroup.WithContext(ctx)
	for _, source := range g.sources {
		group.Go(func() error {
			if err := source.Run(ctx, g.hub); err != nil {
				return fmt.Errorf("source %s: %w", source.Name(), err)
			}
			return nil
		})
	}
	if g.recorder != nil {
		group.Go(func() error { return g.recorder.Run(ctx) })
		d.history.Follow(g.history)
		group.Go(func() error { return d.history.Run(ctx) })
		group.Go(func() error { d.rebuildHistory(ctx, g); return nil })
	}
	group.Go(func() error { return g.notifier.Run(ctx, d.journal) })
	group.Go(func() error { return g.uplink.Run(ctx) })
	group.Go(func() error {
		next, err = d.loop(ctx, g)
		if err == nil && next != nil {
			return errReplaced
		}
		return err
	})
	if err = group.Wait(); errors.Is(err, errReplaced) {
		err = nil
	}
	if g.recorder != nil {
		g.history.Flush()
		d.history.Follow(nil)
		if err := d.history.Drain(); err != nil {
			d.log.Error("history is not complete; it will be made from the recordings", "error", err)
		}
		lost := g.recorder.Close()
		if next == nil {
			err = errors.Join(err, lost)
		} else if lost != nil { // a disk that fails does not end the daemon
			d.log.Error("recording could not be finished", "error", lost)
		}
	}
	return next, err
}

// rebuildHistory makes what earlier recordings hold and the history does not.
func (d *Daemon) rebuildHistory(ctx context.Context, g *generation) {
	err := d.history.Rebuild(ctx, g.site, filepath.Join(d.Config.Daemon.Data, RecordingsDir), d.started)
	if err != nil && ctx.Err() == nil {
		d.log.Warn("history of earlier recordings is not complete", "error", err)
	}
}

// loop takes a row at each tick until ctx ends or the next generation is ready.
func (d *Daemon) loop(ctx context.Context, g *generation) (next *generation, err error) {
	pace := collector.NewTicker(d.Clock, g.config.Daemon.Sample)
	var last time.Time
	for {
		tick, err := d.nextTick(ctx, g, pace, last)
		for _, jump := range tick.Jumps {
			d.warn("clock", jump.At, clockStep(jump))
		}
		if errors.Is(err, collector.ErrSetBack) {
			return d.restartAfterClockSetBack(g, last)
		}
		if err != nil {
			return nil, nil // ctx ended
		}
		d.late += uint64(tick.Skipped)
		row := g.hub.Take(tick.Time)
		last = row.Time
		d.step(g, &row)
		if d.OnRow != nil {
			d.logFault("report to the service manager", d.OnRow(g.config.Daemon.Sample))
		}
		select {
		case <-d.ReloadRequests:
			if next := d.reload(g, row.Time); next != nil {
				return next, nil
			}
		default:
		}
	}
}

// nextTick waits for the next instant and executes operations meanwhile.
func (d *Daemon) nextTick(ctx context.Context, g *generation, pace *collector.Ticker, last time.Time) (tick collector.Tick, err error) {
	due := make(chan struct{})
	go func() {
		defer close(due)
		tick, err = pace.Next(ctx)
	}()
	for {
		select {
		case <-due:
			return tick, err
		case op := <-d.operations:
			d.execute(g, op, last)
		}
	}
}

// step records, analyses, journals and publishes one row, in this order: every
// event that is shown is on the disk, and the analysis sees what the recording
// holds.
func (d *Daemon) step(g *generation, row *reading.Row) {
	if g.recorder != nil {
		g.recorder.Append(*row)
	}
	result, changes := g.pipeline.Step(row)
	g.tally.Add(result)
	if g.history != nil {
		g.history.Step(g.pipeline, result)
	}
	if gap := g.pipeline.Tracker.Gap(); !gap.From.IsZero() {
		d.warn("gap", gap.To, gapOf(gap))
	}
	open := g.pipeline.Tracker.Open()
	d.save(g, row.Time, changes, open)
	g.result, g.shown = result, true
	d.publish(g, result)
}

// save writes what changed, and the exposure, to the disk, and logs what is there
// then. Exposure is never written ahead of the journal: an event that a crash
// takes is not counted.
func (d *Daemon) save(g *generation, at time.Time, changes []alert.Change, open []alert.Event) {
	d.journal.Add(changes...)
	d.journal.Refresh(at, open, false)
	err := d.journal.Commit()
	d.logFault("journal", err)
	status := d.journal.Status()
	if status.Anew > d.anew {
		d.anew = status.Anew
		d.warn("journal", at, evidence.New(evidence.JournalAnew))
	}
	if status.Unshown == 0 {
		d.logFault("ledger", d.saveExposure(g, at, len(open) > 0, len(changes) > 0))
	}
	if d.logChanges() {
		g.notifier.Wake()
	}
	if taken, ok := g.notifier.Taken(); ok {
		d.journal.Keep(taken)
	}
	d.logFault("day book", d.days.Save(at, g.pipeline.TrendDays, false))
}

// saveExposure writes the totals that the journal's entries so far belong to.
func (d *Daemon) saveExposure(g *generation, at time.Time, open, now bool) error {
	err := d.ledger.Save(at, d.journal.Last(), g.pipeline.Tracker.Totals, open, now)
	if err != nil && d.journal.FreeReserve(err) {
		err = d.ledger.Save(at, d.journal.Last(), g.pipeline.Tracker.Totals, open, now)
	}
	return err
}

// maxLogged is how many changes of events are logged at one row.
const maxLogged = 1000

// logChanges logs the changes of events that came to the disk since the last
// call, and reports whether there were any.
func (d *Daemon) logChanges() bool {
	entries, _ := d.journal.After(d.logged, maxLogged)
	for _, e := range entries {
		d.logged = e.Number
		d.logChange(e.Change)
	}
	return len(entries) > 0
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
		args = append(args, "evidence", d.renderer().Text(ev.Evidence[0]))
	}
	level := slog.LevelWarn
	switch c.Kind {
	case alert.Closed, alert.Withdrawn:
		level = slog.LevelInfo
	case alert.Acknowledged:
		level = slog.LevelInfo
		args = append(args, "by", ev.Acknowledged.By, "note", ev.Acknowledged.Note)
	case alert.FoundOnSite:
		level = slog.LevelInfo
		args = append(args, "by", ev.Found.By, "found", ev.Found.Cause, "found_circuit", ev.Found.Circuit, "note", ev.Found.Note)
	}
	d.log.Log(context.Background(), level, "event "+c.Kind.String(), args...)
}

// recentEvents is how many closed events the page shows.
const recentEvents = 20

// publish shows a row to page, metrics and API.
func (d *Daemon) publish(g *generation, result analyze.Result) {
	s := snapshot.Of(g.site, g.pipeline, result)
	s.Mode, s.Note, s.Units = d.Mode, d.Note, g.config.Units.String()
	s.Compared = g.config.Compared()
	s.ConfigFault = d.configFault
	s.Maintenance = d.journal.AllMaintenance()
	// What is on the disk, and nothing else.
	s.Open, s.Recent = d.journal.Open(), d.recent()
	s.Totals = d.ledger.Written(s.Totals)
	s.Journal = d.journal.Status()
	s.LedgerFault, s.LedgerErrors = d.ledger.Status()
	s.SetAside = append(s.Journal.SetAside, d.ledger.SetAside()...)
	if text := d.days.Fault(); text != "" {
		s.Faults = append(s.Faults, snapshot.Fault{What: "trends", Text: text})
	}
	s.LateRows = d.late
	if g.recorder != nil {
		if rows, err := g.recorder.Lost(); err != nil {
			s.Faults = append(s.Faults, snapshot.Fault{What: "recording", Text: fmt.Sprintf("%d rows lost: %v", rows, err)})
		}
	}
	if err := d.history.Fault(); err != nil {
		s.Faults = append(s.Faults, snapshot.Fault{What: "recording", Text: err.Error()})
	}
	for _, source := range g.sources {
		s.Sources = append(s.Sources, source.Status())
	}
	s.Targets = g.notifier.Status()
	s.Receivers = g.uplink.Status()
	d.board.Publish(s)
}

// condition describes how the watching goes, for signs of life.
func (d *Daemon) condition() string {
	s, age := d.board.Current()
	if s == nil {
		return "No row has been read yet."
	}
	text := fmt.Sprintf("%d compressors; newest row %s.", len(s.States), s.Time.UTC().Format(time.RFC3339))
	if age > snapshot.MaxAge {
		text = fmt.Sprintf("NOT watched: the newest row is %s old.", units.Span(age))
	}
	open := map[string]int{}
	for i := range s.Open {
		open[s.Open[i].Severity]++
	}
	text += fmt.Sprintf(" Open events: %d", len(s.Open))
	for _, severity := range []string{"major", "critical", "minor", "warning", "risk", "notice"} {
		if open[severity] > 0 {
			text += fmt.Sprintf(", %d %s", open[severity], severity)
		}
	}
	bad := 0
	for i := range s.Inputs {
		if s.Inputs[i].Quality != reading.Good {
			bad++
		}
	}
	text += fmt.Sprintf(". Inputs without a good value: %d of %d.", bad, len(s.Inputs))
	if faults := s.AllFaults(); len(faults) > 0 {
		text += fmt.Sprintf(" The gateway reports %d faults, the first: %s.", len(faults), faults[0].Text)
	}
	return text
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

// renderer puts evidence into the site's words.
func (d *Daemon) renderer() evidence.Renderer {
	return rendererOf(d.current.config)
}

func rendererOf(cfg *config.Config) evidence.Renderer {
	return evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere, Pressure: cfg.Site.PressureUnit()}
}

func (d *Daemon) reportRecorder(err error) {
	if err != nil {
		d.log.Error("recording fails", "error", err)
	} else {
		d.log.Info("recording works again")
	}
}
