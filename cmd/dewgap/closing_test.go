package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dewgap/config"
)

// freeAddress returns a loopback address that nobody listens at.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// busyAddress returns a loopback address at which the test itself listens.
func busyAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l.Addr().String()
}

// wantFree fails the test when somebody still listens at an address.
func wantFree(t *testing.T, addresses ...string) {
	t.Helper()
	for _, address := range addresses {
		l, err := net.Listen("tcp", address)
		if err != nil {
			t.Errorf("still open: %v", err)
			continue
		}
		l.Close()
	}
}

// openBelow lists the files below dir that this process holds open.
func openBelow(t *testing.T, dir string) (names []string) {
	t.Helper()
	handles, err := filepath.Glob("/proc/self/fd/*")
	if err != nil || len(handles) == 0 {
		t.Fatalf("%d open files, %v", len(handles), err)
	}
	for _, h := range handles {
		if name, err := os.Readlink(h); err == nil && strings.HasPrefix(name, dir) {
			names = append(names, name)
		}
	}
	return names
}

// fileAsDirectory returns a path that nobody can make a directory at: its
// parent is a file. The superuser fails there too.
func fileAsDirectory(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(file, "data")
}

func wantError(t *testing.T, err error, want string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("error %v, want one with %q", err, want)
	}
}

func TestRunClosesTheListenerWhenALaterStepFails(t *testing.T) {
	site := fmt.Sprintf(silentSite, "127.0.0.1:1")
	for name, c := range map[string]struct{ text, want string }{
		"data directory":    {strings.Replace(site, `data = "data"`, fmt.Sprintf("data = %q", fileAsDirectory(t)), 1), "make the data directory"},
		"bad configuration": {strings.Replace(site, "R448A", "R999", 1), "R999"},
	} {
		t.Run(name, func(t *testing.T) {
			address := freeAddress(t)
			v := runCmd{Config: written(t, c.text), Listen: address}
			wantError(t, v.Run(t.Context(), console{Out: io.Discard, Err: io.Discard}), c.want)
			wantFree(t, address)
		})
	}
	t.Run("busy page", func(t *testing.T) {
		v := runCmd{Config: written(t, site), Listen: busyAddress(t)}
		wantError(t, v.Run(t.Context(), console{Out: io.Discard, Err: io.Discard}), "listen for the page")
	})
}

func TestDemoClosesEverythingWhenALaterStepFails(t *testing.T) {
	quiet := console{Out: io.Discard, Err: io.Discard}
	t.Run("data directory", func(t *testing.T) {
		address, conf := freeAddress(t), t.TempDir()
		v := demoCmd{Listen: address, Speed: 30, Seed: 1, WriteConfig: conf, Data: fileAsDirectory(t)}
		wantError(t, v.Run(t.Context(), quiet), "make the data directory")
		cfg, err := config.Load(filepath.Join(conf, "site.toml"))
		if err != nil {
			t.Fatal(err)
		}
		wantFree(t, address, cfg.Modbus[0].Address, strings.TrimPrefix(cfg.MQTT[0].URL, "tcp://"))
	})
	t.Run("place of the configuration", func(t *testing.T) {
		temporary := t.TempDir()
		t.Setenv("TMPDIR", temporary)
		address := freeAddress(t)
		v := demoCmd{Listen: address, Speed: 30, Seed: 1, WriteConfig: fileAsDirectory(t)}
		wantError(t, v.Run(t.Context(), quiet), "not a directory")
		wantFree(t, address)
		for _, left := range must(os.ReadDir(temporary))(t) {
			if strings.HasPrefix(left.Name(), "dewgap-demo-") {
				t.Errorf("%s was left behind", left.Name())
			}
		}
	})
	t.Run("busy page", func(t *testing.T) {
		temporary := t.TempDir()
		t.Setenv("TMPDIR", temporary)
		v := demoCmd{Listen: busyAddress(t), Speed: 30, Seed: 1}
		wantError(t, v.Run(t.Context(), quiet), "listen for the page")
		if left := must(os.ReadDir(temporary))(t); len(left) > 0 {
			t.Errorf("%v left behind", left)
		}
	})
}

