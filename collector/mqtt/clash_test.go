package mqtt

import (
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"dewgap/analyze/reading"
)

func TestTrap20WhatIsAFight(t *testing.T) {
	thrown := connectionEnd{reason: reading.Disconnected, closedByBroker: true, lasted: time.Second}
	atOnce := connectionEnd{reason: reading.Disconnected, closedByBroker: true}
	slow := connectionEnd{reason: reading.Disconnected, closedByBroker: true, lasted: clashOverAfter + 1}
	refused := connectionEnd{reason: reading.Refused + ": nothing listens"}
	silent := connectionEnd{reason: reading.Timeout + ": no answer"}
	for name, c := range map[string]struct {
		ends  []connectionEnd
		fight bool
	}{
		"two":                           {[]connectionEnd{thrown, thrown}, false},
		"three":                         {[]connectionEnd{thrown, thrown, thrown}, true},
		"before subscribing":            {[]connectionEnd{atOnce, thrown, atOnce}, true},
		"a slow answer in between":      {[]connectionEnd{thrown, thrown, silent, thrown}, true},
		"a restarting broker":           {[]connectionEnd{thrown, refused, thrown, refused, thrown, refused, thrown}, false},
		"long-lived ones":               {[]connectionEnd{slow, slow, slow, slow}, false},
		"over after a long-lived one":   {[]connectionEnd{thrown, thrown, thrown, slow}, false},
		"still on":                      {[]connectionEnd{thrown, thrown, thrown, silent}, true},
		"a network that times out":      {[]connectionEnd{silent, silent, silent, silent}, false},
		"no fight when the broker goes": {[]connectionEnd{thrown, thrown, thrown, refused}, false},
	} {
		var f clashDetector
		for _, end := range c.ends {
			f.ended(end)
		}
		if f.detected() != c.fight {
			t.Errorf("%s: fight %v", name, f.detected())
		}
	}
}

// TestTrap20TwoClientsOfOneID: a broker throws a client off when another comes
// with its id (MQTT 3.1.1, 3.1.4-2).
func TestTrap20TwoClientsOfOneID(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var mu sync.Mutex
		var last *peer
		broker := &scripted{play: func(_ int, c *peer) {
			mu.Lock()
			if last != nil {
				last.Close()
			}
			last = c
			mu.Unlock()
			if c.accept(0) {
				c.grant()
				c.serve(0)
			}
		}}
		_, ours, stop := broker.run(t, nil)
		_, theirs, stopOther := broker.run(t, nil)
		for i, out := range []*readings{ours, theirs} {
			clashes := counted(out.pass(10*time.Minute), func(r reading.Reading) bool {
				return r.Quality == reading.Missing && strings.Contains(r.Reason, `another client probably uses the client id "dewgap-b"`)
			})
			if clashes == 0 {
				t.Errorf("client %d got no clash reading", i+1)
			}
		}
		stop()
		stopOther()
		broker.all.Wait()
	})
}

// TestTrap20TheFightStaysVisible: while it lasts, in the status of a
// connection that is up for the moment too; and no longer.
func TestTrap20TheFightStaysVisible(t *testing.T) {
	const words = "another client probably"
	for name, play := range map[string]func(n int, c *peer){
		"thrown off after subscribing": func(n int, c *peer) {
			if c.accept(0) {
				c.grant()
				c.serve(map[bool]time.Duration{true: 20 * time.Second, false: 0}[n < 8])
			}
		},
		"thrown off before": func(n int, c *peer) {
			if c.accept(0) && n >= 8 {
				c.grant()
				c.serve(0)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			onScript(t, nil, play, func(s *Source, out *readings) {
				seen, hidden := 0, 0
				for range 900 { // a quarter of an hour
					out.pass(time.Second)
					st := s.Status()
					switch {
					case strings.Contains(st.Reason, words):
						seen++
					case seen > 0 && st.Reconnects < 8:
						hidden++
					}
				}
				if seen == 0 || hidden > 0 {
					t.Errorf("the fight was shown for %d s and hidden for %d", seen, hidden)
				}
				if st := s.Status(); !st.Up || st.Reason != "" || st.Errors[clashed] < 3 {
					t.Errorf("after the fight: %+v", st)
				}
			})
		})
	}
}
