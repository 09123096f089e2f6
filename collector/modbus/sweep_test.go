package modbus

import (
	"context"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/simulators/devices"
)

// scanOn runs body with a scanner whose requests reach a simulated device, in
// fake time. asked returns what was asked for so far.
func scanOn(t *testing.T, s Settings, w Sweep, body func(c *Scanner, r *rig, asked func() []devices.ModbusRequest)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, s)
		var mu sync.Mutex
		var requests []devices.ModbusRequest
		c, err := NewScanner(r.settings, w)
		if err != nil {
			t.Fatal(err)
		}
		ctx, unplug := context.WithCancel(context.Background())
		var serving sync.WaitGroup
		c.bus.dial = func(context.Context) (conn, error) {
			here, there := net.Pipe()
			serving.Go(func() { r.server.ServeLine(ctx, buffer(there)) })
			return here, nil
		}
		r.server.Choose(func(q devices.ModbusRequest) devices.ModbusFault {
			mu.Lock()
			defer mu.Unlock()
			requests = append(requests, q)
			return devices.ModbusFault{}
		})
		body(c, r, func() []devices.ModbusRequest {
			mu.Lock()
			defer mu.Unlock()
			return slices.Clone(requests)
		})
		c.Close()
		unplug()
		serving.Wait()
		if n := r.server.Writes(); n != 0 {
			t.Errorf("%d writes", n)
		}
	})
}

// TestSweepObeysTheBus: forbidden addresses are in no request, two requests are a
// pause apart, and what the device refuses is not asked for again.
func TestSweepObeysTheBus(t *testing.T) {
	const wait = 400 * time.Millisecond
	forbidden := []Span{{Unit: 1, Table: Holding, First: 20, Last: 22}, {Unit: 2, Table: Holding, First: 0, Last: 65535}}
	scanOn(t, Settings{Forbidden: forbidden}, Sweep{Unit: 1, Table: Holding, First: 5, Last: 60, Pause: wait}, func(c *Scanner, r *rig, asked func() []devices.ModbusRequest) {
		if reads := strings.Join(c.Reads(), "; "); reads != "unit 1 holding registers 5–19; unit 1 holding registers 23–38; unit 1 holding registers 39–54; unit 1 holding registers 55–60" {
			t.Errorf("reads %s", reads)
		}
		r.plant.setHoles(30, 58)
		start := time.Now()
		got := map[uint16]uint16{}
		read := func() int {
			clear(got)
			if err := c.Read(context.Background(), func(a, w uint16) { got[a] = w }); err != nil {
				t.Fatal(err)
			}
			return len(got)
		}
		if n := read(); n != 56-3-2 || got[5] != word(1, 3, 5) || got[60] != word(1, 3, 60) {
			t.Errorf("%d words: %v", n, got)
		}
		first := len(asked())
		if took := time.Since(start); took < time.Duration(first)*wait {
			t.Errorf("%d requests in %s", first, took)
		}
		n := read()
		second := asked()[first:]
		if n != 51 || c.Absent() != 2 || len(second) >= first {
			t.Errorf("the second sweep has %d words in %d requests after %d; %d absent", n, len(second), first, c.Absent())
		}
		for _, q := range asked() {
			if last := q.Address + q.Quantity - 1; q.Function != 3 || q.Unit != 1 || q.Address <= 22 && last >= 20 {
				t.Errorf("asked for %+v", q)
			}
		}
		for _, q := range second {
			if last := q.Address + q.Quantity - 1; q.Address <= 30 && last >= 30 || q.Address <= 58 && last >= 58 {
				t.Errorf("a refused address is asked for again: %+v", q)
			}
		}
	})
}

// TestSweepLeavesASilentUnitAlone: after a few requests without an answer it ends.
func TestSweepLeavesASilentUnitAlone(t *testing.T) {
	for name, fault := range map[string]devices.ModbusFault{
		"silent":                 {Kind: devices.Silent},
		"the gateway has no way": {Kind: devices.Exception, Code: 11},
		"garbled":                {Kind: devices.WrongUnit},
		"no such function":       {Kind: devices.Exception, Code: 1},
	} {
		t.Run(name, func(t *testing.T) {
			scanOn(t, Settings{}, Sweep{Unit: 1, Table: Input, First: 0, Last: 400, Pause: time.Second}, func(c *Scanner, r *rig, _ func() []devices.ModbusRequest) {
				var requests atomic.Int64
				r.server.Choose(func(devices.ModbusRequest) devices.ModbusFault { requests.Add(1); return fault })
				err := c.Read(context.Background(), func(a, w uint16) { t.Errorf("a word at %d", a) })
				if n := requests.Load(); err == nil || n > maxSweepFailures {
					t.Errorf("%d requests, %v", n, err)
				}
			})
		})
	}
}

func TestSweepRefuses(t *testing.T) {
	good := Settings{Address: "192.0.2.10:502", Timeout: time.Second, Period: time.Second}
	for name, c := range map[string]struct {
		sweep Sweep
		want  string
	}{
		"backwards":    {Sweep{1, Input, 9, 3, time.Second}, "lower address comes first"},
		"too much":     {Sweep{1, Input, 0, 1000, time.Second}, "more than 1000"},
		"too fast":     {Sweep{1, Input, 0, 9, time.Millisecond}, "too short"},
		"no table":     {Sweep{1, Table(6), 0, 9, time.Second}, "no table"},
		"forbidden":    {Sweep{2, Holding, 0, 9, time.Second}, "forbidden as a whole"},
		"just allowed": {Sweep{1, Input, 0, 999, 50 * time.Millisecond}, ""},
	} {
		s := good
		s.Forbidden = []Span{{2, Holding, 0, 100}}
		_, err := NewScanner(s, c.sweep)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}