// must returns a function that gives x, or fails the test.
func must[T any](x T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
}

func TestServeClosesEverythingWhenALaterStepFails(t *testing.T) {
	for name, fail := range map[string]struct {
		with func(*serving)
		want string
	}{
		"busy control":               {func(s *serving) { s.Control = busyAddress(t) }, "control"},
		"busy broker":                {func(s *serving) { s.MQTT = busyAddress(t) }, "start the broker"},
		"busy Modbus server":         {func(s *serving) { s.Modbus = busyAddress(t) }, "start the Modbus server"},
		"place of the configuration": {func(s *serving) { s.WriteConfig = fileAsDirectory(t) }, "not a directory"},
	} {
		t.Run(name, func(t *testing.T) {
			free := serving{Modbus: freeAddress(t), MQTT: freeAddress(t), Control: freeAddress(t), RTU: true, Speed: 10, Via: "mixed"}
			s := free
			fail.with(&s)
			v := simulateCmd{Scenario: "freezer-room", Seed: 1, Serve: true, serving: s}
			lines := len(openBelow(t, "/dev/pts/"))
			wantError(t, v.Run(context.Background(), console{Out: io.Discard, Err: io.Discard}), fail.want)
			wantFree(t, free.Modbus, free.MQTT, free.Control)
			if now := len(openBelow(t, "/dev/pts/")); now != lines {
				t.Errorf("%d ends of serial lines are left open", now-lines)
			}
		})
	}
}

func TestReplayClosesTheRecordingWhenALaterStepFails(t *testing.T) {
	dir := t.TempDir()
	site, day := filepath.Join(dir, "site.toml"), filepath.Join(dir, "day.csv")
	if code, _, errs := called(t, "simulate", "--scenario", "flooded-start", "--for", "2m", "--out", day, "--config", site); code != 0 {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(day)
	if err != nil {
		t.Fatal(err)
	}
	header, _, _ := strings.Cut(string(text), "\n")
	empty, broken := filepath.Join(dir, "empty.csv"), filepath.Join(dir, "broken.csv")
	for name, content := range map[string]string{empty: header + "\n", broken: header + "\nyesterday\n"} {
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	quiet := console{Out: io.Discard, Err: io.Discard}
	for name, c := range map[string]struct {
		cmd  replayCmd
		want string
	}{
		"states cannot be written":    {replayCmd{States: fileAsDirectory(t), Recordings: []string{day}}, "not a directory"},
		"events cannot be written":    {replayCmd{Events: fileAsDirectory(t), Recordings: []string{day}}, "not a directory"},
		"broken row":                  {replayCmd{States: filepath.Join(dir, "states.csv"), Recordings: []string{broken}}, "row 1"},
		"nothing to play":             {replayCmd{Speed: 30, Recordings: []string{empty}}, "holds no row"},
		"broken row before the page":  {replayCmd{Speed: 30, Recordings: []string{broken}}, "row 1"},
		"page at a busy address":      {replayCmd{Listen: busyAddress(t), Recordings: []string{day}}, "listen for the page"},
		"second recording is missing": {replayCmd{Recordings: []string{day, filepath.Join(dir, "absent.csv")}}, "absent.csv"},
	} {
		t.Run(name, func(t *testing.T) {
			c.cmd.Config = site
			wantError(t, c.cmd.Run(t.Context(), quiet), c.want)
			if names := openBelow(t, dir); len(names) > 0 {
				t.Errorf("left open: %v", names)
			}
		})
	}
}

func TestRecordOpensNothingWhenItCannotWrite(t *testing.T) {
	v := recordCmd{Config: written(t, fmt.Sprintf(silentSite, "127.0.0.1:1")), For: 1e9, Out: fileAsDirectory(t)}
	wantError(t, v.Run(t.Context(), console{Out: io.Discard, Err: io.Discard}), "--out: stat")
}
