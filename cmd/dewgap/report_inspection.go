package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"dewgap/alert"
	"dewgap/analyze"
	"dewgap/analyze/evidence"
	"dewgap/cmd/dewgap/internal/inspection"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/cmd/dewgap/internal/pipeline"
	"dewgap/cmd/dewgap/internal/report"
	"dewgap/config"
)

type inspectionCmd struct {
	Config     string `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	Compressor string `required:"" placeholder:"GROUP/NAME" help:"The compressor, such as lt/c2."`
	Since      string `placeholder:"TIME" help:"Leave out what ended before: a date, or an instant such as 2026-03-01T06:00:00Z."`
	Data       string `type:"path" placeholder:"DIR" help:"Data directory with journal, ledger and recordings; by default the configuration's."`
	reportOptions
	Recordings []string `arg:"" optional:"" name:"recording" type:"path" help:"Recordings in order of time; by default those of the data directory."`
}

func (inspectionCmd) Help() string {
	return "For the person who opens a compressor. Gathers its floodback by severity, phase and month, its longest and worst episodes with plots, flooded starts, high superheat and oil. Lists what each finding would show inside a machine of this kind, what would point to another reason, and what the record cannot show. Gives no verdict. Reads journal and ledger without a lock; a daemon may be running. Without a journal the events are those that the recordings show."
}

func (v *inspectionCmd) Run(ctx context.Context, con console) error {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	since, err := parseSince(v.Since)
	if err != nil {
		return err
	}
	group, name, ok := strings.Cut(v.Compressor, "/")
	index := compressorIndex(cfg.Site, group, name)
	if !ok || index < 0 {
		return usageError{fmt.Errorf("--compressor %q is not of this site; there are %s", v.Compressor, strings.Join(compressorNames(cfg.Site), ", "))}
	}
	view, err := v.view(cfg)
	if err != nil {
		return err
	}
	p, err := readPast(cfg, v.Data, v.Recordings, con.Err)
	if err != nil {
		return err
	}
	p.recordedSince(since)
	files := outputsOf(cfg, v.Force, p.recordings, output.File{Option: "--out", Path: v.Out})
	if err := files.Check(); err != nil {
		return err
	}
	in := inspection.Input{Site: cfg.Site, Group: group, Compressor: name, Since: since, View: view, Events: p.events, TotalsAt: p.totalsAt, Remarks: p.remarks}
	in.Totals = totalsOf(p.totals, group, name)
	if err := v.observe(ctx, cfg, p, &in, index, con.Err); err != nil {
		return err
	}
	r, err := inspection.New(in)
	if err != nil {
		return err
	}
	r.Dewgap = buildVersion()
	if r.Config, err = fileOf(v.Config); err != nil {
		return err
	}
	for _, recording := range p.recordings {
		f, err := fileOf(recording)
		if err != nil {
			return err
		}
		r.Data = append(r.Data, f)
	}
	render := evidence.Renderer{System: view.System, Atmosphere: cfg.Site.Atmosphere, Pressure: view.Pressure}
	return v.write(files, con.Out, func(w io.Writer, format string) error {
		switch format {
		case "json":
			return report.InspectionJSON(w, r, render)
		case "html":
			return report.InspectionHTML(w, r, render, v.Paper)
		}
		return report.InspectionText(w, r, render)
	})
}

// observe replays the recordings. Those of the data directory may no longer fit
// the configuration, or be damaged: the report does without them then. Those that
// were given must be read.
func (v *inspectionCmd) observe(ctx context.Context, cfg *config.Config, p *past, in *inspection.Input, index int, warn io.Writer) error {
	if len(p.recordings) == 0 {
		return nil
	}
	seen := inspection.NewObserved(index)
	replayed, err := replayPast(ctx, cfg, p.recordings, warn, func(r analyze.Result, engine *analyze.Engine) {
		seen.Add(r, engine)
	})
	if err != nil {
		if p.given || ctx.Err() != nil {
			return err
		}
		fmt.Fprintln(warn, "dewgap: the recordings are left out:", err)
		in.Remarks = append(in.Remarks, "The recordings of the data directory could not be replayed: "+err.Error())
		p.recordings = nil
		return nil
	}
	in.Observed = seen
	if in.Replayed = !p.hasJournal; in.Replayed {
		in.Events, in.Totals, in.TotalsAt = replayed.events, totalsOf(replayed.totals, in.Group, in.Compressor), replayed.at
		return nil
	}
	if n := notKept(replayed.events, p.events, in); n > 0 {
		in.Remarks = append(in.Remarks, fmt.Sprintf("The recordings show %d events of this compressor that the journal does not hold; they are not counted here.", n))
	}
	return nil
}

// notKept counts the replayed floodbacks and flooded starts of a compressor that
// no event of the journal meets in time.
func notKept(replayed, kept []alert.Event, in *inspection.Input) int {
	n := 0
	for i := range replayed {
		a := &replayed[i]
		if a.Group != in.Group || a.Compressor != in.Compressor || a.Kind != "floodback" && a.Kind != "flooded_start" || a.Closed != nil && a.Closed.Before(in.Since) {
			continue
		}
		if !slices.ContainsFunc(kept, func(b alert.Event) bool {
			return b.Group == a.Group && b.Compressor == a.Compressor && b.Kind == a.Kind && meets(a, &b)
		}) {
			n++
		}
	}
	return n
}

// meets reports whether two events have an instant in common.
func meets(a, b *alert.Event) bool {
	return (a.Closed == nil || !a.Closed.Before(b.Began)) && (b.Closed == nil || !b.Closed.Before(a.Began))
}

// replayed is what recordings show.
type replayed struct {
	events []alert.Event
	totals []alert.Totals
	at     time.Time // of the last row
}

// replayPast runs recordings through the analysis.
func replayPast(ctx context.Context, cfg *config.Config, recordings []string, warn io.Writer, each func(analyze.Result, *analyze.Engine)) (out *replayed, err error) {
	in, err := openRecordings(cfg, recordings, warn)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	p, err := pipeline.New(in.site)
	if err != nil {
		return nil, err
	}
	out = &replayed{}
	history, err := p.Run(ctx, in, func(r analyze.Result, _ []alert.Change) error {
		out.at = r.Time
		if each != nil {
			each(r, p.Engine())
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.events, out.totals = history.Events(), p.Tracker.Totals()
	return out, nil
}

func totalsOf(totals []alert.Totals, group, compressor string) *alert.Totals {
	i := slices.IndexFunc(totals, func(t alert.Totals) bool { return t.Group == group && t.Compressor == compressor && t.Circuit == "" })
	if i < 0 || totals[i].Since.IsZero() {
		return nil
	}
	return &totals[i]
}

// compressorIndex returns the index of a compressor over the site; −1 where there
// is none.
func compressorIndex(site analyze.Site, group, name string) int {
	return slices.Index(compressorNames(site), group+"/"+name)
}

func compressorNames(site analyze.Site) []string {
	var names []string
	for _, g := range site.Groups {
		for _, c := range g.Compressors {
			names = append(names, g.Name+"/"+c.Name)
		}
	}
	return names
}
