package modbus

import (
	"context"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"runtime"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
	"dewgap/collector/register"
	"dewgap/simulators/devices"
)

// moving is a plant whose every float moves each second and says whose it is.
type moving struct{}

// truth of one float at a second: unlike any other point's, and unlike its own
// for 100 s.
func truth(unit uint8, address uint16, second int64) float32 {
	return float32(unit)*2 + float32(address)*0.05 + float32(second%100)*0.0004 - 50
}

func (moving) Read(unit, table uint8, address uint16) (uint16, bool) {
	bits := math.Float32bits(truth(unit, address&^1, time.Now().Unix()))
	if address&1 == 0 {
		return uint16(bits), true // low word first
	}
	return uint16(bits >> 16), true
}

// soak is a bus of 50 units with every fault at 1 %.
type soak struct {
	points              []Point
	injected            int
	good, failed, wrong int
}

func newSoak() *soak {
	s := &soak{}
	for unit := uint8(1); unit <= 50; unit++ {
		for _, address := range []uint16{0, 2, 8, 60, 120} {
			s.points = append(s.points, Point{Unit: unit, Table: Input, Address: address, Bit: -1,
				Mapping: register.Mapping{Type: register.Float32, Order: register.CDAB, Unit: degC}})
		}
	}
	numbered(s.points...)
	return s
}

// choose picks faults for a bus whose time-out is timeout.
func (s *soak) choose(timeout time.Duration) func(devices.ModbusRequest) devices.ModbusFault {
	kinds := []devices.ModbusFault{{Kind: devices.Late, Delay: timeout * 3 / 10}, {Kind: devices.Late, Delay: timeout * 11 / 10}, {Kind: devices.Late, Delay: timeout * 5 / 2},
		{Kind: devices.Silent}, {Kind: devices.Short}, {Kind: devices.Long}, {Kind: devices.WrongCount}, {Kind: devices.WrongUnit}, {Kind: devices.WrongFunction},
		{Kind: devices.WrongTransaction}, {Kind: devices.WrongProtocol}, {Kind: devices.WrongLength, Length: 2}, {Kind: devices.WrongCRC}, {Kind: devices.Drip, Delay: timeout * 4 / 10},
		{Kind: devices.Close}, {Kind: devices.Reset}, {Kind: devices.Noise}, {Kind: devices.Trailing}, {Kind: devices.Twice},
		{Kind: devices.Exception, Code: 6}, {Kind: devices.Exception, Code: 10}, {Kind: devices.Exception, Code: 2}, {Kind: devices.WrongException, Code: 2}}
	random := rand.New(rand.NewPCG(7, 7))
	return func(devices.ModbusRequest) devices.ModbusFault {
		if random.Float64() >= 0.01 {
			return devices.ModbusFault{}
		}
		s.injected++
		return kinds[random.IntN(len(kinds))]
	}
}

// judge compares what was published with what the device held when asked, at
// most two seconds before.
func (s *soak) judge(all []reading.Reading) {
	for _, got := range all {
		if got.Quality != reading.Good {
			s.failed++
			continue
		}
		s.good++
		p := s.points[got.Point]
		right := false
		for back := range int64(3) {
			right = right || float32(got.Value) == truth(p.Unit, p.Address, got.Time.Unix()-back)
		}
		if !right {
			s.wrong++
		}
	}
}

// held is what a process holds, which must not grow.
type held struct{ goroutines, descriptors, heap int }

func holds(t *testing.T) held {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return held{runtime.NumGoroutine(), descriptors(t), int(m.HeapAlloc)}
}

func (before held) check(t *testing.T, after held) {
	t.Helper()
	t.Logf("goroutines %d → %d, descriptors %d → %d, heap %d kB → %d kB", before.goroutines, after.goroutines,
		before.descriptors, after.descriptors, before.heap>>10, after.heap>>10)
	// A connection in the making takes a few of each; a leak of one in a
	// hundred faults would be dozens.
	if after.goroutines > before.goroutines+5 || after.descriptors > before.descriptors+5 || after.heap > before.heap+1<<20 {
		t.Error("it grows")
	}
}

