package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/devices"
)

// brokerSite is a site whose inputs come from one broker.
const brokerSite = `[site]
name = "demo"
altitude = "0 m"
[[mqtt]]
name = "cases"
url = "tcp://%s"
client_id = "rack-gateway"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { mqtt = "cases", topic = "rack/p", unit = "barg" }
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { mqtt = "cases", topic = "rack/t", unit = "degC" }
  running = { mqtt = "cases", topic = "rack/on" }
`

// publishing sends a value on each topic of brokerSite every 50 ms until the test
// ends.
func publishing(t *testing.T, publish func(topic, payload string)) {
	stop, done := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(stop); <-done })
	go func() {
		defer close(done)
		tick := time.NewTicker(50 * time.Millisecond)
		defer tick.Stop()
		for {
			for topic, payload := range map[string]string{"rack/p": "1.8", "rack/t": "2.5", "rack/on": "1"} {
				publish(topic, payload)
			}
			select {
			case <-tick.C:
			case <-stop:
				return
			}
		}
	}()
}

// besideTheDaemon runs the daemon's source at a broker, then the commands that
// read the same site, and fails when one of them disturbs it.
func besideTheDaemon(t *testing.T, address string) {
	site := written(t, fmt.Sprintf(brokerSite, address))
	cfg, err := config.Load(site)
	if err != nil {
		t.Fatal(err)
	}
	clock := collector.NewRealClock()
	sources, err := openSources(cfg, clock, slog.New(slog.DiscardHandler), "")
	if err != nil {
		t.Fatal(err)
	}
	daemon, hub := sources[0], collector.NewHub(cfg.Site.Points)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- daemon.Run(ctx, hub) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for limit := time.Now().Add(time.Minute); !daemon.Status().Delivered; <-tick.C {
		if time.Now().After(limit) {
			t.Fatalf("the daemon's source got nothing: %+v", daemon.Status())
		}
	}
	for i := range 2 {
		var errs bytes.Buffer
		out := filepath.Join(t.TempDir(), fmt.Sprint(i, ".csv"))
		record := recordCmd{Config: site, Out: out, For: 2 * time.Second}
		if err := record.Run(t.Context(), console{Err: &errs}); err != nil || strings.Contains(errs.String(), "not one good value") {
			t.Errorf("record: %v, %s", err, errs.String())
		}
		if code, shown, errs := called(t, "check", "--config", site, "--live", "--for", "1s", "--wait", "10s"); code != 0 || !strings.Contains(shown, "3 points: 3 good") {
			t.Errorf("check --live: status %d, %s %s", code, shown, errs)
		}
	}
	if st := daemon.Status(); st.Reconnects != 0 || !st.Up || len(st.Errors) != 0 {
		t.Errorf("the daemon was disturbed: %+v", st)
	}
}

func TestTrap50CommandsBesideADaemonLeaveItAlone(t *testing.T) {
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { broker.Stop() })
	publishing(t, func(topic, payload string) {
		if err := broker.Publish(topic, []byte(payload), false); err != nil {
			t.Error(err)
		}
	})
	besideTheDaemon(t, broker.Address())
}

