package modbus

import (
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
	"dewgap/collector/register"
	"dewgap/simulators/devices"
)

func contextWithCancel(t testing.TB) (context.Context, context.CancelFunc) {
	return context.WithCancel(context.Background())
}

// TestTrap13ReadOnce: what a technician sees when a point's address, order or
// type is in doubt.
func TestTrap13ReadOnce(t *testing.T) {
	front := &devices.ModbusDevice{Registers: moving{}}
	address, _ := serveTCP(t, front)
	untyped := Point{Unit: 3, Table: Input, Address: 8, Bit: -1, Mapping: register.Mapping{Unit: degC}}
	wrong := untyped
	wrong.Mapping.Type, wrong.Mapping.Order = register.Float32, register.ABCD
	right := untyped
	right.Address, right.Mapping.Type, right.Mapping.Order = 10, register.Float32, register.CDAB
	probes, grouping, err := ReadOnce(t.Context(), Settings{Name: "x", Address: address, Timeout: time.Second, Period: time.Second, Gap: 8,
		Points: numbered(untyped, wrong, right)})
	if err != nil {
		t.Fatal(err)
	}
	near := func(got float64, address uint16) bool { return math.Abs(got-float64(truth(3, address, 50))) < 0.03 }
	for i, p := range probes[:2] {
		found := false
		for _, g := range p.Guesses {
			found = found || g.Type == register.Float32 && g.Order == register.CDAB && near(g.Value, 8)
		}
		if !found || !strings.HasPrefix(p.Raw, "0x") || p.Reference() != 300009 || p.Took <= 0 {
			t.Errorf("probe %d: %+v", i, p)
		}
	}
	if probes[0].Quality == reading.Good || probes[1].Quality == reading.Good && near(probes[1].Value, 8) {
		t.Errorf("a doubtful point is good: %+v", probes[:2])
	}
	if probes[2].Quality != reading.Good || !near(probes[2].Value, 10) {
		t.Errorf("the right one: %+v", probes[2])
	}
	if len(grouping) != 1 || !strings.Contains(grouping[0], "input registers 8–11") {
		t.Errorf("grouping %q", grouping)
	}
}

