package modbus

import (
	"context"
	"net"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector"
	"dewgap/simulators/devices"
)

// TestPeerTrap53GatewayThatAnswersLate over real sockets: each read that comes too
// late is a failure, no register gets another's value, and the values return with
// the gateway.
func TestPeerTrap53GatewayThatAnswersLate(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("set DEWGAP_PEERS=1 to test over real sockets for some seconds")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var late atomic.Bool
	gateway := &devices.ModbusDevice{Registers: &plant{}}
	gateway.Choose(func(devices.ModbusRequest) devices.ModbusFault {
		if late.Load() {
			return devices.ModbusFault{Kind: devices.Late, Delay: 3 * time.Second}
		}
		return devices.ModbusFault{}
	})
	out := &sink{wake: make(chan struct{}, 1)}
	source, err := New(Settings{Name: "rack-io", Address: l.Addr().String(), Period: time.Second, Timeout: time.Second, Points: three()},
		Options{Clock: collector.NewRealClock(), Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served, ran := make(chan error, 1), make(chan error, 1)
	go func() { served <- gateway.Serve(ctx, l) }()
	go func() { ran <- source.Run(ctx, out) }()
	defer func() {
		cancel()
		for _, ended := range []chan error{served, ran} {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}()
	count := func(enough int, wanted reading.Quality) {
		t.Helper()
		limit := time.After(2 * time.Minute)
		for n := 0; n < enough; {
			select {
			case <-out.wake:
			case <-limit:
				t.Fatalf("%d of %d readings that are %v", n, enough, wanted)
			}
			for _, r := range out.take() {
				if r.Quality == wanted {
					n++
				}
				p := source.settings.Points[r.Point]
				if want := float64(word(p.Unit, uint8(p.Table), p.Address)) / 100; r.Quality == reading.Good && r.Value != want {
					t.Errorf("register %d reads %v, is %v", p.Address, r.Value, want)
				}
			}
		}
	}
	count(6, reading.Good)
	late.Store(true)
	count(12, reading.Missing)
	late.Store(false)
	count(6, reading.Good)
	if n := gateway.Writes(); n != 0 {
		t.Errorf("%d writes", n)
	}
}
