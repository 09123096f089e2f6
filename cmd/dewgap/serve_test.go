package main

import (
	"bufio"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A plant that is served at a speed other than 1 is read by the ordinary reader
// in its own time, each way: over TCP, the line, the broker, and mixed. The
// messages' stamps are real time, or the reader would refuse them as skewed.
func TestServedPlantIsReadEachWay(t *testing.T) {
	for _, via := range []string{"mixed", "tcp", "rtu", "mqtt"} {
		t.Run(via, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			addresses := servedBy(t, simulateCmd{Scenario: "demo", Seed: 1, Serve: true, serving: serving{
				Modbus: "127.0.0.1:0", MQTT: "127.0.0.1:0", Control: "127.0.0.1:0", RTU: true, Speed: 10, Via: via, WriteConfig: dir,
			}})
			for _, name := range []string{"modbus", "rtu", "mqtt", "control"} {
				if addresses[name] == "" {
					t.Errorf("no address of %s", name)
				}
			}
			site := filepath.Join(dir, "site.toml")
			text, err := os.ReadFile(site)
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range []string{`hold = { steady = "6 s", pulldown = "3 s" }`, `lag = "2 s"`} {
				if !strings.Contains(string(text), want) {
					t.Errorf("site.toml lacks %s", want)
				}
			}
			code, out, errs := called(t, "check", "--config", site, "--live", "--for", "3s")
			if code != 0 {
				t.Errorf("check --live: %d\n%s\n%s", code, out, errs)
			}
			if !strings.Contains(out, "lt.c2.suction_temperature") {
				t.Errorf("check --live:\n%s", out)
			}
		})
	}
}

// servedBy runs a served plant until the test ends and returns what it says on
// standard output: device → where.
func servedBy(t *testing.T, v simulateCmd) map[string]string {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	read, write := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		err := v.Run(ctx, console{Out: write, Err: io.Discard})
		write.CloseWithError(io.EOF)
		ended <- err
	}()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	addresses := map[string]string{}
	lines := bufio.NewScanner(read)
	for addresses["control"] == "" && lines.Scan() {
		name, where, _ := strings.Cut(lines.Text(), " ")
		addresses[name] = where
	}
	return addresses
}

func TestServeRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--scenario", "demo", "--serve", "--speed", "0"}, 2, "between 0.1 and 240"},
		{[]string{"--scenario", "demo", "--serve", "--out", "x.csv"}, 2, "leave out --out"},
		{[]string{"--scenario", "demo", "--serve", "--no-rtu", "--via", "rtu"}, 2, "leave out --no-rtu"},
		{[]string{"--scenario", "freezer-room", "--serve", "--control", "0.0.0.0:0"}, 1, "this machine alone"},
		{[]string{"--scenario", "ghost", "--serve"}, 1, "--list names them"},
	} {
		if code, _, errs := called(t, append([]string{"simulate"}, c.args...)...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: %d %s, want %d %s", c.args, code, errs, c.code, c.want)
		}
	}
}

// The help lists every endpoint of the control and every way to read the format.
func TestSimulateHelpTellsTheControl(t *testing.T) {
	_, out, _ := called(t, "simulate", "--help")
	for _, want := range []string{"/plant", "/kinds", "/faults", "/defrosts", "/sensors", "--format", "--list", "--via", "127.0.0.1:5080"} {
		if !strings.Contains(out, want) {
			t.Errorf("simulate --help does not list %s", want)
		}
	}
	if _, format, _ := called(t, "simulate", "--format"); !strings.Contains(format, "store_humidity") {
		t.Error("--format does not list store_humidity")
	}
	code, shown, _ := called(t, "simulate", "--show", "freezer-room")
	file := filepath.Join(t.TempDir(), "own.toml")
	if err := os.WriteFile(file, []byte(shown), 0o600); err != nil {
		t.Fatal(err)
	}
	out2 := filepath.Join(t.TempDir(), "own.csv")
	if code2, _, errs := called(t, "simulate", "--scenario", file, "--for", "1m", "--out", out2); code != 0 || code2 != 0 {
		t.Errorf("a scenario of one's own, begun with --show: %d %d %s", code, code2, errs)
	}
}
