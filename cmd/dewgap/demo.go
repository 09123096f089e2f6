package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"dewgap/cmd/dewgap/internal/cleanup"
	"dewgap/cmd/dewgap/internal/daemon"
	"dewgap/cmd/dewgap/internal/output"
	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
	"dewgap/simulators/store"
)

type demoCmd struct {
	Listen      string        `default:"127.0.0.1:0" placeholder:"HOST:PORT" help:"Where the page and the metrics listen; port 0 takes a free one."`
	Speed       float64       `default:"30" help:"How many times faster than real time the plant runs."`
	For         time.Duration `placeholder:"DURATION" help:"End by itself after this long, with a summary."`
	WriteConfig string        `type:"path" placeholder:"DIR" help:"Save the configuration that the daemon runs on, for reading."`
	Force       bool          `help:"Replace an existing site.toml there."`
	Data        string        `type:"path" placeholder:"DIR" help:"Keep journal and recordings here; otherwise they are deleted when the demo ends."`
	Seed        uint64        `default:"1" help:"Seed of the plant's noise and chance."`
	Notify      bool          `help:"Also tell an example target on this machine of events; the log shows what it is told."`

	told func([]takenMessage) // what the example target was told, for tests
}

func (demoCmd) Help() string {
	return "Runs an invented store behind a real Modbus TCP server and a real MQTT broker. The ordinary daemon reads both. All of it stays on this machine. Prints the page's address as the first line of standard output."
}

func (v *demoCmd) Run(ctx context.Context, con console) (err error) {
	if !(v.Speed >= 0.1 && v.Speed <= 240) {
		return usageError{fmt.Errorf("--speed %g: choose between 0.1 and 240", v.Speed)}
	}
	files := configIn(v.WriteConfig, nil, v.Force)
	if err := files.Check(); err != nil {
		return err
	}
	var opened cleanup.Stack
	defer opened.CloseInto(&err)
	listen, err := net.Listen("tcp", v.Listen)
	if err != nil {
		return fmt.Errorf("listen for the page: %w; choose another address with --listen", err)
	}
	opened.PushListener("close the page's listener", listen)
	// A reader gets the address before the plant has warmed up.
	fmt.Fprintf(con.Out, "http://%s/\n", listen.Addr())

	data := v.Data
	if data == "" {
		if data, err = os.MkdirTemp("", "dewgap-demo-"); err != nil {
			return err
		}
		opened.Push("remove "+data, func() error { return os.RemoveAll(data) })
	}
	plantStore, start, err := openDemoStore(v.Seed)
	if err != nil {
		return err
	}
	opened.Push("close the invented store", plantStore.Close)
	log := newLog(con.Err, slog.LevelInfo)
	clock := collector.NewScaledClock(start, v.Speed)
	text := plantStore.Config(store.Location{Listen: listen.Addr().String(), Data: data})
	var target *demoTarget
	if v.Notify {
		if target, err = openDemoTarget(clock, v.Speed, log); err != nil {
			return err
		}
		opened.PushListener("close the example target", target.listen)
		text = append(text, target.config()...)
	}
	if v.WriteConfig != "" {
		if err := saveConfig(files, text); err != nil {
			return err
		}
	}
	cfg, err := config.Parse("demo's site.toml", text)
	if err != nil {
		return err
	}
	if target != nil {
		cfg.Daemon.Page = "http://" + listen.Addr().String()
	}
	watcher, err := daemon.Open(daemon.Setting{
		Config: cfg, Clock: clock, Sources: sourcesOf(clock, log, "demo"), Listen: listen, Log: log, Version: build(),
		Mode: "demo", Note: fmt.Sprintf("an invented store; its time runs %g times as fast", v.Speed),
	})
	if err != nil {
		return err
	}
	opened.Push("close the daemon", watcher.Close)
	if v.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, v.For)
		defer cancel()
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return plantStore.Run(ctx, clock) })
	group.Go(func() error { return watcher.Run(ctx) })
	if target != nil {
		group.Go(func() error { return target.Run(ctx) })
	}
	if err := group.Wait(); err != nil {
		return err
	}
	tally, events := watcher.Summary()
	tally.Write(con.Out, cfg.Units, events)
	if target != nil && v.told != nil {
		v.told(target.messages())
	}
	return nil
}

// openDemoStore builds the demo's plant, warmed up, behind free loopback ports.
func openDemoStore(seed uint64) (*store.Store, time.Time, error) {
	description, err := scenarios.Load("demo")
	if err != nil {
		return nil, time.Time{}, err
	}
	p, err := plant.New(description, seed)
	if err != nil {
		return nil, time.Time{}, err
	}
	start := p.Now()
	plantStore, err := store.Open(p, store.Setting{Bus: "127.0.0.1:0", Broker: "127.0.0.1:0"})
	return plantStore, start, err
}

// configIn returns the configuration to be written into a directory as the only
// output of a command.
func configIn(dir string, inputs []string, force bool) output.Files {
	files := output.Files{Inputs: inputs, Force: force}
	if dir != "" {
		files.Outputs = []output.File{{Option: "--write-config", Path: filepath.Join(dir, "site.toml")}}
	}
	return files
}

// saveConfig writes the configuration of configIn.
func saveConfig(files output.Files, text []byte) error {
	path := files.Outputs[0].Path
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return writeFile(files, path, text)
}
