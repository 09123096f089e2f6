package main

import (
	"github.com/alecthomas/kong"

	"dewgap/cmd/dewgap/internal/manual"
)

// manualCmd writes what packages install beside the program.
type manualCmd struct {
	What string `arg:"" enum:"man,bash" help:"man: the manual page; bash: the completion."`
}

func (c manualCmd) Run(app *kong.Kong, con console) error {
	if c.What == "bash" {
		return manual.Bash(con.Out, app.Model)
	}
	return manual.Man(con.Out, app.Model, buildVersion(), "watch superheat at the inlet of refrigeration compressors")
}
