package daemon

import (
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/collector"
)

// note puts a remark into the journal.
func (d *Daemon) note(at time.Time, code evidence.Code, values ...evidence.Value) {
	d.journal.Note(alert.Note{At: at, What: evidence.New(code, values...)})
}

// warn logs a remark in the site's units and puts it into the journal.
func (d *Daemon) warn(subject string, at time.Time, what evidence.Item) {
	d.log.Warn(subject, "code", string(what.Code), "what", d.renderer().Text(what))
	d.journal.Note(alert.Note{At: at, What: what})
}

// clockStep describes a jump of the clock.
func clockStep(j collector.Jump) evidence.Item {
	switch {
	case j.Restarted:
		return evidence.New(evidence.ClockRestarted, evidence.Duration("step", -j.By))
	case j.By >= 0:
		return evidence.New(evidence.ClockForward, evidence.Duration("step", j.By))
	}
	return evidence.New(evidence.ClockBack, evidence.Duration("step", -j.By), evidence.Duration("ahead", j.Ahead))
}

// gapOf describes an interval in which nothing was read.
func gapOf(g alert.Gap) evidence.Item {
	return evidence.New(evidence.DataGap, evidence.Duration("gap", g.To.Sub(g.From).Abs()))
}
