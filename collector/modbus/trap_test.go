package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/fronts"
)

// three are points in three reads (too far apart to join) of one width, so that
// only care tells their answers apart.
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

// TestTrap01LateReply: whatever the lateness, no register ever gets another's value.
func TestTrap01LateReply(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU, RTUOverTCP} {
		for _, late := range []time.Duration{900, 1100, 1400, 1600, 1900, 2100, 2600, 3500, 6000} {
			late *= time.Millisecond
			t.Run(fmt.Sprintf("%s %v", transport.kind(), late), func(t *testing.T) {
				onRig(t, Settings{Transport: transport, Points: three(), Serial: testSerial, Period: 2 * time.Second}, func(r *rig) {
					n := 0
					r.front.Choose(func(fronts.ModbusRequest) fronts.ModbusFault {
						if n++; n%5 == 0 || n > 40 && n < 46 {
							return fronts.ModbusFault{Kind: fronts.Late, Delay: late}
						}
						return fronts.ModbusFault{}
					})
					good, faults := r.pass(20 * time.Minute)
					if late > time.Second && has(faults, "timeout") == 0 {
						t.Errorf("no time-out seen: %v", faults)
					}
					if good < 50 {
						t.Errorf("only %d values in 20 min", good)
					}
					r.front.Choose(nil)
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
			go r.front.ServeLine(ctx, there)
			r.wrap = func(c net.Conn) net.Conn {
				c.Close() // the rig's own; all use the one line
				return staysOpen{here}
			}
			r.start()
			r.front.Set(fronts.ModbusFault{Kind: fronts.Late, Delay: late})
			r.pass(10 * time.Minute)
			r.front.Set(fronts.ModbusFault{})
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

var testSerial = Serial{Baud: 9600, DataBits: 8, StopBits: 1, Parity: "even"}

func TestTrap02RedialsAfterResetAndClose(t *testing.T) {
	onRig(t, Settings{Points: three()}, func(r *rig) {
		if good, _ := r.pass(time.Minute); good == 0 {
			t.Fatal("nothing read")
		}
		// An idle device hangs up now and then: no sample is lost.
		n := 0
		r.front.Choose(func(fronts.ModbusRequest) fronts.ModbusFault {
			if n++; n%7 == 0 {
				return fronts.ModbusFault{Kind: fronts.Close}
			}
			return fronts.ModbusFault{}
		})
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("a sample was lost to an idle close: %d good, %v", good, faults)
		}
		r.front.Choose(nil)
		r.front.Set(fronts.ModbusFault{Kind: fronts.Close})
		if good, faults := r.pass(10 * time.Minute); good != 0 || has(faults, "closed") == 0 {
			t.Errorf("closing always: %d good, %v", good, faults)
		}
		if s := r.Status(); s.Up || !strings.Contains(s.Reason, "closed") {
			t.Errorf("status while down: %+v", s)
		}
		before := r.front.Connections()
		r.pass(10 * time.Minute)
		if redials := r.front.Connections() - before; redials < 5 || redials > 25 {
			t.Errorf("%d redials in 10 min, want about one a minute", redials)
		}
		r.front.Set(fronts.ModbusFault{})
		r.pass(2 * time.Minute)
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
		if s := r.Status(); !s.Up || s.Reconnects == 0 {
			t.Errorf("status when well: %+v", s)
		}
	})
}

// refuses checks that a fault gives no value but a reason, and that it passes.
func refuses(t *testing.T, transport Transport, fault fronts.ModbusFault, reason string) {
	t.Helper()
	onRig(t, Settings{Transport: transport, Points: three(), Serial: testSerial}, func(r *rig) {
		r.front.Set(fault)
		if good, faults := r.pass(30 * time.Second); good != 0 || has(faults, reason) == 0 {
			t.Errorf("%d good, %v; want %s", good, faults, reason)
		}
		r.front.Set(fronts.ModbusFault{})
		r.pass(7 * time.Minute) // the longest rest and its jitter
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
	})
}

func TestTrap03ByteCounts(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU} {
		for _, c := range []struct {
			kind   fronts.ModbusFaultKind
			reason string
		}{{fronts.Short, "short-reply"}, {fronts.Long, "long-reply"}} {
			t.Run(fmt.Sprint(transport.kind(), " ", c.reason), func(t *testing.T) {
				refuses(t, transport, fronts.ModbusFault{Kind: c.kind}, c.reason)
			})
		}
	}
	t.Run("count", func(t *testing.T) { refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongCount}, "wrong-count") })
	// On a line the count is the frame's only length: the frame never ends.
	t.Run("count rtu", func(t *testing.T) { refuses(t, RTU, fronts.ModbusFault{Kind: fronts.WrongCount}, "no-frame") })
	t.Run("trailing", func(t *testing.T) { refuses(t, TCP, fronts.ModbusFault{Kind: fronts.Trailing}, "long-reply") })
}

func TestTrap04ForeignReplies(t *testing.T) {
	refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongFunction}, "wrong-function")
	refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongUnit}, "wrong-unit")
	refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongTransaction}, "wrong-transaction")
	refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongException, Code: 2}, "bad-exception")
	refuses(t, RTU, fronts.ModbusFault{Kind: fronts.WrongFunction}, "wrong-function")
	refuses(t, RTU, fronts.ModbusFault{Kind: fronts.WrongUnit}, "wrong-unit")
	refuses(t, RTU, fronts.ModbusFault{Kind: fronts.WrongException, Code: 2}, "bad-exception")
	refuses(t, RTU, fronts.ModbusFault{Kind: fronts.WrongCRC}, "no-frame")
}

