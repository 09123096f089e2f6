package modbus

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"dewgap/simulators/devices"
)

// TestTrap05GatewayExceptions: a silent unit behind a live gateway rests; its
// neighbour and the connection do not notice.
func TestTrap05GatewayExceptions(t *testing.T) {
	for _, code := range []byte{0x0A, 0x0B} {
		onRig(t, Settings{Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))}, func(r *rig) {
			var asked [3]atomic.Int64
			var alive atomic.Bool
			r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
				asked[q.Unit].Add(1)
				if q.Unit == 2 && !alive.Load() {
					return devices.ModbusFault{Kind: devices.Exception, Code: code}
				}
				return devices.ModbusFault{}
			})
			good, faults := r.pass(20 * time.Minute)
			if good < 239 || has(faults, fmt.Sprintf("exception-%d", code)) == 0 || has(faults, "resting") == 0 {
				t.Errorf("%d good, %v", good, faults)
			}
			if one, two := asked[1].Load(), asked[2].Load(); one < 239 || two > 15 {
				t.Errorf("asked unit 1 %d and unit 2 %d times, want unit 1 each cycle and unit 2 seldom", one, two)
			}
			if s := r.Status(); !s.Up || r.server.Connections() != 1 || len(s.Resting) != 1 || !strings.Contains(s.Resting[0], "unit 2") {
				t.Errorf("status %+v, %d connections", s, r.server.Connections())
			}
			alive.Store(true)
			r.pass(7 * time.Minute)
			if good, faults := r.pass(time.Minute); good < 23 || len(faults) != 0 {
				t.Errorf("not well again: %d good, %v", good, faults)
			}
			if n := strings.Count(r.log.String(), "\n"); n > 4 {
				t.Errorf("%d log lines for two changes of state:\n%s", n, r.log.String())
			}
		})
	}
}

// TestTrap10DeadUnit: it costs at most 5 % of the bus's time, its neighbours
// keep their rate, and it comes back.
func TestTrap10DeadUnit(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU} {
		t.Run(transport.kind(), func(t *testing.T) {
			onRig(t, Settings{Transport: transport, Serial: testSerial, Period: 2 * time.Second,
				Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10), hundredths(2, Holding, 500), hundredths(3, Holding, 10))}, func(r *rig) {
				r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
					if q.Unit == 2 {
						return devices.ModbusFault{Kind: devices.Silent}
					}
					return devices.ModbusFault{}
				})
				r.pass(5 * time.Minute) // the first minutes, while the rests grow
				var lost time.Duration
				lastLate := r.Status().LateCycles
				before := r.Status().Errors["timeout"]
				good, _ := r.pass(time.Hour)
				timeouts := r.Status().Errors["timeout"] - before
				lost = time.Duration(timeouts) * 1500 * time.Millisecond // time-out and waiting out the line
				if lost > time.Hour/20 || timeouts < 5 {
					t.Errorf("%d time-outs cost %v of an hour", timeouts, lost)
				}
				if good < 2*1790 {
					t.Errorf("the neighbours got %d values, want %d", good, 2*1800)
				}
				if late := r.Status().LateCycles - lastLate; late > 20 {
					t.Errorf("%d late cycles", late)
				}
				r.server.Choose(nil)
				r.pass(7 * time.Minute)
				if good, faults := r.pass(time.Minute); good < 116 || len(faults) != 0 {
					t.Errorf("not well again: %d good, %v", good, faults)
				}
			})
		})
	}
}

// TestTrap10SilentRegister: a device that is silent about one address does not
// lose its others.
func TestTrap10SilentRegister(t *testing.T) {
	onRig(t, Settings{Points: three(), Period: 2 * time.Second}, func(r *rig) {
		r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
			if q.Address == 200 {
				return devices.ModbusFault{Kind: devices.Silent}
			}
			return devices.ModbusFault{}
		})
		r.pass(5 * time.Minute)
		if good, faults := r.pass(time.Hour); good < 3500 {
			t.Errorf("%d good of 3600, %v", good, faults)
		}
	})
}

