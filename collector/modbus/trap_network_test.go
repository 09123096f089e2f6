package modbus

import (
	"fmt"
	"net"
	"os"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

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
		var r backoff
		for range 8 {
			r.failed(now, 0, maxRedial, "", s.random)
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
