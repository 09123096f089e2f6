package daemon

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/trend"
	"dewgap/cmd/dewgap/internal/access"
	"dewgap/config"
)

// reload reads the configuration again and returns the generation under it. When
// it has a fault, reload changes nothing, shows the fault and returns nil.
func (d *Daemon) reload(g *generation, at time.Time) *generation {
	next, policy, err := d.loadGeneration()
	d.logFault("config", err)
	if err != nil {
		d.configFault = fmt.Sprintf("the new configuration has a fault, so the one from before stays in force: %v", err)
		return nil
	}
	d.configFault = ""
	if policy != nil {
		d.Access.Replace(policy)
	}
	for _, key := range needsRestart(g.config.Daemon, next.config.Daemon) {
		d.log.Warn("configuration", "warning", key+" takes effect at the next start")
	}
	for _, w := range next.config.Warnings {
		d.log.Warn("configuration", "warning", w.Error())
	}
	code := evidence.ConfigSameSite
	if sameSite(g.site, next.site) {
		// The baselines that the analysis has learned stay.
		next.pipeline, next.tally = g.pipeline, g.tally
	} else {
		code = evidence.ConfigNewSite
		// What leaves the configuration may come back.
		d.logFault("ledger", d.saveExposure(g, at, false, true))
		next.pipeline.Tracker.Restore(g.pipeline.Tracker.Open(), d.ledger.With(g.pipeline.Tracker.Totals()))
		next.pipeline.RestoreTrends(g.pipeline.TrendDays(), at)
	}
	d.log.Info("configuration", "what", d.renderer().Text(evidence.New(code)))
	d.note(at, code)
	return next
}

// loadGeneration returns the generation under the present configuration file, and
// who may reach the page then; nil where that is not read again.
func (d *Daemon) loadGeneration() (*generation, *access.Policy, error) {
	cfg, err := d.Reload()
	if err != nil {
		return nil, nil, err
	}
	if err := cfg.Runnable(); err != nil {
		return nil, nil, err
	}
	var policy *access.Policy
	if d.ReloadAccess != nil {
		if policy, err = d.ReloadAccess(cfg); err == nil {
			err = d.Access.Replaceable(policy)
		}
		if err != nil {
			return nil, nil, err
		}
	}
	next, err := d.newGeneration(cfg)
	return next, policy, err
}

// needsRestart returns the keys that differ and are read only at the start.
func needsRestart(before, now config.Daemon) (keys []string) {
	if before.Listen != now.Listen {
		keys = append(keys, "daemon.listen")
	}
	if before.Data != now.Data {
		keys = append(keys, "daemon.data")
	}
	if before.Log != now.Log {
		keys = append(keys, "daemon.log")
	}
	return keys
}

// restartAfterClockSetBack returns a generation under the same configuration after
// the clock was set back. Rows cannot go back in time, so analysis, recording and
// open events end with the last row of the wrong time. Exposure continues.
func (d *Daemon) restartAfterClockSetBack(g *generation, last time.Time) (*generation, error) {
	next, err := d.newGeneration(g.config)
	if err != nil {
		return nil, err
	}
	ended := closedBy(g.pipeline.Tracker.Open(), last, evidence.ClosedClockSetBack)
	d.save(g, last, ended, nil)
	next.pipeline.Tracker.Restore(nil, g.pipeline.Tracker.Totals())
	next.pipeline.RestoreTrends(g.pipeline.TrendDays(), d.Clock.Now())
	return next, nil
}

// restore continues the events that an earlier run left open. It closes those
// that were opened under a clock that ran ahead of this one.
func (d *Daemon) restore(totals []alert.Totals, days []trend.Days) {
	now := d.Clock.Now()
	var open, ahead []alert.Event
	for _, ev := range d.journal.Open() {
		if ev.Opened.After(now.Add(time.Minute)) {
			ahead = append(ahead, ev)
		} else {
			open = append(open, ev)
		}
	}
	d.journal.Add(closedBy(ahead, time.Time{}, evidence.ClosedClockAhead)...)
	d.current.pipeline.Tracker.Restore(open, totals)
	d.journal.NumberAbove(d.ledger.Entry())
	if len(totals) == 0 || d.ledger.Entry() > 0 { // a ledger of old does not state what it counts
		entries, _ := d.journal.After(0, math.MaxInt)
		d.current.pipeline.Tracker.Recount(entries, d.ledger.Entry())
	}
	d.logged = d.journal.Last()
	d.current.pipeline.RestoreTrends(days, now)
}

// closedBy closes events at an instant, but never before they opened.
func closedBy(open []alert.Event, at time.Time, why evidence.Code) (ended []alert.Change) {
	for _, ev := range open {
		at := at.UTC()
		if at.Before(ev.Opened) {
			at = ev.Opened
		}
		ev.Closed = &at
		ev.Evidence = append(slices.Clone(ev.Evidence), evidence.New(why))
		ended = append(ended, alert.Change{Kind: alert.Closed, At: at, Event: ev})
	}
	return ended
}