// TestTrap05GatewayExceptions: a silent unit behind a live gateway rests; its
// neighbour and the connection do not notice.
func TestTrap05GatewayExceptions(t *testing.T) {
	for _, code := range []byte{0x0A, 0x0B} {
		onRig(t, Settings{Points: numbered(hundredths(1, Holding, 10), hundredths(2, Holding, 10))}, func(r *rig) {
			var asked [3]atomic.Int64
			var alive atomic.Bool
			r.front.Choose(func(q fronts.ModbusRequest) fronts.ModbusFault {
				asked[q.Unit].Add(1)
				if q.Unit == 2 && !alive.Load() {
					return fronts.ModbusFault{Kind: fronts.Exception, Code: code}
				}
				return fronts.ModbusFault{}
			})
			good, faults := r.pass(20 * time.Minute)
			if good < 239 || has(faults, fmt.Sprintf("exception-%d", code)) == 0 || has(faults, "resting") == 0 {
				t.Errorf("%d good, %v", good, faults)
			}
			if one, two := asked[1].Load(), asked[2].Load(); one < 239 || two > 15 {
				t.Errorf("asked unit 1 %d and unit 2 %d times, want unit 1 each cycle and unit 2 seldom", one, two)
			}
			if s := r.Status(); !s.Up || r.front.Connections() != 1 || len(s.Resting) != 1 || !strings.Contains(s.Resting[0], "unit 2") {
				t.Errorf("status %+v, %d connections", s, r.front.Connections())
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

func TestTrap06HeadersAndDrips(t *testing.T) {
	for _, length := range []uint16{0, 1, 2, 255, 65535} {
		refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongLength, Length: length}, "wrong-length")
	}
	refuses(t, TCP, fronts.ModbusFault{Kind: fronts.WrongProtocol}, "wrong-protocol")
	for _, transport := range []Transport{TCP, RTU} {
		refuses(t, transport, fronts.ModbusFault{Kind: fronts.Drip, Delay: 900 * time.Millisecond}, map[Transport]string{TCP: "timeout", RTU: "no-frame"}[transport])
	}
	// One deadline a request: a drip that never pauses as long as the time-out
	// still costs no more than the time-out.
	onRig(t, Settings{Points: numbered(hundredths(1, Holding, 1)), Period: time.Minute}, func(r *rig) {
		r.front.Set(fronts.ModbusFault{Kind: fronts.Drip, Delay: 900 * time.Millisecond})
		r.pass(time.Minute)
		if s := r.Status(); s.Cycle > 1100*time.Millisecond || s.Requests == 0 {
			t.Errorf("the drip cost %v", s.Cycle)
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
		if good != 36 || len(faults) != 0 || r.front.Connections() != 1 {
			t.Errorf("%d good, %v, %d connections: an idle socket was closed", good, faults, r.front.Connections())
		}
	})
}

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
		if r.front.Connections() != 1 {
			t.Errorf("%d connections", r.front.Connections())
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
	for name, kind := range map[string]fronts.ModbusFaultKind{"noise": fronts.Noise, "trailing": fronts.Trailing, "twice": fronts.Twice} {
		t.Run(name, func(t *testing.T) {
			onRig(t, Settings{Transport: RTU, Points: three(), Serial: testSerial}, func(r *rig) {
				r.front.Set(fronts.ModbusFault{Kind: kind})
				if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
					t.Errorf("%d good, %v", good, faults)
				}
			})
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
				r.front.Choose(func(q fronts.ModbusRequest) fronts.ModbusFault {
					if q.Unit == 2 {
						return fronts.ModbusFault{Kind: fronts.Silent}
					}
					return fronts.ModbusFault{}
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
				r.front.Choose(nil)
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
		r.front.Choose(func(q fronts.ModbusRequest) fronts.ModbusFault {
			if q.Address == 200 {
				return fronts.ModbusFault{Kind: fronts.Silent}
			}
			return fronts.ModbusFault{}
		})
		r.pass(5 * time.Minute)
		if good, faults := r.pass(time.Hour); good < 3500 {
			t.Errorf("%d good of 3600, %v", good, faults)
		}
	})
}

func TestTrap11HolesSplitAndJoin(t *testing.T) {
	onRig(t, Settings{Gap: 20, Points: numbered(hundredths(1, Input, 100), hundredths(1, Input, 101), hundredths(1, Input, 110), hundredths(1, Input, 112))}, func(r *rig) {
		r.plant.setHoles(105)
		good, faults := r.pass(time.Minute)
		if good < 44 || len(faults) != 0 {
			t.Errorf("with a hole in the gap: %d good, %v", good, faults)
		}
		before := r.front.Requests()
		r.pass(time.Minute)
		if n := r.front.Requests() - before; n < 22 || n > 26 {
			t.Errorf("%d requests a minute for a read in two halves, want 24: the split is not remembered", n)
		}
		r.plant.setHoles()
		r.pass(3 * time.Hour)
		before = r.front.Requests()
		good, _ = r.pass(time.Minute)
		if n := r.front.Requests() - before; n < 11 || n > 13 || good < 44 {
			t.Errorf("%d requests a minute after the hole closed, want 12: not joined again", n)
		}
		// A configured register that does not exist costs its neighbours nothing.
		r.plant.setHoles(110)
		r.pass(10 * time.Minute)
		good, faults = r.pass(time.Minute)
		if good < 33 || has(faults, "exception-2") == 0 || has(faults, "resting") == 0 {
			t.Errorf("%d good, %v", good, faults)
		}
	})
}

// TestTrap14NamesAndDials: a name that is not known or a host that refuses is
// said in words, tried at a decent pace, and found again.
func TestTrap14NamesAndDials(t *testing.T) {
	for reason, refuse := range map[string]error{
		"unreachable": &net.DNSError{Err: "no such host", Name: "rack.invalid", IsNotFound: true},
		"refused":     &net.OpError{Op: "dial", Err: os.NewSyscallError("connect", syscall.ECONNREFUSED)},
	} {
		synctest.Test(t, func(t *testing.T) {
			r := newRig(t, Settings{Points: three()})
			r.refuse.Store(refusal{refuse})
			r.start()
			good, faults := r.pass(time.Hour)
			if good != 0 || has(faults, reason) == 0 {
				t.Errorf("%s: %d good, %v", reason, good, faults)
			}
			if n := r.Status().Errors[reason]; n < 40 || n > 75 {
				t.Errorf("%s: %d dials in an hour, want about one a minute", reason, n)
			}
			if s := r.Status(); s.Up || s.Since.IsZero() || s.Reason == "" {
				t.Errorf("%s: status %+v", reason, s)
			}
			r.refuse.Store(refusal{nil})
			r.pass(2 * time.Minute)
			if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
				t.Errorf("%s: not well again: %d good, %v", reason, good, faults)
			}
			r.stop()
			synctest.Wait()
		})
	}
}

// TestTrap14GatewaysDoNotMarch: two hundred buses neither start nor redial together.
func TestTrap14GatewaysDoNotMarch(t *testing.T) {
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	starts, redials := make(map[time.Duration]int), make(map[time.Duration]int)
	for i := range 200 {
		s, err := New(Settings{Name: fmt.Sprint("bus-", i), Address: "127.0.0.1:502", Timeout: time.Second, Period: 5 * time.Second, Points: three()}, Options{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		s.schedule(now)
		starts[s.jobs[0].next.Sub(now).Truncate(100*time.Millisecond)]++
		var r rest
		for range 8 {
			r.failed(now, 0, redialMost, "", s.random)
		}
		redials[r.until.Sub(now).Truncate(300*time.Millisecond)]++
	}
	for what, m := range map[string]map[time.Duration]int{"start": starts, "redial": redials} {
		for at, n := range m {
			if n > 20 {
				t.Errorf("%d of 200 %s together at %v", n, what, at)
			}
		}
	}
}

// TestTrap15FrozenDevice: a device whose clock stopped answers as well as ever.
// The source's part is to hand over every sample with its own time, so that
// analysis can see how long the bits have not moved.
func TestTrap15FrozenDevice(t *testing.T) {
	onRig(t, Settings{Points: three()}, func(r *rig) {
		r.front.Freeze(true)
		<-time.After(time.Minute)
		synctest.Wait()
		var last time.Time
		n := 0
		for _, got := range r.take() {
			if got.Point != 0 {
				continue
			}
			if !got.Time.After(last) {
				t.Errorf("sample at %v does not come after %v", got.Time, last)
			}
			last = got.Time
			n++
		}
		if n != 12 {
			t.Errorf("%d samples in a minute, want 12", n)
		}
	})
}

// jumpy is a clock that can be set forward, as after a suspend.
type jumpy struct {
	by atomic.Int64 // ns
}

func (c *jumpy) Now() time.Time { return time.Now().Add(time.Duration(c.by.Load())) }
func (c *jumpy) Until(ctx context.Context, t time.Time) error {
	for {
		d := min(t.Sub(c.Now()), time.Second)
		if d <= 0 {
			return ctx.Err()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(d):
		}
	}
}

// TestTrap31Suspend: an hour passes in a tick; the missed cycles are counted
// and left out.
func TestTrap31Suspend(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, Settings{Points: three()})
		clock := &jumpy{}
		r.clock = clock
		r.start()
		r.pass(time.Minute)
		before := r.front.Requests()
		clock.by.Store(int64(time.Hour))
		r.pass(time.Minute)
		if n := r.front.Requests() - before; n > 45 {
			t.Errorf("%d requests in the minute after, want 36: the bus was flooded", n)
		}
		if late := r.Status().LateCycles; late < 700 || late > 725 {
			t.Errorf("%d late cycles, want about 720", late)
		}
		if good, faults := r.pass(time.Minute); good < 33 || len(faults) != 0 {
			t.Errorf("not well again: %d good, %v", good, faults)
		}
		r.stop()
		synctest.Wait()
	})
}

// TestTrap32LeavesAtOnce: the end of the context cuts a request short.
func TestTrap32LeavesAtOnce(t *testing.T) {
	for _, transport := range []Transport{TCP, RTU} {
		onRig(t, Settings{Transport: transport, Serial: testSerial, Points: three(), Timeout: time.Minute}, func(r *rig) {
			r.front.Set(fronts.ModbusFault{Kind: fronts.Silent})
			r.pass(10 * time.Second)
			asked := time.Now()
			r.stop()
			if took := time.Since(asked); took > 5*time.Second {
				t.Errorf("%s: leaving took %v", transport.kind(), took)
			}
			for _, got := range r.take() {
				t.Errorf("leaving was delivered as a failure: %+v", got)
			}
		})
	}
}

// TestReadOnly: only function codes 1 to 4 pass, whoever calls.
func TestReadOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, Settings{Points: three()})
		l := newLine(&r.settings, func(context.Context) (conn, error) {
			t.Error("a write opens a connection")
			return nil, errors.New("no")
		})
		c := l.client
		for name, write := range map[string]func() ([]byte, error){
			"coil":          func() ([]byte, error) { return c.WriteSingleCoil(1, 0xFF00) },
			"coils":         func() ([]byte, error) { return c.WriteMultipleCoils(1, 1, []byte{1}) },
			"register":      func() ([]byte, error) { return c.WriteSingleRegister(1, 1) },
			"registers":     func() ([]byte, error) { return c.WriteMultipleRegisters(1, 1, []byte{0, 1}) },
			"mask":          func() ([]byte, error) { return c.MaskWriteRegister(1, 1, 1) },
			"read/write":    func() ([]byte, error) { return c.ReadWriteMultipleRegisters(1, 1, 1, 1, []byte{0, 1}) },
			"fifo (clears)": func() ([]byte, error) { return c.ReadFIFOQueue(1) },
		} {
			if _, err := write(); !errors.Is(err, errWrites) {
				t.Errorf("%s: %v", name, err)
			}
		}
		for _, transport := range []Transport{TCP, RTU} {
			l.transport = transport
			for function := range 256 {
				pdu := protocolDataUnit(byte(function))
				_, err := l.Encode(pdu)
				if want := function >= 1 && function <= 4; (err == nil) != want {
					t.Errorf("%s: function %d: %v", transport.kind(), function, err)
				}
				frame := []byte{0, 1, 0, 0, 0, 6, 1, byte(function), 0, 0, 0, 1}
				if transport != TCP {
					frame = []byte{1, byte(function), 0, 0, 0, 1, 0, 0}
				}
				if function < 1 || function > 4 {
					if _, err := l.Send(frame); !errors.Is(err, errWrites) {
						t.Errorf("%s: function %d is sent: %v", transport.kind(), function, err)
					}
				}
			}
		}
		if _, f := l.read(context.Background(), 1, Table(6), 0, 1); f == nil {
			t.Error("table 6 is read")
		}
	})
}
