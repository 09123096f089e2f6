package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"dewgap/cmd/dewgap/internal/access"
	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/daemon"
	"dewgap/cmd/dewgap/internal/metrics"
	"dewgap/cmd/dewgap/internal/sdnotify"
	"dewgap/collector"
	"dewgap/collector/modbus"
	"dewgap/collector/mqtt"
	"dewgap/config"
)

type runCmd struct {
	Config string `required:"" type:"path" placeholder:"FILE" help:"Configuration of the site."`
	Listen string `placeholder:"HOST:PORT" help:"Where the page and the metrics listen, in place of the configured address."`
}

func (runCmd) Help() string {
	return "Watches a site until Ctrl-C or SIGTERM. SIGHUP reads the configuration again. If it has a fault, nothing changes; page, log and the metric dewgap_fault_active show the fault. Prints the page's address as the first line of standard output; the log goes to standard error."
}

func (v *runCmd) Run(ctx context.Context, con console) (err error) {
	cfg, err := config.Load(v.Config)
	if err != nil {
		return err
	}
	if err := cfg.Runnable(); err != nil {
		return err
	}
	log := newLog(con.Err, cfg.Daemon.Log)
	for _, w := range cfg.Warnings {
		log.Warn("configuration", "warning", w.Error())
	}
	address := cfg.Daemon.Listen
	if v.Listen != "" {
		address = v.Listen
	}
	policy, err := policyOf(&cfg.Daemon, address)
	if err != nil {
		return err
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	listen, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("listen for the page: %w; choose another address with --listen or daemon.listen", err)
	}
	opened.PushListener("close the page's listener", listen)
	clock := collector.NewRealClock()
	again := make(chan os.Signal, 1)
	signal.Notify(again, syscall.SIGHUP)
	opened.Push("stop waiting for SIGHUP", func() error { signal.Stop(again); return nil })
	manager := sdnotify.FromEnvironment()
	watcher, err := daemon.Open(daemon.Setting{
		Config: cfg, Clock: clock, Listen: listen, Access: policy, Log: log, Version: build(), Mode: "live",
		Sources:        sourcesOf(clock, log, ""),
		Reload:         func() (*config.Config, error) { return config.Load(v.Config) },
		ReloadRequests: again,
		ReloadAccess:   func(c *config.Config) (*access.Policy, error) { return policyOf(&c.Daemon, address) },
		OnRow:          func(period time.Duration) error { return manager.Row(time.Now(), period) },
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(con.Out, "%s://%s/\n", policy.Scheme(), listen.Addr())
	context.AfterFunc(ctx, func() {
		if err := manager.Stopping(); err != nil {
			log.Warn("stopping", "error", err)
		}
	})
	return watcher.Run(ctx)
}

// sourcesOf returns a function that prepares the sources of a configuration; see
// openSources.
func sourcesOf(clock collector.Clock, log *slog.Logger, purpose string) func(*config.Config) ([]collector.Source, error) {
	return func(c *config.Config) ([]collector.Source, error) { return openSources(c, clock, log, purpose) }
}

// openSources prepares every bus and broker; nothing is connected yet. purpose is
// empty for the daemon. Every other command names itself, so that a broker does
// not take it for the daemon and end the daemon's session.
func openSources(cfg *config.Config, clock collector.Clock, log *slog.Logger, purpose string) ([]collector.Source, error) {
	var sources []collector.Source
	for _, s := range cfg.Modbus {
		source, err := modbus.New(s, modbus.Options{Clock: clock, Log: log})
		if err != nil {
			return nil, fmt.Errorf("modbus %s: %w", s.Name, err)
		}
		sources = append(sources, source)
	}
	for _, s := range cfg.MQTT {
		source, err := mqtt.New(s, mqtt.Options{Clock: clock, Log: log, Purpose: purpose})
		if err != nil {
			return nil, fmt.Errorf("mqtt %s: %w", s.Name, err)
		}
		sources = append(sources, source)
	}
	return sources, nil
}

func newLog(w io.Writer, level slog.Level) *slog.Logger {
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: level}))
}

func build() metrics.Build {
	return metrics.Build{Version: buildVersion(), GoVersion: runtime.Version()}
}
