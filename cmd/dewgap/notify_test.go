package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// The first row makes the daemon ready, though its device never answers; the
// assignments are those of sd_notify(3).
func TestRunReportsReadyAliveAndStopping(t *testing.T) {
	dir := t.TempDir()
	address, _ := silentDevice(t)
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, fmt.Appendf(nil, silentSite, address), 0o600); err != nil {
		t.Fatal(err)
	}
	socket := filepath.Join(dir, "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	next := func() string {
		buf := make([]byte, 4096)
		n, err := conn.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		return string(buf[:n])
	}
	t.Setenv("NOTIFY_SOCKET", socket)
	t.Setenv("WATCHDOG_USEC", "3000000")
	t.Setenv("WATCHDOG_PID", "")
	p := start(t, dir, "run", "--config", file)
	if first := next(); !strings.Contains(first, "READY=1\n") || !strings.Contains(first, "WATCHDOG=1\n") {
		t.Errorf("first report %q", first)
	}
	if alive := next(); alive != "WATCHDOG=1\n" {
		t.Errorf("sign of life %q", alive)
	}
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	last := next()
	for last == "WATCHDOG=1\n" {
		last = next()
	}
	if last != "STOPPING=1\n" {
		t.Errorf("last report %q", last)
	}
	err = <-p.done
	p.done <- err
	if err != nil {
		t.Errorf("%v\n%s", err, &p.log)
	}
}
