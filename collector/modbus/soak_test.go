package modbus

import (
	"math"
	"math/rand/v2"
	"net"
	"os"
	"runtime"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
	"dewgap/simulators/fronts"
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

// TestSoak: 50 units with every fault at 1 %, ten minutes (an hour with
// DEWGAP_PEERS=1) of the bus's time in synctest: each value published is what
// the device held when it was asked.
func TestSoak(t *testing.T) {
	length := 10 * time.Minute
	if os.Getenv("DEWGAP_PEERS") == "1" {
		length = time.Hour
	}
	kinds := []fronts.ModbusFault{{Kind: fronts.Late, Delay: 300 * time.Millisecond}, {Kind: fronts.Late, Delay: 1100 * time.Millisecond}, {Kind: fronts.Late, Delay: 2500 * time.Millisecond},
		{Kind: fronts.Silent}, {Kind: fronts.Short}, {Kind: fronts.Long}, {Kind: fronts.WrongCount}, {Kind: fronts.WrongUnit}, {Kind: fronts.WrongFunction},
		{Kind: fronts.WrongTransaction}, {Kind: fronts.WrongProtocol}, {Kind: fronts.WrongLength, Length: 2}, {Kind: fronts.WrongCRC}, {Kind: fronts.Drip, Delay: 400 * time.Millisecond},
		{Kind: fronts.Close}, {Kind: fronts.Noise}, {Kind: fronts.Trailing}, {Kind: fronts.Twice},
		{Kind: fronts.Exception, Code: 6}, {Kind: fronts.Exception, Code: 10}, {Kind: fronts.Exception, Code: 2}, {Kind: fronts.WrongException, Code: 2}}
	for _, transport := range []Transport{TCP, RTU} {
		t.Run(transport.kind(), func(t *testing.T) {
			var points []Point
			for unit := uint8(1); unit <= 50; unit++ {
				for _, address := range []uint16{0, 2, 8, 60, 120} {
					points = append(points, Point{Unit: unit, Table: Input, Address: address, Bit: -1,
						Mapping: register.Mapping{Type: register.Float32, Order: register.CDAB, Unit: degC}})
				}
			}
			serial := testSerial
			serial.Baud = 115200
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t, Settings{Transport: transport, Serial: serial, Points: numbered(points...), Gap: 8})
				r.front.Registers = moving{}
				random := rand.New(rand.NewPCG(7, 7))
				injected := 0
				r.front.Choose(func(fronts.ModbusRequest) fronts.ModbusFault {
					if random.Float64() >= 0.01 {
						return fronts.ModbusFault{}
					}
					injected++
					return kinds[random.IntN(len(kinds))]
				})
				r.start()
				goroutines := runtime.NumGoroutine()
				good, failed, wrong := 0, 0, 0
				for range length / (10 * time.Second) {
					<-time.After(10 * time.Second)
					for _, got := range r.take() {
						if got.Quality != reading.Good {
							failed++
							continue
						}
						good++
						p := r.settings.Points[got.Point]
						right := false
						for back := range int64(3) { // asked at most a time-out ago
							right = right || float32(got.Value) == truth(p.Unit, p.Address, got.Time.Unix()-back)
						}
						if !right {
							wrong++
						}
					}
				}
				if wrong != 0 {
					t.Errorf("%d wrong values of %d", wrong, good)
				}
				expected := len(points) * int(length/r.settings.Period)
				if good < expected*8/10 || injected < 20 || failed == 0 {
					t.Errorf("%d good of %d, %d failed, %d faults", good, expected, failed, injected)
				}
				if now := runtime.NumGoroutine(); now > goroutines+2 {
					t.Errorf("%d goroutines, %d at the start", now, goroutines)
				}
				t.Logf("%d values right, %d failures, %d faults injected in %v", good, failed, injected, length)
				r.stop()
				synctest.Wait()
			})
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
	front := &fronts.ModbusFront{Registers: &plant{}}
	address, stop := serveTCP(t, front)
	before := descriptors(t)
	s := Settings{Name: "x", Address: address, Timeout: time.Second, Period: time.Second, Points: three()}
	l := newLine(&s, s.dialer())
	for i := range 200 {
		front.Set(fronts.ModbusFault{Kind: []fronts.ModbusFaultKind{fronts.NoFault, fronts.Reset, fronts.Close, fronts.WrongUnit}[i%4]})
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

// serveTCP puts a front on a loopback port.
func serveTCP(t testing.TB, front *fronts.ModbusFront) (address string, stop func()) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := contextWithCancel(t)
	done := make(chan struct{})
	go func() { front.Serve(ctx, listener); close(done) }()
	stop = func() { cancel(); <-done }
	t.Cleanup(stop)
	return listener.Addr().String(), stop
}