// TestTrap52OutputsReplaceNoInput: each command that writes refuses to, by its
// path or by a link, and keeps every other file unless it is forced.
func TestTrap52OutputsReplaceNoInput(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	if code, _, errs := called(t, "simulate", "--scenario", "freezer-room", "--for", "1m", "--out", "day.csv", "--config", "site.toml"); code != 0 {
		t.Fatal(errs)
	}
	if code, out, errs := called(t, "simulate", "--show", "freezer-room"); code != 0 || os.WriteFile("room.toml", []byte(out), 0o644) != nil {
		t.Fatal(errs)
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.Link("day.csv", "hard.csv"))
	must(os.Symlink("site.toml", "soft.toml"))
	must(os.MkdirAll("conf", 0o755))
	must(os.WriteFile("other", []byte("precious"), 0o644))
	must(os.Link("room.toml", "conf/site.toml"))
	before := contents(t, dir)
	for _, command := range []string{
		"replay --config site.toml --events day.csv day.csv",
		"replay --config site.toml --events hard.csv --force day.csv",
		"replay --config site.toml --states soft.toml --force day.csv",
		"replay --config site.toml --states a --events ./a day.csv",
		"replay --config site.toml --states other day.csv",
		"replay --config site.toml --events other day.csv",
		"report commissioning --config site.toml --out hard.csv --force day.csv",
		"report commissioning --config site.toml --out soft.toml --force day.csv",
		"report commissioning --config site.toml --out other day.csv",
		"simulate --scenario room.toml --out room.toml --force",
		"simulate --scenario room.toml --truth conf/site.toml --force",
		"simulate --scenario room.toml --config ./room.toml --force",
		"simulate --scenario room.toml --out a --truth a",
		"simulate --scenario room.toml --config other",
		"simulate --scenario room.toml --serve --write-config conf --force --for 1ms",
		"simulate --scenario freezer-room --serve --write-config conf --for 1ms",
		"demo --write-config conf --for 1ms",
	} {
		code, _, errs := called(t, strings.Fields(command)...)
		if code != 1 || !strings.Contains(errs, "choose ") {
			t.Errorf("%s: status %d, %s", command, code, errs)
		}
	}
	live := written(t, fmt.Sprintf(brokerSite, "127.0.0.1:1"))
	for _, record := range []recordCmd{{Out: live, Force: true}, {Out: "other"}} {
		record.Config, record.For = live, time.Second
		if err := record.Run(t.Context(), console{Out: io.Discard, Err: io.Discard}); err == nil || !strings.Contains(err.Error(), "choose ") {
			t.Errorf("record to %s: %v", record.Out, err)
		}
	}
	if after := contents(t, dir); after != before {
		t.Errorf("files changed: before %s, after %s", before, after)
	}
	if code, _, errs := called(t, "replay", "--config", "site.toml", "--events", "other", "--force", "day.csv"); code != 0 {
		t.Errorf("forced: %s", errs)
	}
	if data, err := os.ReadFile("other"); err != nil || strings.Contains(string(data), "precious") {
		t.Errorf("forced, and it still holds %q, %v", data, err)
	}
}

// contents returns names and sizes of all files below a directory, and the text
// of small ones.
func contents(t *testing.T, dir string) string {
	t.Helper()
	var all strings.Builder
	err := filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if err != nil || info.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		fmt.Fprintf(&all, "%s %d %.20q\n", path, len(data), data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.String()
}

// TestTrap59CheckLiveDoubtsTheUsualSentinels: 0xFFFF of a scaled register reads
// −0.01 bar and looks like a pressure.
func TestTrap59CheckLiveDoubtsTheUsualSentinels(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	front := &devices.ModbusDevice{Registers: device{100: 0xFFFF, 101: 0x7FFF, 102: 0xFFFF, 103: 25}}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- front.Serve(ctx, l) }()
	defer func() {
		stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
	}()
	site := written(t, `[site]
name = "demo"
altitude = "0 m"
[[modbus]]
name = "rack-io"
address = "`+l.Addr().String()+`"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.01, unit = "barg" }
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "rack-io", unit_id = 1, input = 101, type = "int16", scale = 0.001, unit = "degC" }
  discharge_temperature = { modbus = "rack-io", unit_id = 1, input = 102, type = "int16", scale = 0.1, unit = "degC", sentinel = [32767] }
  sump_temperature = { modbus = "rack-io", unit_id = 1, input = 103, type = "int16", scale = 0.1, unit = "degC" }
`)
	_, out, errs := called(t, "check", "--config", site, "--live", "--for", "1s")
	for _, want := range []string{"doubtful: many devices send 0xFFFF", "add sentinel = [0xFFFF]", "doubtful: many devices send 0x7FFF", "4 points: 2 good, 2 doubtful, 0 failing"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q", want)
		}
	}
	if t.Failed() {
		t.Log(out, errs)
	}
	fixed := strings.Replace(string(mustRead(t, site)), `unit = "barg"`, `unit = "barg", sentinel = [0xFFFF]`, 1)
	_, out, _ = called(t, "check", "--config", written(t, fixed), "--live", "--for", "1s")
	if !strings.Contains(out, "failing: sentinel") {
		t.Error("the line to add is not accepted: ", out)
	}
}

func mustRead(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
