package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"dewgap/analyze/units"
	"dewgap/cmd/dewgap/internal/commissioning"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/config"
)

// reportOptions are those that every report for people has.
type reportOptions struct {
	Format string `enum:"html,text,json,auto" default:"auto" help:"html, text or json; by default from the ending of --out, else text."`
	Units  string `enum:"si,us,config" default:"config" help:"si or us, for people; by default the site's. JSON has SI always."`
	Paper  string `enum:"a4,letter,any" default:"any" help:"Paper of the HTML record: a4, letter, or what the printer has."`
	Zone   string `default:"UTC" placeholder:"AREA/CITY" help:"Time zone of what people read, such as Europe/Vilnius; JSON has UTC always."`
	Out    string `type:"path" placeholder:"FILE" help:"Write here; default: standard output."`
	Force  bool   `help:"Replace existing files."`
}

// view returns the units and the time zone of the report.
func (v *reportOptions) view(cfg *config.Config) (commissioning.View, error) {
	view := commissioning.View{System: cfg.Units}
	var err error
	if v.Units != "config" {
		if view.System, err = units.ParseSystem(v.Units); err != nil {
			return view, err
		}
	}
	if view.System == cfg.Units {
		view.Pressure = cfg.Site.PressureUnit()
	}
	// "Local" would make the report depend on the machine that writes it.
	if view.Zone, err = time.LoadLocation(v.Zone); err != nil || v.Zone == "Local" {
		return view, usageError{fmt.Errorf("--zone %q is no time zone known here; write one such as Europe/Vilnius", v.Zone)}
	}
	return view, nil
}

// format returns the form of the report: html, json or text.
func (v *reportOptions) format() string {
	if v.Format != "auto" {
		return v.Format
	}
	switch strings.ToLower(filepath.Ext(v.Out)) {
	case ".html", ".htm":
		return "html"
	case ".json":
		return "json"
	}
	return "text"
}

// write writes the report to --out, or to stdout without one.
func (v *reportOptions) write(files output.Files, stdout io.Writer, report func(w io.Writer, format string) error) error {
	if v.Out == "" {
		return report(stdout, v.format())
	}
	f, err := files.Create(v.Out)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(f)
	return errors.Join(report(out, v.format()), out.Flush(), f.Close())
}
