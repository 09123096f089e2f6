package pipeline

import (
	"context"
	"errors"
	"io"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/reading"
)

// Rows yields rows in order of time. Next fills row, or returns io.EOF after
// the last one.
type Rows interface {
	Next(ctx context.Context, row *reading.Row) error
}

// Run steps the pipeline through all rows and returns the history of the
// events that they show. After each step it calls each, which may be nil and
// whose error ends the run.
func (p *Pipeline) Run(ctx context.Context, rows Rows, each func(analyze.Result, []alert.Change) error) (*alert.History, error) {
	history := alert.NewHistory(0)
	var row reading.Row
	for {
		err := rows.Next(ctx, &row)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		result, changes := p.Step(&row)
		history.Apply(changes...)
		if each == nil {
			continue
		}
		if err := each(result, changes); err != nil {
			return nil, err
		}
	}
	history.Refresh(p.Tracker.Open())
	return history, nil
}
