package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"dewgap/analyze/evidence"
	"dewgap/analyze/suggest"
	"dewgap/cmd/dewgap/internal/notify"
	"dewgap/config"
)

type notifyCmd struct {
	Test notifyTestCmd `cmd:"" help:"Send a test message to one target, now."`
}

type notifyTestCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	Target string `arg:"" help:"Name of the target, as the configuration has it."`
}

func (notifyTestCmd) Help() string {
	return "Sends a message that says it is a test, from this process and past all delays and quiet hours. A running daemon is not asked and not disturbed. Ends with 1 when the target does not take it, and says what it answered."
}

func (v *notifyTestCmd) Run(ctx context.Context, con console) error {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	var names []string
	for i := range cfg.Notify {
		t := &cfg.Notify[i]
		if names = append(names, t.Name); t.Name != v.Target {
			continue
		}
		if faults := cfg.UnreadyOf("notify[" + t.Name + "]"); faults != nil {
			return faults
		}
		if t.Kind == config.MQTT {
			t.ClientID += "-test" // not to end the daemon's session
		}
		s := notify.Setting{
			Site: cfg.Site.Name, Page: cfg.Daemon.Page, Now: time.Now, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
			Renderer: evidence.Renderer{System: cfg.Units, Atmosphere: cfg.Site.Atmosphere, Pressure: cfg.Site.PressureUnit()},
		}
		if err := notify.Test(ctx, s, t); err != nil {
			return fmt.Errorf("target %s has not taken the test: %w", t.Name, err)
		}
		fmt.Fprintf(con.Out, "target %s (%s, %s) has taken the test\n", t.Name, t.Kind, t.Address())
		return nil
	}
	if len(names) == 0 {
		return fmt.Errorf("%s has no target: add [[notify]], see dewgap check --reference", v.Config)
	}
	text := fmt.Sprintf("there is no target %q; there are %s", v.Target, strings.Join(names, ", "))
	if near := suggest.Nearest(v.Target, names); near != "" {
		text += fmt.Sprintf("; did you mean %q?", near)
	}
	return usageError{fmt.Errorf("%s", text)}
}
