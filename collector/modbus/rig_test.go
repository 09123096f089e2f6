package modbus

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"math"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/collector"
	"dewgap/collector/register"
	"dewgap/simulators/devices"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var degC = func() units.Unit {
	u, err := units.ParseUnit("degC")
	if err != nil {
		panic(err)
	}
	return u
}()

// plant is the truth behind the devices: a register for every address, its word
// made from unit, table and address so that no two neighbours look alike.
type plant struct {
	mu    sync.Mutex
	holes map[uint16]bool
}

func word(unit, table uint8, address uint16) uint16 {
	return uint16((int(unit)*211 + int(table)*1009 + int(address)*7) % 20000)
}

func (p *plant) Read(unit, table uint8, address uint16) (uint16, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	w := word(unit, table, address)
	if table <= 2 {
		w &= 1
	}
	return w, !p.holes[address]
}

func (p *plant) setHoles(addresses ...uint16) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.holes = make(map[uint16]bool)
	for _, a := range addresses {
		p.holes[a] = true
	}
}

// hundredths is a point that reads one register as hundredths of a degree.
func hundredths(unit uint8, table Table, address uint16) Point {
	return Point{Unit: unit, Table: table, Address: address, Bit: -1,
		Mapping: register.Mapping{Type: register.Int16, Scale: 0.01, Unit: degC}}
}

func numbered(points ...Point) []Point {
	for i := range points {
		points[i].Index = i
		points[i].Path = "test.point"
	}
	return points
}

// sink keeps every reading.
type sink struct {
	mu   sync.Mutex
	all  []reading.Reading
	wake chan struct{}
}

func (s *sink) Put(r reading.Reading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, r)
	if s.wake != nil {
		select {
		case s.wake <- struct{}{}:
		default:
		}
	}
}

func (s *sink) take() []reading.Reading {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := s.all
	s.all = nil
	return all
}

// rig is a bus, its source and the device on it, in the fake time of synctest.
type rig struct {
	*Source
	*sink
	t        *testing.T
	server   *devices.ModbusDevice
	plant    *plant
	settings Settings
	log      bytes.Buffer
	quiet    bool // nothing is logged
	stop     func()
	refuse   atomic.Value            // error that dialling says; a nil-like empty one when it works
	clock    collector.Clock         // nil: the real one
	wrap     func(net.Conn) net.Conn // around each connection, where a test listens in
}

// refusal is what rig.refuse holds.
type refusal struct{ error }

// onRig runs body with a running rig. All in it takes fake time.
func onRig(t *testing.T, s Settings, body func(*rig)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, s)
		r.start()
		body(r)
		r.stop()
		if n := r.server.Writes(); n != 0 {
			t.Errorf("%d writes reached the device", n)
		}
	})
}

func newRig(t *testing.T, s Settings) *rig {
	t.Helper()
	if s.Timeout == 0 {
		s.Timeout = time.Second
	}
	if s.Period == 0 {
		s.Period = 5 * time.Second
	}
	if s.Address == "" {
		s.Address = "device.invalid:502"
	}
	echo := s.Name == "echo" // a two-wire adapter that echoes what is sent
	s.Name = "rack-io"
	r := &rig{t: t, sink: &sink{}, plant: &plant{}, settings: s}
	r.server = &devices.ModbusDevice{Registers: r.plant, RTU: s.Transport != TCP, Echo: echo}
	return r
}

func (r *rig) start() {
	r.t.Helper()
	clock := r.clock
	if clock == nil {
		clock = collector.NewRealClock()
	}
	log := slog.New(slog.NewTextHandler(&r.log, nil))
	if r.quiet {
		log = nil
	}
	source, err := New(r.settings, Options{Clock: clock, Seed: 1, Log: log})
	if err != nil {
		r.t.Fatal(err)
	}
	r.Source = source
	ctx, cancel := context.WithCancel(context.Background())
	device, unplug := context.WithCancel(context.Background())
	var reader, devices sync.WaitGroup
	source.dial = func(context.Context) (conn, error) {
		if err, _ := r.refuse.Load().(refusal); err.error != nil {
			return nil, err.error
		}
		here, there := net.Pipe()
		devices.Go(func() { r.server.ServeLine(device, buffer(there)) })
		if r.wrap != nil {
			return r.wrap(here), nil
		}
		return here, nil
	}
	reader.Go(func() { source.Run(ctx, r.sink) })
	// The device stays until the source has left: it must not be what ends a
	// request.
	r.stop = func() { cancel(); reader.Wait(); unplug(); devices.Wait() }
}

// buffered is the device's end of a pipe that takes what is sent while the
// device is busy, as a socket or a line does.
type buffered struct {
	net.Conn
	in   chan []byte
	rest []byte
}

func buffer(c net.Conn) *buffered {
	b := &buffered{Conn: c, in: make(chan []byte, 1000)}
	go func() {
		defer close(b.in)
		for {
			chunk := make([]byte, 300)
			n, err := c.Read(chunk)
			if err != nil {
				return
			}
			b.in <- chunk[:n]
		}
	}()
	return b
}

func (b *buffered) Read(p []byte) (int, error) {
	if len(b.rest) == 0 {
		var open bool
		if b.rest, open = <-b.in; !open {
			return 0, io.EOF
		}
	}
	n := copy(p, b.rest)
	b.rest = b.rest[n:]
	return n, nil
}

// pass lets time go by and returns what was delivered, every value checked
// against the truth.
func (r *rig) pass(d time.Duration) (good int, faults map[string]int) {
	r.t.Helper()
	<-time.After(d) // fake time of synctest
	synctest.Wait()
	faults = make(map[string]int)
	for _, got := range r.take() {
		p := r.settings.Points[got.Point]
		if got.Quality != reading.Good {
			if !math.IsNaN(got.Value) {
				r.t.Errorf("%s and yet a value %v", got.Reason, got.Value)
			}
			faults[got.Reason]++
			continue
		}
		good++
		want := float64(word(p.Unit, uint8(p.Table), p.Address)) / 100
		if p.Table.bits() {
			want = float64(word(p.Unit, uint8(p.Table), p.Address) & 1)
		}
		if math.Abs(got.Value-want) > 1e-9 {
			r.t.Errorf("wrong value: unit %d %s %d reads %v, is %v", p.Unit, p.Table, p.Address, got.Value, want)
		}
	}
	return good, faults
}

// three are points in three reads (too far apart to join) of one width, so that
// only their checks keep the replies apart.
func three() []Point {
	return numbered(hundredths(1, Holding, 100), hundredths(1, Holding, 200), hundredths(1, Holding, 300))
}

func has(faults map[string]int, part string) int {
	n := 0
	for reason, count := range faults {
		if strings.Contains(reason, part) {
			n += count
		}
	}
	return n
}

var testSerial = Serial{Baud: 9600, DataBits: 8, StopBits: 1, Parity: "even"}
