package mqtt

import (
	"strings"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/collector/register"
)

// plays is a broker that lets everybody in, answers subscriptions with codes
// (nil: what was asked) and then serves.
func plays(codes ...byte) func(int, *peer) {
	return func(_ int, c *peer) {
		if c.accept(0) {
			c.grant(codes...)
			c.serve(0)
		}
	}
}

// TestSubscriptionsRefused: codes of MQTT 3.1.1, 3.9.3: 0x80 is a failure,
// others than 0, 1, 2 are reserved.
func TestSubscriptionsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		codes  []byte
		up     bool
		reason string
	}{
		"none":             {[]byte{1, 1}, true, ""},
		"granted less":     {[]byte{0, 0}, true, ""},
		"both":             {[]byte{0x80, 0x80}, false, "refuses 2 of 2"},
		"reserved codes":   {[]byte{3, 0x7F}, false, "refuses 2 of 2"},
		"one":              {[]byte{1, 0x80}, true, "refuses 1 of 2"},
		"too many codes":   {[]byte{1, 1, 1}, false, "3 answers to 2"},
		"too few codes":    {[]byte{1}, false, "1 answers to 2"},
		"no codes":         {[]byte{}, false, "0 answers to 2"},
		"very many, wrong": {make([]byte, 300), false, "300 answers to 2"},
	} {
		t.Run(name, func(t *testing.T) {
			onScript(t, func(s *Settings) { s.QoS = 1 }, plays(c.codes...), func(s *Source, out *readings) {
				all := out.pass(30 * time.Second)
				st := s.Status()
				if st.Up != c.up || !strings.Contains(st.Reason, c.reason) || c.reason == "" && st.Reason != "" {
					t.Errorf("status %+v", st)
				}
				refused := counted(all, hasCode(reading.Refused))
				if want := strings.Count(string(c.codes), "\x80"); strings.HasPrefix(c.reason, "refuses") && refused < want {
					t.Errorf("%d readings say that they are refused", refused)
				}
			})
		})
	}
}

func TestConnectionsRefused(t *testing.T) {
	for code, words := range map[byte]string{
		1: "does not speak", 2: "client id", 3: "not available", 4: "does not accept user name", 5: "does not accept user name",
		6: "unknown answer 6", 17: "unknown answer 17", 0xFE: "unknown answer 254", 0xFF: "unknown answer 255",
	} {
		onScript(t, nil, func(_ int, c *peer) { c.accept(code); c.serve(0) }, func(s *Source, out *readings) {
			all := out.pass(20 * time.Minute)
			st := s.Status()
			if st.Up || !strings.Contains(st.Reason, words) || strings.Contains(st.Reason, "another client") {
				t.Errorf("code %d: status %+v", code, st)
			}
			if n := st.Reconnects; n < 15 || n > 60 {
				t.Errorf("code %d: %d attempts in 20 min", code, n)
			}
			if n := counted(all, func(r reading.Reading) bool { return r.Quality != reading.Missing }); n != 0 {
				t.Errorf("code %d: %d readings that are not missing", code, n)
			}
		})
	}
}

// TestSilence: connected and subscribed, and nothing comes: that is down. The
// first message brings it back.
func TestSilence(t *testing.T) {
	onScript(t, nil, func(_ int, c *peer) {
		if c.accept(0) {
			c.grant()
			c.publish("rack/s", []byte("3"))
			c.listen(3 * time.Minute)
			c.publish("rack/s", []byte("4"))
			c.listen(time.Hour)
		}
	}, func(s *Source, out *readings) {
		if n := counted(out.pass(59*time.Second), isGood(1, 3)); n != 1 || !s.Status().Up {
			t.Errorf("%d values, %+v", n, s.Status())
		}
		silent := out.pass(time.Minute)
		if st := s.Status(); st.Up || !strings.Contains(st.Reason, "no message for 1m0s") || st.Errors[reading.Silent] != 1 {
			t.Errorf("in the silence: %+v", st)
		}
		if n := counted(silent, hasCode(reading.Silent)); n != 2 {
			t.Errorf("%d readings say that it is silent, want one for each point", n)
		}
		if n := counted(out.pass(62*time.Second), isGood(1, 4)); n != 1 {
			t.Error("the value after the silence did not come")
		}
		if st := s.Status(); !st.Up || st.Reason != "" || st.Reconnects != 0 {
			t.Errorf("after the silence: %+v", st)
		}
	})
}

