package modbus

import (
	"fmt"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// TestTrap08OneOwner: many units, periods and tables on one bus never mix.
func TestTrap08OneOwner(t *testing.T) {
	var points []Point
	for unit := uint8(1); unit <= 20; unit++ {
		for i := range uint16(8) {
			p := hundredths(unit, Holding+Table(i%2), 10*i)
			p.Period = time.Duration(1+i%3) * time.Second
			points = append(points, p)
		}
	}
	onRig(t, Settings{Points: numbered(points...), Gap: 40}, func(r *rig) {
		good, faults := r.pass(time.Minute)
		if len(faults) != 0 || good < 20*8*20 {
			t.Errorf("%d good, %v", good, faults)
		}
		if r.server.Connections() != 1 {
			t.Errorf("%d connections", r.server.Connections())
		}
	})
}

// stamped notes when frames cross the line.
type stamped struct {
	net.Conn
	last    *time.Time
	least   *time.Duration
	written *int
}

func (s stamped) Write(b []byte) (int, error) {
	if quiet := time.Since(*s.last); *s.written > 0 && quiet < *s.least {
		*s.least = quiet
	}
	*s.written++
	n, err := s.Conn.Write(b)
	*s.last = time.Now()
	return n, err
}

func (s stamped) Read(b []byte) (int, error) {
	n, err := s.Conn.Read(b)
	if n > 0 {
		*s.last = time.Now()
	}
	return n, err
}

func TestTrap09LineDiscipline(t *testing.T) {
	for _, c := range []struct {
		baud  int
		least time.Duration // MODBUS over Serial Line V1.02, 2.5.1.1
	}{{9600, 77 * time.Second / 2 / 9600}, {19200, 77 * time.Second / 2 / 19200}, {115200, 1750 * time.Microsecond}} {
		t.Run(fmt.Sprint("silence at ", c.baud), func(t *testing.T) {
			serial := testSerial
			serial.Baud = c.baud
			synctest.Test(t, func(t *testing.T) {
				r := newRig(t, Settings{Transport: RTU, Points: three(), Serial: serial, Period: 2 * time.Millisecond})
				var last time.Time
				least, written := time.Hour, 0
				r.wrap = func(c net.Conn) net.Conn { return stamped{c, &last, &least, &written} }
				r.start()
				r.pass(time.Second)
				r.stop()
				if least < c.least-time.Microsecond || least > 3*c.least || written < 10 {
					t.Errorf("silence of %v before %d frames, want %v", least, written, c.least)
				}
			})
		})
	}
	t.Run("echo", func(t *testing.T) {
		onRig(t, Settings{Transport: RTU, Points: three(), Serial: testSerial, Name: "echo"}, func(r *rig) {
			if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
				t.Errorf("%d good, %v", good, faults)
			}
		})
	})
	for name, kind := range map[string]devices.ModbusFaultKind{"noise": devices.Noise, "trailing": devices.Trailing, "twice": devices.Twice} {
		t.Run(name, func(t *testing.T) {
			onRig(t, Settings{Transport: RTU, Points: three(), Serial: testSerial}, func(r *rig) {
				r.server.Set(devices.ModbusFault{Kind: kind})
				if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
					t.Errorf("%d good, %v", good, faults)
				}
			})
		})
	}
}

// written notes when each request goes out.
type written struct {
	net.Conn
	at *[]time.Time
}

func (w written) Write(b []byte) (int, error) {
	*w.at = append(*w.at, time.Now())
	return w.Conn.Write(b)
}

// TestTrap09WaitsOutTheLine: after a time-out nobody is asked until the line
// has been silent for half a time-out more, or the late answer would collide
// with the next unit's.
func TestTrap09WaitsOutTheLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, Settings{Transport: RTU, Serial: testSerial, Period: 2 * time.Second, Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))})
		r.server.Set(devices.ModbusFault{Kind: devices.Silent})
		var at []time.Time
		r.wrap = func(c net.Conn) net.Conn { return written{c, &at} }
		r.start()
		r.pass(10 * time.Minute)
		r.stop()
		for i := 1; i < len(at); i++ {
			if gap := at[i].Sub(at[i-1]); gap < 1500*time.Millisecond {
				t.Errorf("request %d goes out %v after one that timed out after 1s", i, gap)
			}
		}
		if len(at) < 10 {
			t.Errorf("only %d requests", len(at))
		}
	})
}
