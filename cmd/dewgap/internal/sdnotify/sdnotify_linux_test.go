package sdnotify

import (
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"os"
)

// listen opens the manager's end of the protocol and returns a function that
// takes the datagrams that have arrived.
func listen(t *testing.T, name string) func() []string {
	t.Helper()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return func() (got []string) {
		// Datagrams keep their order: what was sent before is read before the end.
		const end = "END"
		m := Manager{socket: name}
		if err := m.send(end); err != nil {
			t.Fatal(err)
		}
		buf := make([]byte, 4096)
		for {
			n, err := conn.Read(buf)
			if err != nil {
				t.Fatal(err)
			}
			text := strings.TrimSpace(string(buf[:n]))
			if text == end {
				return got
			}
			got = append(got, text)
		}
	}
}

// The assignments are those of sd_notify(3); the half of the watchdog's time is
// what sd_watchdog_enabled(3) recommends.
func TestRows(t *testing.T) {
	const ready = "READY=1\nSTATUS=watching"
	for _, c := range []struct {
		name   string
		usec   string
		pid    string
		period time.Duration
		rows   int
		want   []string
	}{
		{"no watchdog: ready once", "", "", time.Second, 100, []string{ready}},
		{"not ready without a row", "60000000", "", time.Second, 0, nil},
		{"watchdog of another process", "60000000", "1", time.Second, 100, []string{ready}},
		{"a watchdog that is no number", "soon", "", time.Second, 100, []string{ready}},
		{"rows each second: alive each half of the time", "60000000", "", time.Second, 90,
			[]string{ready + "\nWATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1"}},
		{"just before the second sign of life", "60000000", "", time.Second, 29, []string{ready + "\nWATCHDOG=1"}},
		{"the second sign of life", "60000000", "", time.Second, 30, []string{ready + "\nWATCHDOG=1", "WATCHDOG=1"}},
		{"rows each minute: more time is asked for, each row is a sign of life", "60000000", "", time.Minute, 3,
			[]string{ready + "\nWATCHDOG_USEC=180000000\nWATCHDOG=1", "WATCHDOG=1", "WATCHDOG=1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			name := filepath.Join(t.TempDir(), "notify")
			got := listen(t, name)
			t.Setenv("NOTIFY_SOCKET", name)
			t.Setenv("WATCHDOG_USEC", c.usec)
			t.Setenv("WATCHDOG_PID", c.pid)
			m := FromEnvironment()
			now := time.Unix(0, 0)
			for range c.rows {
				if err := m.Row(now, c.period); err != nil {
					t.Fatal(err)
				}
				now = now.Add(c.period)
			}
			if got := got(); strings.Join(got, "|") != strings.Join(c.want, "|") {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// The longest time without a sign of life stays below the watchdog's.
func TestNeverLate(t *testing.T) {
	for _, period := range []time.Duration{100 * time.Millisecond, time.Second, 7 * time.Second, 19 * time.Second, 20 * time.Second, 59 * time.Second, time.Minute} {
		for _, watchdog := range []time.Duration{time.Second, 10 * time.Second, time.Minute} {
			name := filepath.Join(t.TempDir(), "notify")
			got := listen(t, name)
			m := &Manager{socket: name, watchdog: watchdog}
			now, last := time.Unix(0, 0), time.Unix(0, 0)
			for range 200 {
				if err := m.Row(now, period); err != nil {
					t.Fatal(err)
				}
				if m.alive.Equal(now) {
					last = now
				}
				if since := now.Add(period).Sub(last); since > m.watchdog/2+period {
					t.Fatalf("rows each %v, watchdog %v: %v without a sign of life", period, m.watchdog, since)
				}
				now = now.Add(period)
				if len(got()) > 1 {
					t.Fatal("one row, several reports")
				}
				if now.After(time.Unix(0, 0).Add(5 * m.watchdog)) {
					break
				}
			}
		}
	}
}

func TestStoppingAndAbstractName(t *testing.T) {
	name := "@dewgap-test-" + strconv.Itoa(os.Getpid())
	got := listen(t, name)
	t.Setenv("NOTIFY_SOCKET", name)
	m := FromEnvironment()
	if v, there := os.LookupEnv("NOTIFY_SOCKET"); there {
		t.Errorf("a child would report to %q", v)
	}
	if err := m.Stopping(); err != nil {
		t.Fatal(err)
	}
	if got := got(); len(got) != 1 || got[0] != "STOPPING=1" {
		t.Errorf("got %q", got)
	}
}

// Without a manager nothing is sent; with one that is gone, the error names
// what was being done, and ready is reported again.
func TestNoManager(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	var none *Manager
	for _, m := range []*Manager{none, FromEnvironment()} {
		if err := m.Row(time.Unix(0, 0), time.Second); err != nil {
			t.Error(err)
		}
		if err := m.Stopping(); err != nil {
			t.Error(err)
		}
	}
	name := filepath.Join(t.TempDir(), "notify")
	m := &Manager{socket: name}
	if err := m.Row(time.Unix(0, 0), time.Second); err == nil || !strings.Contains(err.Error(), "service manager") {
		t.Errorf("a manager that is gone: %v", err)
	}
	got := listen(t, name)
	if err := m.Row(time.Unix(1, 0), time.Second); err != nil {
		t.Error(err)
	}
	if got := got(); len(got) != 1 || !strings.HasPrefix(got[0], "READY=1") {
		t.Errorf("ready was not reported again: %q", got)
	}
}
