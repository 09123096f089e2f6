package modbus

import (
	"fmt"
	"testing"
	"time"

	"dewgap/simulators/devices"
)

// refuses checks that a fault gives no value but a reason, and that it passes.
func refuses(t *testing.T, transport Transport, fault devices.ModbusFault, reason string) {
	t.Helper()
	onRig(t, Settings{Transport: transport, Points: three(), Serial: testSerial}, func(r *rig) {
		r.server.Set(fault)
		if good, faults := r.pass(30 * time.Second); good != 0 || has(faults, reason) == 0 {
			t.Errorf("%d good, %v; want %s", good, faults, reason)
		}
		r.server.Set(devices.ModbusFault{})
		r.pass(7 * time.Minute) // the longest rest and its jitter
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
	})
}

func TestTrap03ByteCounts(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU} {
		for _, c := range []struct {
			kind   devices.ModbusFaultKind
			reason string
		}{{devices.Short, "short-reply"}, {devices.Long, "long-reply"}} {
			t.Run(fmt.Sprint(transport.kind(), " ", c.reason), func(t *testing.T) {
				refuses(t, transport, devices.ModbusFault{Kind: c.kind}, c.reason)
			})
		}
	}
	t.Run("count", func(t *testing.T) { refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongCount}, "wrong-count") })
	// On a line the count is the frame's only length: the frame never ends.
	t.Run("count rtu", func(t *testing.T) { refuses(t, RTU, devices.ModbusFault{Kind: devices.WrongCount}, "no-frame") })
	t.Run("trailing", func(t *testing.T) { refuses(t, TCP, devices.ModbusFault{Kind: devices.Trailing}, "long-reply") })
}

func TestTrap04ForeignReplies(t *testing.T) {
	refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongFunction}, "wrong-function")
	refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongUnit}, "wrong-unit")
	refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongTransaction}, "wrong-transaction")
	refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongException, Code: 2}, "bad-exception")
	refuses(t, RTU, devices.ModbusFault{Kind: devices.WrongFunction}, "wrong-function")
	refuses(t, RTU, devices.ModbusFault{Kind: devices.WrongUnit}, "wrong-unit")
	refuses(t, RTU, devices.ModbusFault{Kind: devices.WrongException, Code: 2}, "bad-exception")
	refuses(t, RTU, devices.ModbusFault{Kind: devices.WrongCRC}, "no-frame")
}

func TestTrap06HeadersAndDrips(t *testing.T) {
	for _, length := range []uint16{0, 1, 2, 255, 65535} {
		refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongLength, Length: length}, "wrong-length")
	}
	refuses(t, TCP, devices.ModbusFault{Kind: devices.WrongProtocol}, "wrong-protocol")
	for _, transport := range []Transport{TCP, RTU} {
		refuses(t, transport, devices.ModbusFault{Kind: devices.Drip, Delay: 900 * time.Millisecond}, map[Transport]string{TCP: "timeout", RTU: "no-frame"}[transport])
	}
	// One deadline a request: a drip that never pauses as long as the time-out
	// still costs no more than the time-out.
	onRig(t, Settings{Points: numbered(hundredths(1, Holding, 1)), Period: time.Minute}, func(r *rig) {
		r.server.Set(devices.ModbusFault{Kind: devices.Drip, Delay: 900 * time.Millisecond})
		r.pass(4 * time.Minute)
		if s := r.Status(); s.Cycle < 900*time.Millisecond || s.Cycle > 1100*time.Millisecond || s.Requests == 0 {
			t.Errorf("the drip cost %v", s.Cycle)
		}
	})
}
