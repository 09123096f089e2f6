package modbus

import (
	"context"
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// TestTrap01LateReply: whatever the lateness, no register ever gets another's value.
func TestTrap01LateReply(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU, RTUOverTCP} {
		for _, late := range []time.Duration{900, 1100, 1400, 1600, 1900, 2100, 2600, 3500, 6000} {
			late *= time.Millisecond
			t.Run(fmt.Sprintf("%s %v", transport.kind(), late), func(t *testing.T) {
				onRig(t, Settings{Transport: transport, Points: three(), Serial: testSerial, Period: 2 * time.Second}, func(r *rig) {
					n := 0
					r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault {
						if n++; n%5 == 0 || n > 40 && n < 46 {
							return devices.ModbusFault{Kind: devices.Late, Delay: late}
						}
						return devices.ModbusFault{}
					})
					good, faults := r.pass(20 * time.Minute)
					if late > time.Second && has(faults, "timeout") == 0 {
						t.Errorf("no time-out seen: %v", faults)
					}
					if good < 50 {
						t.Errorf("only %d values in 20 min", good)
					}
					r.server.Choose(nil)
					r.pass(10 * time.Minute)
					if good, faults := r.pass(time.Minute); good < 80 || len(faults) != 0 {
						t.Errorf("not well again: %d good, %v", good, faults)
					}
				})
			})
		}
	}
}

// TestTrap01LateOnOneLine: the line is not closed by anybody (a shared serial
// bus): the late answer comes on the very line the next request uses.
func TestTrap01LateOnOneLine(t *testing.T) {
	for late := 500 * time.Millisecond; late < 5*time.Second; late += 350 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, Settings{Transport: RTU, Address: "/dev/null", Points: three(), Serial: testSerial, Period: 2 * time.Second})
			ctx, cancel := context.WithCancel(context.Background())
			here, there := net.Pipe()
			go r.server.ServeLine(ctx, buffer(there))
			r.wrap = func(c net.Conn) net.Conn {
				c.Close() // the rig's own; all use the one line
				return staysOpen{here}
			}
			r.start()
			r.server.Set(devices.ModbusFault{Kind: devices.Late, Delay: late})
			r.pass(10 * time.Minute)
			r.server.Set(devices.ModbusFault{})
			r.pass(10 * time.Minute)
			if good, faults := r.pass(time.Minute); good < 80 || len(faults) != 0 {
				t.Errorf("late by %v: not well again: %d good, %v", late, good, faults)
			}
			r.stop()
			cancel()
			here.Close()
			synctest.Wait()
		})
	}
}

// staysOpen is a line that closing does not cut.
type staysOpen struct{ net.Conn }

func (staysOpen) Close() error { return nil }

func TestTrap02RedialsAfterResetAndClose(t *testing.T) {
	onRig(t, Settings{Points: three()}, func(r *rig) {
		if good, _ := r.pass(time.Minute); good == 0 {
			t.Fatal("nothing read")
		}
		// An idle device hangs up now and then: no sample is lost.
		n := 0
		r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault {
			if n++; n%7 == 0 {
				return devices.ModbusFault{Kind: devices.Close}
			}
			return devices.ModbusFault{}
		})
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("a sample was lost to an idle close: %d good, %v", good, faults)
		}
		r.server.Choose(nil)
		r.server.Set(devices.ModbusFault{Kind: devices.Close})
		if good, faults := r.pass(10 * time.Minute); good != 0 || has(faults, "closed") == 0 {
			t.Errorf("closing always: %d good, %v", good, faults)
		}
		if s := r.Status(); s.Up || !strings.Contains(s.Reason, "closed") {
			t.Errorf("status while down: %+v", s)
		}
		before := r.server.Connections()
		r.pass(10 * time.Minute)
		if redials := r.server.Connections() - before; redials < 5 || redials > 25 {
			t.Errorf("%d redials in 10 min, want about one a minute", redials)
		}
		r.server.Set(devices.ModbusFault{})
		r.pass(2 * time.Minute)
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
		if s := r.Status(); !s.Up || s.Reconnects == 0 {
			t.Errorf("status when well: %+v", s)
		}
	})
}

func TestTrap07TimeoutsAndIdleSockets(t *testing.T) {
	s := Settings{Name: "x", Address: "127.0.0.1:502", Period: time.Second, Points: three()}
	if _, err := New(s, Options{}); err == nil || !strings.Contains(err.Error(), "wait for ever") {
		t.Errorf("time-out 0 is taken: %v", err)
	}
	onRig(t, Settings{Points: three(), Period: time.Hour}, func(r *rig) {
		good, faults := r.pass(12 * time.Hour)
		if good != 36 || len(faults) != 0 || r.server.Connections() != 1 {
			t.Errorf("%d good, %v, %d connections: an idle socket was closed", good, faults, r.server.Connections())
		}
	})
}
