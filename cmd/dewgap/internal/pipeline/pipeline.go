// Package pipeline is the one path from a row of readings to changed events:
// rows, engine, tracker, changes. Daemon, replay, report, record and bench all
// step a Pipeline and differ in where the rows come from.
//
// It may import analyze and alert. It must never import a source of rows, the
// daemon or anything that shows results: time, readings and order come with the
// rows alone.
package pipeline

import (
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/analyze/trend"
)

// Pipeline analyses the rows of one site and keeps its events. It is not safe
// for concurrent use.
type Pipeline struct {
	engine  *analyze.Engine
	Tracker *alert.Tracker
}

// New returns the pipeline of a site, or an error that names the part of the
// site that does not fit together.
func New(site analyze.Site) (*Pipeline, error) {
	engine, err := analyze.New(site)
	if err != nil {
		return nil, err
	}
	return &Pipeline{engine: engine, Tracker: alert.NewTracker(site)}, nil
}

// Step takes one row, whose time must not lie before the last one's. The result
// and the changes are valid until the next Step.
func (p *Pipeline) Step(row *reading.Row) (analyze.Result, []alert.Change) {
	result := p.engine.Observe(row)
	return result, p.Tracker.Step(result)
}

// Engine returns the analysis, to be asked what the last Step left.
func (p *Pipeline) Engine() *analyze.Engine { return p.engine }

// TrendDays returns the days that the slow trends stand on.
func (p *Pipeline) TrendDays() []trend.Days { return p.engine.TrendDays() }

// RestoreTrends continues the days that an earlier run kept, up to now.
func (p *Pipeline) RestoreTrends(days []trend.Days, now time.Time) {
	p.engine.TakeUpTrends(days, now)
}
