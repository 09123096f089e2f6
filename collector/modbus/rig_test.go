package modbus

import (
	"bytes"
	"context"
	"log/slog"
	"math"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/collector"
	"dewgap/collector/register"
	"dewgap/simulators/fronts"

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

// plant is the truth behind the fronts: a register for every address, its word
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
	front    *fronts.ModbusFront
	plant    *plant
	settings Settings
	log      bytes.Buffer
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
		if n := r.front.Writes(); n != 0 {
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
	echo := s.Name == "echo" // a two-wire adapter that hears itself
	s.Name = "rack-io"
	r := &rig{t: t, sink: &sink{}, plant: &plant{}, settings: s}
	r.front = &fronts.ModbusFront{Registers: r.plant, RTU: s.Transport != TCP, Echo: echo}
	return r
}

func (r *rig) start() {
	r.t.Helper()
	clock := r.clock
	if clock == nil {
		clock = collector.NewRealClock()
	}
	source, err := New(r.settings, Options{Clock: clock, Seed: 1, Log: slog.New(slog.NewTextHandler(&r.log, nil))})
	if err != nil {
		r.t.Fatal(err)
	}
	r.Source = source
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	source.dial = func(context.Context) (conn, error) {
		if err, _ := r.refuse.Load().(refusal); err.error != nil {
			return nil, err.error
		}
		here, there := net.Pipe()
		all.Go(func() { r.front.ServeLine(ctx, there) })
		if r.wrap != nil {
			return r.wrap(here), nil
		}
		return here, nil
	}
	all.Go(func() { source.Run(ctx, r.sink) })
	r.stop = func() { cancel(); all.Wait() }
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