// TestTrap10ManyDeadUnits: forty dead units cost no more together than one may,
// and when their power comes back, so do they.
func TestTrap10ManyDeadUnits(t *testing.T) {
	var points []Point
	for unit := uint8(1); unit <= 44; unit++ {
		points = append(points, hundredths(unit, Holding, 10))
	}
	onRig(t, Settings{Transport: RTU, Serial: testSerial, Period: 5 * time.Second, Points: numbered(points...)}, func(r *rig) {
		r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
			if q.Unit > 4 {
				return devices.ModbusFault{Kind: devices.Silent}
			}
			return devices.ModbusFault{}
		})
		r.pass(30 * time.Minute) // while the rests grow
		before := r.Status()
		probed := make(map[uint8]bool)
		r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
			if q.Unit > 4 {
				probed[q.Unit] = true
				return devices.ModbusFault{Kind: devices.Silent}
			}
			return devices.ModbusFault{}
		})
		good, _ := r.pass(time.Hour)
		after := r.Status()
		// A time-out of 1 s and half of one to wait out the line.
		lost := time.Duration(after.Errors["timeout"]-before.Errors["timeout"]) * 1500 * time.Millisecond
		if lost > time.Hour/20 || lost < 20*time.Second {
			t.Errorf("forty dead units cost %v of an hour", lost)
		}
		if len(probed) < 36 {
			t.Errorf("only %d of forty dead units are tried again", len(probed))
		}
		if want := 4 * 720; good < want-10 {
			t.Errorf("the others got %d values, want %d", good, want)
		}
		if late := after.LateCycles - before.LateCycles; late > 10 {
			t.Errorf("%d late cycles", late)
		}
		r.server.Choose(nil)
		r.pass(7 * time.Minute)
		if good, faults := r.pass(time.Minute); good < 43*12 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
	})
}

// TestTrap10SlowTimeout: a dead unit whose time-out is long rests longer than
// the usual ceiling.
func TestTrap10SlowTimeout(t *testing.T) {
	for name, points := range map[string][]Point{
		"beside another": {hundredths(1, Holding, 10), hundredths(2, Holding, 10)},
		"alone":          {hundredths(2, Holding, 10)},
	} {
		onRig(t, Settings{Timeout: 50 * time.Second, Period: 10 * time.Second, Points: numbered(points...)}, func(r *rig) {
			r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
				if q.Unit == 2 {
					return devices.ModbusFault{Kind: devices.Silent}
				}
				return devices.ModbusFault{}
			})
			r.pass(20 * time.Minute)
			before := r.Status().Errors["timeout"]
			r.pass(10 * time.Hour)
			n := time.Duration(r.Status().Errors["timeout"] - before)
			if lost := n * 50 * time.Second; lost > 10*time.Hour/20 || n < 5 {
				t.Errorf("%s: %d time-outs cost %v of ten hours", name, n, lost)
			}
		})
	}
}

// TestTrap10UnitThatAnswersNowAndThen: every other answer does not free a
// unit from its rests.
func TestTrap10UnitThatAnswersNowAndThen(t *testing.T) {
	onRig(t, Settings{Period: 2 * time.Second, Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))}, func(r *rig) {
		n := 0
		r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
			if q.Unit != 2 {
				return devices.ModbusFault{}
			}
			if n++; n%3 == 0 {
				return devices.ModbusFault{}
			}
			return devices.ModbusFault{Kind: devices.Silent}
		})
		r.pass(10 * time.Minute)
		before := r.Status().Errors["timeout"]
		good, _ := r.pass(time.Hour)
		if lost := time.Duration(r.Status().Errors["timeout"]-before) * time.Second; lost > time.Hour/20 || lost == 0 {
			t.Errorf("it cost %v of an hour", lost)
		}
		if good < 1790 {
			t.Errorf("its neighbour got %d values, want 1800", good)
		}
	})
}
