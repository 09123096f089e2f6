package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"dewgap/alert"
	"dewgap/analyze/evidence"
)

// silentDevice is a device that takes a request and never answers; asked is closed at
// the first one.
func silentDevice(t *testing.T) (address string, asked <-chan struct{}) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	first := make(chan struct{})
	var once sync.Once
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				b := make([]byte, 300)
				for {
					if _, err := c.Read(b); err != nil {
						return
					}
					once.Do(func() { close(first) })
				}
			}()
		}
	}()
	return l.Addr().String(), first
}

const silentSite = `
[site]
name = "demo"
[daemon]
listen = "127.0.0.1:0"
data = "data"
[[modbus]]
name = "io"
address = %q
timeout = "60 s"
period = "1 s"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { modbus = "io", unit_id = 1, input = 0, type = "int16", unit = "bara" }
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "io", unit_id = 1, input = 1, type = "int16", unit = "degC" }
`

// program runs dewgap as a process of its own.
type program struct {
	cmd  *exec.Cmd
	page string
	log  lockedBuffer
	done chan error
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func start(t *testing.T, dir string, args ...string) *program {
	t.Helper()
	p := &program{cmd: exec.Command(os.Args[0], args...), done: make(chan error, 1)}
	p.cmd.Args[0] = "dewgap" // see TestMain
	p.cmd.Dir = dir
	p.cmd.Stderr = &p.log
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.cmd.Process.Kill(); <-p.done; p.done <- nil })
	first, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		p.done <- p.cmd.Wait()
		t.Fatalf("no page: %v\n%s", err, &p.log)
	}
	p.page = strings.TrimSpace(first)
	go func() { io.Copy(io.Discard, out); p.done <- p.cmd.Wait() }()
	return p
}

// TestTrap32SIGTERMDuringAPoll: it leaves at once, though the device would
// hold the poll for a minute, and the journal is closed.
func TestTrap32SIGTERMDuringAPoll(t *testing.T) {
	dir := t.TempDir()
	address, asked := silentDevice(t)
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, fmt.Appendf(nil, silentSite, address), 0o600); err != nil {
		t.Fatal(err)
	}
	p := start(t, dir, "run", "--config", file)
	<-asked
	sent := time.Now()
	p.cmd.Process.Signal(syscall.SIGTERM)
	err := <-p.done
	p.done <- err
	// 5 s is the promise; a machine under load may be late, the poll is 60 s.
	if took := time.Since(sent); err != nil || took > 30*time.Second {
		t.Errorf("left after %v: %v\n%s", took, err, &p.log)
	}
	j, err := alert.OpenJournal(filepath.Join(dir, "data"), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	notes := j.Notes()
	if len(notes) == 0 || notes[len(notes)-1].What.Code != evidence.DaemonStopped || j.Status().Recovered.String() != "" {
		t.Errorf("the journal was not closed: %+v, %s", notes, j.Status().Recovered)
	}
}

// TestTrap33SIGHUP: a fault in the file is on the page, in the metrics and in
// the log, and goes away with it; the program stays the same.
func TestTrap33SIGHUP(t *testing.T) {
	dir := t.TempDir()
	address, _ := silentDevice(t)
	file := filepath.Join(dir, "site.toml")
	write := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	good := fmt.Sprintf(silentSite, address)
	write(good)
	p := start(t, dir, "run", "--config", file)
	const metric = `dewgap_fault_active{fault="config",site="demo"} `
	await(t, p.page+"metrics", "no fault", func(text string) bool { return strings.Contains(text, metric+"0") })
	write(strings.Replace(good, "R448A", "R999", 1))
	p.cmd.Process.Signal(syscall.SIGHUP)
	await(t, p.page+"metrics", "the fault in the metrics", func(text string) bool { return strings.Contains(text, metric+"1") })
	await(t, p.page+"api/v1/state", "the fault on the page", func(text string) bool { return strings.Contains(text, "R999") })
	if !strings.Contains(p.log.String(), "R999") {
		t.Errorf("the log does not say it:\n%s", &p.log)
	}
	write(strings.Replace(good, "R448A", "R449A", 1))
	p.cmd.Process.Signal(syscall.SIGHUP)
	await(t, p.page+"metrics", "the fault is gone", func(text string) bool { return strings.Contains(text, metric+"0") })
	await(t, p.page+"api/v1/state", "the other refrigerant", func(text string) bool { return strings.Contains(text, "R449A") })
	p.cmd.Process.Signal(syscall.SIGTERM)
	err := <-p.done
	p.done <- err
	if err != nil {
		t.Errorf("%v\n%s", err, &p.log)
	}
}