// TestBrokerThatAnswersNoPing: the connection is dead and nobody says so.
func TestBrokerThatAnswersNoPing(t *testing.T) {
	onScript(t, func(s *Settings) { s.Silence = time.Hour }, func(_ int, c *peer) {
		if c.accept(0) {
			c.grant()
			for c.next() != nil {
			}
		}
	}, func(s *Source, out *readings) {
		all := out.pass(10 * time.Minute)
		st := s.Status()
		if st.Errors[reading.Disconnected] < 3 || counted(all, hasCode(reading.Disconnected)) < 6 {
			t.Errorf("status %+v", st)
		}
		if strings.Contains(st.Reason, "another client") {
			t.Errorf("a dead network is taken for a fight: %s", st.Reason)
		}
	})
}

// TestBrokerThatHangs: it takes the connection and answers nothing, or no
// subscription.
func TestTrap32ABrokerThatHangsHoldsNobodyUp(t *testing.T) {
	for name, play := range map[string]func(int, *peer){
		"no CONNACK": func(_ int, c *peer) {
			for c.next() != nil {
			}
		},
		"no SUBACK": func(_ int, c *peer) {
			c.accept(0)
			for c.next() != nil {
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			for _, after := range []time.Duration{time.Millisecond, 5 * time.Second, 10*time.Second + time.Millisecond, time.Minute} {
				onScript(t, nil, play, func(s *Source, out *readings) {
					all := out.pass(after)
					if after > 30*time.Second && counted(all, func(r reading.Reading) bool { return strings.Contains(r.Reason, "does not answer") }) == 0 {
						t.Errorf("status %+v", s.Status())
					}
				}) // which fails when leaving takes more than 5 s
			}
		})
	}
}

// TestLoopFailureCountsAfterFourSeconds: NAMUR NE 43 lets a failure signal
// count after 4 s, whatever the bus.
func TestLoopFailureCountsAfterFourSeconds(t *testing.T) {
	loop := func(s *Settings) {
		s.Points = []Point{{Index: 0, Path: "mt.c1.suction_temperature", Topic: "rack/t",
			Mapping: register.Mapping{Signal: register.Current, Low: -50, High: 50, Unit: degC(t)}}}
	}
	say := func(gaps ...time.Duration) func(int, *peer) {
		return func(_ int, c *peer) {
			c.accept(0)
			c.grant()
			c.publish("rack/t", []byte("12")) // 12 mA: 0 °C
			for i, gap := range gaps {
				c.listen(gap)
				c.publish("rack/t", []byte([]string{"3.5", "12"}[i%2]))
			}
			c.listen(time.Hour)
		}
	}
	bad := func(r reading.Reading) bool { return r.Quality == reading.Bad }
	// Said once and never taken back: counts after 4 s, once.
	onScript(t, loop, say(time.Second), func(_ *Source, out *readings) {
		if all := out.pass(4900 * time.Millisecond); counted(all, bad) != 0 || counted(all, hasCode(register.CodeNoData)) != 1 {
			t.Errorf("before 4 s: %+v", all)
		}
		if all := out.pass(400 * time.Millisecond); counted(all, bad) != 1 || all[0].Reason == "" || reading.CodeOf(all[0].Reason) != register.CodeOpen {
			t.Errorf("after 4 s: %+v", all)
		}
		if all := out.pass(30 * time.Second); counted(all, bad) != 0 {
			t.Errorf("said again and again: %+v", all)
		}
	})
	// Over after 3 s: never counts.
	onScript(t, loop, say(time.Second, 3*time.Second), func(_ *Source, out *readings) {
		if all := out.pass(30 * time.Second); counted(all, bad) != 0 || counted(all, isGood(0, 0)) != 2 {
			t.Errorf("%+v", all)
		}
	})
}

// TestTrap22LastWill: what a publisher's will leaves on the topic of its
// values is no value, and no fault of the sensor either.
func TestTrap22LastWill(t *testing.T) {
	wills := []string{"offline", "", "null", "unavailable", `{"state":"offline"}`, `{"value":null}`}
	onScript(t, nil, func(_ int, c *peer) {
		c.accept(0)
		c.grant()
		for _, will := range wills {
			c.publish("rack/t", stamped(1))
			c.listen(time.Second)
			c.publish("rack/t", []byte(will))
			c.listen(time.Second)
		}
		c.listen(time.Hour)
	}, func(s *Source, out *readings) {
		all := out.pass(13 * time.Second) // before its silence is a fault
		if good, none := counted(all, isGood(0, 1)), counted(all, hasCode(register.CodeNoData)); good != len(wills) || none != len(wills) {
			t.Errorf("%d values and %d wills: %+v", good, none, all)
		}
		if !s.Status().Up {
			t.Error("a publisher's will takes the broker down")
		}
	})
}
