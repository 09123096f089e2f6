// Package daemon is the main loop of dewgap: rows in; events, journal and a
// snapshot out. It joins collector, analyze and alert, and is the only place
// that does.
//
// It may import all of them and the program's own internal packages.
package daemon

import (
	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/snapshot"
)

// Line is the one path from a row to changed events. Live, demo and replay all
// step a Line and differ in where the rows come from.
type Line struct {
	engine *analyze.Engine
	Book   *alert.Book
}

// NewLine returns the line of a site.
func NewLine(site analyze.Site) (*Line, error) {
	engine, err := analyze.New(site)
	if err != nil {
		return nil, err
	}
	return &Line{engine: engine, Book: alert.NewBook(site)}, nil
}

// Step takes one row. The result and the changes are valid until the next Step.
func (l *Line) Step(row *reading.Row) (analyze.Result, []alert.Change) {
	result := l.engine.Observe(row)
	return result, l.Book.Step(result)
}

// Engine gives what the last Step left to be asked of the analysis.
func (l *Line) Engine() *analyze.Engine { return l.engine }

// Snapshot returns what the line knows after the Step that gave r.
func (l *Line) Snapshot(site analyze.Site, r analyze.Result) *snapshot.Snapshot {
	s := snapshot.Of(site, r)
	s.Open, s.Totals, s.Budgets = l.Book.Open(), l.Book.Totals(), l.engine.Budgets()
	return s
}