// TestSoak: ten minutes (three hours with DEWGAP_PEERS=1) of a bus's time in
// synctest: each value published is what the device held when it was asked,
// and nothing grows.
func TestSoak(t *testing.T) {
	length := 10 * time.Minute
	if os.Getenv("DEWGAP_PEERS") == "1" {
		length = 3 * time.Hour
	}
	for _, transport := range []Transport{TCP, RTU} {
		t.Run(transport.kind(), func(t *testing.T) {
			serial := testSerial
			serial.Baud = 115200
			synctest.Test(t, func(t *testing.T) {
				s := newSoak()
				r := newRig(t, Settings{Transport: transport, Serial: serial, Points: s.points, Gap: 8})
				r.quiet = true // a log that is kept would grow
				r.server.Registers = moving{}
				r.server.Choose(s.choose(time.Second))
				r.start()
				var before held
				for i := range length / (10 * time.Second) {
					<-time.After(10 * time.Second)
					synctest.Wait()
					s.judge(r.take())
					if i == length/(20*time.Second) {
						before = holds(t)
					}
				}
				before.check(t, holds(t))
				s.check(t, int(length/r.settings.Period))
				r.stop()
				synctest.Wait()
			})
		})
	}
}

func (s *soak) check(t *testing.T, cycles int) {
	t.Helper()
	t.Logf("%d values right, %d wrong, %d failures, %d faults injected", s.good-s.wrong, s.wrong, s.failed, s.injected)
	if s.wrong != 0 {
		t.Errorf("%d wrong values of %d", s.wrong, s.good)
	}
	if expected := len(s.points) * cycles; s.good < expected*8/10 || s.injected < 20 || s.failed == 0 {
		t.Errorf("%d good of %d, %d failed, %d faults", s.good, expected, s.failed, s.injected)
	}
}

// TestPeerSoak: the same over real sockets, a device's week in a minute or
// what the machine makes of it.
func TestPeerSoak(t *testing.T) {
	peers(t)
	for _, transport := range []Transport{TCP, RTUOverTCP} {
		t.Run(transport.kind(), func(t *testing.T) {
			s := newSoak()
			front := &devices.ModbusDevice{Registers: moving{}, RTU: transport != TCP}
			address, stop := serveTCP(t, front)
			defer stop()
			set := Settings{Name: "soak", Transport: transport, Address: address, Timeout: 100 * time.Millisecond, Period: 250 * time.Millisecond, Gap: 8, Points: s.points}
			front.Choose(s.choose(set.Timeout))
			source, err := New(set, Options{Clock: collector.NewRealClock(), Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			out := &sink{}
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan error, 1)
			go func() { done <- source.Run(ctx, out) }()
			var before held
			for i := range 50 {
				<-time.After(500 * time.Millisecond)
				s.judge(out.take())
				if i == 10 {
					before = holds(t)
				}
			}
			before.check(t, holds(t))
			cancel()
			if err := <-done; err != nil {
				t.Error(err)
			}
			stop()
			t.Logf("%d values right, %d wrong, %d failures, %d faults injected, %d late cycles", s.good-s.wrong, s.wrong, s.failed, s.injected, source.Status().LateCycles)
			// How many come is the machine's affair; that none is wrong is ours.
			if s.wrong != 0 || s.good < 1000 || s.injected < 10 {
				t.Errorf("%d wrong of %d values, %d faults", s.wrong, s.good, s.injected)
			}
		})
	}
}

// descriptors counts this process's open files.
func descriptors(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no /proc: ", err)
	}
	return len(entries)
}

// TestTrap14NoDescriptorLeaks: failed dials, resets and redials over real
// sockets leave nothing open.
func TestTrap14NoDescriptorLeaks(t *testing.T) {
	front := &devices.ModbusDevice{Registers: &plant{}}
	address, stop := serveTCP(t, front)
	before := descriptors(t)
	s := Settings{Name: "x", Address: address, Timeout: time.Second, Period: time.Second, Points: three()}
	l := newBus(&s, s.dialer())
	for i := range 200 {
		front.Set(devices.ModbusFault{Kind: []devices.ModbusFaultKind{devices.NoFault, devices.Reset, devices.Close, devices.WrongUnit}[i%4]})
		data, f := l.read(t.Context(), 1, Holding, 100, 1)
		if (f == nil) != (i%4 == 0) {
			t.Fatalf("exchange %d: % X %v", i, data, f)
		}
	}
	stop()
	for range 50 {
		if _, f := l.read(t.Context(), 1, Holding, 100, 1); f == nil || !f.ofBus() {
			t.Fatalf("nobody listens: %v", f)
		}
	}
	l.close()
	if after := descriptors(t); after > before {
		t.Errorf("%d descriptors, %d before", after, before)
	}
}

// serveTCP puts a device on a loopback port.
func serveTCP(t testing.TB, server *devices.ModbusDevice) (address string, stop func()) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := contextWithCancel(t)
	done := make(chan struct{})
	go func() { server.Serve(ctx, listener); close(done) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return listener.Addr().String(), stop
}
