package modbus

import (
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// TestTrap15FrozenDevice: a device whose clock stopped answers as well as ever.
// The source's part is to hand over every sample with its own time, so that
// analysis can see how long the bits have not moved.
func TestTrap15FrozenDevice(t *testing.T) {
	onRig(t, Settings{Points: three()}, func(r *rig) {
		r.server.Freeze(true)
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
		before := r.server.Requests()
		clock.by.Store(int64(time.Hour))
		r.pass(time.Minute)
		if n := r.server.Requests() - before; n > 45 {
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
			r.server.Set(devices.ModbusFault{Kind: devices.Silent})
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
