package mqtt

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"dewgap/simulators/devices"
)

func TestSamples(t *testing.T) {
	for payload, want := range map[string]string{
		`4.5`:                                   `[ 4.5]`,
		` -12.3 `:                               `[ -12.3]`,
		`ON`:                                    `[ on]`,
		`true`:                                  `[ on]`,
		`{"t":4.5}`:                             `[/t 4.5]`,
		`{"t":"4.5"}`:                           `[/t 4.5]`,
		`{"a/b":{"~":1}}`:                       `[/a~1b/~0 1]`,
		`{"v":[1,{"w":2}],"name":"x","n":null}`: `[/v/0 1 /v/1/w 2]`,
		`{"time":"2026-03-01T06:00:00Z","value":1.5}`: `[/time time /value 1.5]`,
		`{"ts":1772345678,"value":1.5}`:               `[/ts time /value 1.5]`,
		`offline`:                                     `[]`,
		``:                                            `[]`,
		"\xff\xfe":                                    `[]`,
		strings.Repeat("[", 100) + strings.Repeat("]", 100): `[]`,
	} {
		var got []string
		for _, s := range Samples([]byte(payload)) {
			text := fmt.Sprint(s.Number)
			switch {
			case s.IsTime:
				text = "time"
			case s.Switch:
				text = map[float64]string{0: "off", 1: "on"}[s.Number]
			}
			got = append(got, s.Pointer+" "+text)
		}
		if g := "[" + strings.Join(got, " ") + "]"; g != want {
			t.Errorf("%q: %s, want %s", payload, g, want)
		}
	}
	if n := len(Samples([]byte("[" + strings.Repeat("1,", 1000) + "1]"))); n != maxLeaves {
		t.Errorf("%d leaves", n)
	}
}

// FuzzSamples: no payload breaks it, and each pointer leads back to a value.
func FuzzSamples(f *testing.F) {
	f.Add([]byte(`{"a/b":{"~":[1,true,"off"]},"time":"2026-03-01T06:00:00Z"}`))
	f.Fuzz(func(t *testing.T, payload []byte) {
		for _, s := range Samples(payload) {
			if err := CheckPointer(s.Pointer); err != nil {
				t.Fatalf("%q: %v", payload, err)
			}
			if s.Pointer == "" {
				continue
			}
			d := open(message{payload: payload, size: len(payload)}, len(payload), true)
			if _, fault := d.find(s.Pointer); fault.Failed() {
				t.Fatalf("%q: %s: %+v", payload, s.Pointer, fault)
			}
		}
	})
}

// TestListen: values of all topics below a filter, retained ones as such, under a
// client id that throws nobody off.
func TestListen(t *testing.T) {
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer broker.Stop()
	if err := broker.Publish("store/lt/suction", []byte(`{"bar":1.25}`), true); err != nil {
		t.Fatal(err)
	}
	if err := broker.Publish("other/x", []byte(`5`), true); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var got []Sample
	_, err = Listen(ctx, Settings{Name: "broker", URL: "tcp://" + broker.Address(), ClientID: "dewgap"}, "store/#", nil, func(s Sample) {
		got = append(got, s)
		cancel()
	})
	if err != nil || len(got) != 1 || got[0].Topic != "store/lt/suction" || got[0].Pointer != "/bar" || got[0].Number != 1.25 || !got[0].Retained {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := Listen(t.Context(), Settings{Name: "broker", URL: "tcp://" + broker.Address()}, "a/#/b", nil, nil); err == nil {
		t.Error("a filter that is none is accepted")
	}
}
