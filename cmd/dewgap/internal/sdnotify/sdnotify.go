// Package sdnotify reports to the service manager that a program is ready, is
// alive, and stops, by the protocol of sd_notify(3).
//
// It may import the standard library alone.
package sdnotify

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// Manager is the service manager that started this process. A nil Manager, and
// one without a socket, takes every report and sends nothing.
type Manager struct {
	socket   string
	watchdog time.Duration // without a sign of life for so long, the manager ends the process; 0: never
	ready    bool
	alive    time.Time // of the last sign of life
}

// FromEnvironment returns the manager that the environment names, and removes
// its variables, so that no child reports in this process's name.
func FromEnvironment() *Manager {
	m := &Manager{socket: os.Getenv("NOTIFY_SOCKET")}
	usec, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if pid := os.Getenv("WATCHDOG_PID"); err == nil && usec > 0 && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		m.watchdog = time.Duration(usec) * time.Microsecond
	}
	for _, name := range []string{"NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"} {
		_ = os.Unsetenv(name)
	}
	return m
}

// rowsMissed is how many rows in a row a loop in good order may miss, for
// instance while a disk is slow; common practice, no source.
const rowsMissed = 3

// Row is called by the main loop after each row, at now on a clock that never
// goes back; period is the time to the next row. The first row reports ready, and later ones a sign of life each
// half of the watchdog's time. A watchdog that a loop in good order could miss
// is asked for more time.
func (m *Manager) Row(now time.Time, period time.Duration) error {
	if m == nil || m.socket == "" {
		return nil
	}
	var state string
	if !m.ready {
		state = "READY=1\nSTATUS=watching\n"
	}
	if need := rowsMissed * period; m.watchdog > 0 && m.watchdog < need {
		m.watchdog = need
		state += fmt.Sprintf("WATCHDOG_USEC=%d\n", need.Microseconds())
	}
	if m.watchdog > 0 && (!m.ready || now.Sub(m.alive) >= m.watchdog/2-period) {
		state += "WATCHDOG=1\n"
	}
	if state == "" {
		return nil
	}
	if err := m.send(state); err != nil {
		return err
	}
	m.ready, m.alive = true, now
	return nil
}

// Stopping reports that the process ends by itself.
func (m *Manager) Stopping() error {
	if m == nil || m.socket == "" {
		return nil
	}
	return m.send("STOPPING=1\n")
}

// send passes one datagram. A name that begins with @ is in the abstract
// name space, which package net knows by the same sign.
func (m *Manager) send(state string) error {
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: m.socket, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("report to the service manager: %w", err)
	}
	defer conn.Close()
	if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return fmt.Errorf("report to the service manager: %w", err)
	}
	if _, err := conn.Write([]byte(state)); err != nil {
		return fmt.Errorf("report to the service manager: %w", err)
	}
	return nil
}
