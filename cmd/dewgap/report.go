package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/cmd/dewgap/internal/commissioning"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/report"
	"dewgap/config"
)

type reportCmd struct {
	Commissioning commissioningCmd `cmd:"" help:"Acceptance record of the defrost cycles in a recording."`
	Inspection    inspectionCmd    `cmd:"" help:"What is known of a compressor, for the person who opens it."`
}

type commissioningCmd struct {
	Config  string   `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site; its [commissioning] table holds the criteria."`
	Circuit []string `placeholder:"GROUP.CIRCUIT" help:"Only these circuits."`
	Journal string   `type:"path" placeholder:"DIR" help:"Data directory with the journal of the live run: what people found stands beside the likely causes."`
	reportOptions
	Recordings []string `arg:"" name:"recording" type:"path" help:"Recordings in order of time; a name that ends in .gz is compressed."`
}

func (commissioningCmd) Help() string {
	return "Finds the defrost cycles in a recording and judges each. Gives the times of its stages, the lowest superheat with its uncertainty, and the time below the floor. The verdict follows the criteria of the configuration's [commissioning] table. What the recording cannot show is not judged, never passed. The same recording gives the same record, byte for byte. Exit status 0: written, whatever the verdict."
}

func (v *commissioningCmd) Run(ctx context.Context, con console) error {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	files := outputsOf(cfg, v.Force, v.Recordings, output.File{Option: "--out", Path: v.Out})
	if err := files.Check(); err != nil {
		return err
	}
	view, err := v.view(cfg)
	if err != nil {
		return err
	}
	rec, err := v.record(ctx, cfg, view, con.Err)
	if err != nil {
		return err
	}
	if err := v.write(files, con.Out, func(w io.Writer, format string) error {
		switch format {
		case "json":
			return report.JSON(w, rec)
		case "html":
			return report.HTML(w, rec, v.Paper)
		}
		return report.Text(w, rec)
	}); err != nil {
		return err
	}
	if v.Out != "" {
		fmt.Fprintf(con.Err, "%s: %s\n", v.Out, rec.Verdict.Words())
	}
	return nil
}

// record replays the recordings and judges what they show.
func (v *commissioningCmd) record(ctx context.Context, cfg *config.Config, view commissioning.View, warn io.Writer) (rec *commissioning.Record, err error) {
	in, err := openRecordings(cfg, v.Recordings, warn)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	p, err := pipeline.New(in.site)
	if err != nil {
		return nil, err
	}
	track := commissioning.NewTrack(in.site)
	history, err := p.Run(ctx, in, func(result analyze.Result, _ []alert.Change) error {
		return track.Add(result, p.Engine())
	})
	if err != nil {
		return nil, err
	}
	events, err := withPeople(history.Events(), v.Journal)
	if err != nil {
		return nil, err
	}
	r := commissioning.Judge(track, events, cfg.Commissioning, view)
	if err := r.Select(v.Circuit); err != nil {
		return nil, usageError{err}
	}
	r.SetComparisons(in.site.Points, cfg.Site.Points, cfg.Verified)
	r.Simulated, r.Dewgap = cfg.Simulated, buildVersion()
	if r.Config, err = fileOf(v.Config); err != nil {
		return nil, err
	}
	for _, name := range v.Recordings {
		f, err := fileOf(name)
		if err != nil {
			return nil, err
		}
		r.Data = append(r.Data, f)
	}
	return &r, nil
}

// fileOf names a file with its digest. Its directory is left out: the record
// must not depend on where files lie.
func fileOf(name string) (commissioning.File, error) {
	f, err := os.Open(name)
	if err != nil {
		return commissioning.File{}, err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return commissioning.File{}, fmt.Errorf("read %s: %w", name, err)
	}
	return commissioning.File{Name: filepath.Base(name), SHA256: fmt.Sprintf("%x", sum.Sum(nil))}, nil
}
