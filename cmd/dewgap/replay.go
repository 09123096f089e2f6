package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/config"
)

type replayCmd struct {
	Config     string   `type:"path" placeholder:"FILE" help:"Configuration of the site; where inputs come from is not needed."`
	Events     string   `type:"path" placeholder:"FILE" help:"Write events as JSON lines."`
	States     string   `type:"path" placeholder:"FILE" help:"Write one row for each compressor and recording row as CSV."`
	Journal    string   `type:"path" placeholder:"DIR" help:"Data directory with the journal of the live run: what people acknowledged and found stands with its events."`
	Force      bool     `help:"Replace existing files."`
	Speed      float64  `placeholder:"N" help:"Play on the live page, N times as fast as it was recorded (30 with --listen alone)."`
	Listen     string   `placeholder:"HOST:PORT" help:"Play on a live page at this address (a free one of this machine with --speed alone)."`
	Sites      string   `type:"path" placeholder:"DIR" help:"Replay many sites: each directory below DIR with a site.toml and recordings, or a directory recordings with them."`
	Out        string   `type:"path" placeholder:"DIR" help:"With --sites, write the events of each site to SITE.jsonl here."`
	Jobs       int      `placeholder:"N" help:"With --sites, how many at a time; by default one for each processor."`
	Recordings []string `arg:"" optional:"" name:"recording" type:"path" help:"Recordings in order of time; a name that ends in .gz is compressed."`
}

func (replayCmd) Help() string {
	return "Runs recordings through the same analysis as the live daemon, in their own time. Without --events and --states it prints a summary. With --speed or --listen it plays the recording on the live page instead. The page can pause, step and go to the next event. Its address is the first line of standard output; Ctrl-C ends the replay. Exit status 0: replayed, whatever was found."
}

func (v *replayCmd) Run(ctx context.Context, con console) (err error) {
	switch {
	case v.Sites != "":
		return v.replaySites(ctx, con)
	case v.Out != "" || v.Jobs != 0:
		return usageError{errors.New("--out and --jobs are for --sites")}
	case v.Config == "" || len(v.Recordings) == 0:
		return usageError{errors.New("what is to be replayed? give --config and recordings, or --sites")}
	}
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	if v.Speed != 0 || v.Listen != "" {
		return v.play(ctx, con, cfg)
	}
	files := outputsOf(cfg, v.Force, v.Recordings, output.File{Option: "--events", Path: v.Events}, output.File{Option: "--states", Path: v.States})
	if err := files.Check(); err != nil {
		return err
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	in, err := openRecordings(cfg, v.Recordings, con.Err)
	if err != nil {
		return err
	}
	opened.Push("close the recording", in.Close)
	p, err := pipeline.New(in.site)
	if err != nil {
		return err
	}
	var states *pipeline.StatesWriter
	if v.States != "" {
		f, err := files.Create(v.States)
		if err != nil {
			return err
		}
		opened.Push("close "+v.States, f.Close)
		if states, err = pipeline.NewStatesWriter(f); err != nil {
			return err
		}
	}
	tally := pipeline.NewTally(in.site)
	history, err := p.Run(ctx, in, func(result analyze.Result, _ []alert.Change) error {
		tally.Add(result)
		if states == nil {
			return nil
		}
		return states.Write(result.States)
	})
	if err != nil {
		return err
	}
	if states != nil {
		if err := states.Flush(); err != nil {
			return err
		}
	}
	events, err := withPeople(history.Events(), v.Journal)
	if err != nil {
		return err
	}
	if v.Events != "" {
		return writeEvents(files, v.Events, events, evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere, Pressure: cfg.Site.PressureUnit()})
	}
	if states == nil {
		tally.Write(con.Out, cfg.Units, events)
	}
	return nil
}

// outputsOf returns the files of a command that reads a configuration and others.
func outputsOf(cfg *config.Config, force bool, inputs []string, outputs ...output.File) output.Files {
	return output.Files{Inputs: slices.Concat([]string{cfg.File}, cfg.Files, inputs), Outputs: outputs, Force: force}
}

// withPeople returns events with what people did to them by the journal in a
// data directory; unchanged without one.
func withPeople(events []alert.Event, journal string) ([]alert.Event, error) {
	if journal == "" {
		return events, nil
	}
	live, _, err := alert.ReadEvents(journal)
	if err != nil {
		return nil, fmt.Errorf("--journal: %w", err)
	}
	return alert.Overlay(events, live), nil
}

func writeEvents(files output.Files, name string, events []alert.Event, r evidence.Renderer) error {
	f, err := files.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(alert.WriteEvents(f, events, r), f.Close())
}