// collect runs a source for real until each point was delivered well or the
// time is over.
func collect(t *testing.T, s Settings) map[int]reading.Reading {
	t.Helper()
	source, err := New(s, Options{Clock: collector.NewRealClock(), Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	out := &sink{wake: make(chan struct{}, 1)}
	done := make(chan error, 1)
	go func() { done <- source.Run(ctx, out) }()
	got := make(map[int]reading.Reading)
	good := 0
	for good < len(s.Points) && ctx.Err() == nil {
		select {
		case <-out.wake:
		case <-ctx.Done():
		}
		good = 0
		for _, r := range out.take() {
			got[r.Point] = r
		}
		for _, r := range got {
			if r.Quality == reading.Good {
				good++
			}
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	return got
}

// wants checks what collect got against the plant's words.
func wants(t *testing.T, s Settings, got map[int]reading.Reading) {
	t.Helper()
	for _, p := range s.Points {
		w := word(p.Unit, uint8(p.Table), p.Address)
		want := float64(w) / 100
		if p.isBit() {
			want = float64(w & 1)
		}
		if r := got[p.Index]; r.Quality != reading.Good || math.Abs(r.Value-want) > 1e-9 {
			t.Errorf("%s unit %d %s %d: %+v, want %v", s.Transport.kind(), p.Unit, p.Table, p.Address, r, want)
		}
	}
}

func fourTables(unit uint8) []Point {
	coil := Point{Unit: unit, Table: Coil, Address: 13, Bit: -1, Mapping: register.Mapping{Type: register.Bit}}
	discrete := coil
	discrete.Table, discrete.Address = Discrete, 19
	return numbered(hundredths(unit, Holding, 3), hundredths(unit, Holding, 9), hundredths(unit, Input, 40), coil, discrete)
}

// TestTrap09SerialLine: RTU through a pseudo-terminal, opened as a serial port.
func TestTrap09SerialLine(t *testing.T) {
	device, keep, name, err := devices.OpenLine()
	if err != nil {
		t.Skip("the system gives no pseudo-terminal: ", err)
	}
	defer keep.Close()
	front := &devices.ModbusDevice{Registers: &plant{}, RTU: true, Echo: true}
	ctx, cancel := contextWithCancel(t)
	done := make(chan struct{})
	go func() { front.ServeLine(ctx, device); close(done) }()
	serial := testSerial
	serial.Baud, serial.Parity = 115200, "none"
	s := Settings{Name: "line", Transport: RTU, Address: name, Serial: serial, Timeout: time.Second, Period: 100 * time.Millisecond, Points: fourTables(5)}
	wants(t, s, collect(t, s))
	cancel()
	<-done
}

// peers skips the test unless real peers are asked for.
func peers(t *testing.T) {
	t.Helper()
	if os.Getenv("DEWGAP_PEERS") != "1" {
		t.Skip("DEWGAP_PEERS=1 runs this against real peers")
	}
}

// start runs a peer until the test ends, and waits for its word "ready".
func start(t *testing.T, name string, args ...string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatalf("the peer is missing: %v", err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	ready := make([]byte, 5)
	if n, err := out.Read(ready); err != nil || string(ready[:n]) != "ready" {
		t.Fatalf("%s: %q %v", name, ready[:n], err)
	}
}

// libmodbus compiles the server in testdata.
func libmodbus(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "server")
	out, err := exec.Command("gcc", "-I/usr/include/modbus", "-o", program, "testdata/libmodbus_server.c", "-lmodbus").CombinedOutput()
	if err != nil {
		t.Fatalf("compile the libmodbus server: %v\n%s", err, out)
	}
	return program
}

// line joins two pseudo-terminals with socat and returns their names.
func line2(t *testing.T) (a, b string) {
	t.Helper()
	dir := t.TempDir()
	a, b = filepath.Join(dir, "a"), filepath.Join(dir, "b")
	cmd := exec.Command("socat", "pty,raw,echo=0,link="+a, "pty,raw,echo=0,link="+b)
	if err := cmd.Start(); err != nil {
		t.Fatalf("socat is missing: %v", err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	for range 6000 {
		if _, err := os.Stat(b); err == nil {
			if _, err = os.Stat(a); err == nil {
				return a, b
			}
		}
		<-time.After(10 * time.Millisecond)
	}
	t.Fatal("socat made no line")
	return "", ""
}

func TestPeers(t *testing.T) {
	peers(t)
	program := libmodbus(t)
	for name, peer := range map[string][]string{
		"libmodbus": {program},
		"pymodbus":  {"/usr/bin/python3", "testdata/pymodbus_server.py"}, // Debian's, which has python3-pymodbus,
	} {
		t.Run(name+" tcp", func(t *testing.T) {
			port := freePort(t)
			start(t, peer[0], append(peer[1:], "tcp", port)...)
			s := Settings{Name: name, Address: "127.0.0.1:" + port, Timeout: time.Second, Period: 200 * time.Millisecond, Points: fourTables(5)}
			wants(t, s, collect(t, s))
		})
		t.Run(name+" rtu", func(t *testing.T) {
			ours, theirs := line2(t)
			start(t, peer[0], append(peer[1:], "rtu", theirs)...)
			serial := Serial{Baud: 19200, DataBits: 8, StopBits: 1, Parity: "none"}
			s := Settings{Name: name, Transport: RTU, Address: ours, Serial: serial, Timeout: time.Second, Period: 200 * time.Millisecond, Points: fourTables(5)}
			wants(t, s, collect(t, s))
		})
	}
}

func freePort(t *testing.T) string {
	t.Helper()
	address, stop := serveTCP(t, &devices.ModbusDevice{Registers: &plant{}})
	stop()
	return address[strings.LastIndexByte(address, ':')+1:]
}
