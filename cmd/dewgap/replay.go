package main

import (
	"context"
	"errors"
	"io"
	"os"

	"dewgap/alert"
	"dewgap/analyze/evidence"
	"dewgap/analyze/reading"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
)

type replayVerb struct {
	Config     string   `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site; where inputs come from is not needed."`
	Events     string   `type:"path" placeholder:"FILE" help:"Write events as JSON lines."`
	States     string   `type:"path" placeholder:"FILE" help:"Write one row for each compressor and recording row as CSV."`
	Speed      float64  `placeholder:"N" help:"Play on the live page, N times as fast as it was recorded (30 with --listen alone)."`
	Listen     string   `placeholder:"HOST:PORT" help:"Play on a live page at this address (a free one of this machine with --speed alone)."`
	Recordings []string `arg:"" name:"recording" type:"path" help:"Recordings in order of time; a name that ends in .gz is compressed."`
}

func (replayVerb) Help() string {
	return "Runs recordings through the same analysis as the live daemon, in their own time. Without --events and --states it prints a summary. With --speed or --listen it plays the recording on the live page instead, which can pause, step and go to the next event; the page's address is the first line of standard output, and Ctrl-C ends it. Exit status 0: replayed, whatever was found."
}

func (v *replayVerb) Run(ctx context.Context, con console) (err error) {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	if v.Speed != 0 || v.Listen != "" {
		return v.play(ctx, con, cfg)
	}
	in, err := openTape(cfg, v.Recordings, con.Err)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	line, err := pipeline.New(in.site)
	if err != nil {
		return err
	}
	var states *pipeline.StatesWriter
	if v.States != "" {
		f, err := os.Create(v.States)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		if states, err = pipeline.NewStatesWriter(f); err != nil {
			return err
		}
	}
	tally, history := pipeline.NewTally(in.site), alert.NewHistory(0)
	var row reading.Row
	for {
		if err := in.Next(ctx, &row); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return err
		}
		result, changes := line.Step(&row)
		history.Apply(changes...)
		tally.Add(result)
		if states == nil {
			continue
		}
		if err := states.Write(result.States); err != nil {
			return err
		}
	}
	history.Refresh(line.Book.Open())
	if states != nil {
		if err := states.Flush(); err != nil {
			return err
		}
	}
	if v.Events != "" {
		return writeEvents(v.Events, history.Events(), evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere})
	}
	if states == nil {
		tally.Write(con.Out, cfg.Units, history.Events())
	}
	return nil
}

func writeEvents(name string, events []alert.Event, r evidence.Renderer) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(alert.WriteEvents(f, events, r), f.Close())
}
