package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewgap/collector"
	"dewgap/config"
	"dewgap/simulators/plant"
	"dewgap/simulators/store"
)

// servedStore runs a scenario behind its devices, in the pace of real time, until
// the test ends.
func servedStore(t *testing.T, name string) *store.Store {
	t.Helper()
	d, err := loadScenario(name)
	if err != nil {
		t.Fatal(err)
	}
	d.Start = time.Now().UTC().Truncate(time.Second)
	p, err := plant.New(d, 1)
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(p, store.Setting{Bus: "127.0.0.1:0", Broker: "127.0.0.1:0", PublishAll: true})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx, collector.NewRealClock()) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return s
}

// TestScanGivesASiteFileToBeginWith: over Modbus and MQTT, from the wire of a
// simulated store to a file that runs when the marked lines are filled in.
func TestScanGivesASiteFileToBeginWith(t *testing.T) {
	s := servedStore(t, "freezer-room")
	for name, args := range map[string][]string{
		"modbus": {"--modbus", s.ModbusAddress(), "--unit", "1", "--table", "input", "--from", "0", "--to", "20", "--pause", "50ms", "--forbid", "18-20"},
		"mqtt":   {"--mqtt", "tcp://" + s.Broker.Address(), "--topic", "freezer-room/#"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "site.toml")
			code, out, errs := called(t, append([]string{"scan", "--for", "4s", "--period", "1s", "--delay", "0s", "--out", file}, args...)...)
			if code != 0 {
				t.Fatalf("status %d: %s %s", code, out, errs)
			}
			for _, want := range []string{"Agree this first connection with whoever is responsible", "next: complete the lines marked FILL IN"} {
				if !strings.Contains(errs, want) {
					t.Errorf("no %q in %s", want, errs)
				}
			}
			if !strings.Contains(out, "pressure ") || !strings.Contains(out, "temperature ") {
				t.Error(out)
			}
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := config.Load(file); err == nil || strings.Count(err.Error(), "\n") != 1 {
				t.Errorf("before it is filled in, altitude and refrigerant are missing, and no more: %v", err)
			}
			filled := strings.NewReplacer(`altitude = "FILL IN"`, `altitude = "0 m"`, `refrigerant = "FILL IN"`, `refrigerant = "R404A"`).Replace(string(text))
			c, err := config.Parse(file, []byte(filled))
			if err == nil {
				err = c.Runnable()
			}
			if err != nil {
				t.Fatalf("%v\n%s", err, filled)
			}
			if code, out, errs := called(t, append([]string{"scan", "--for", "1s", "--delay", "0s", "--out", file}, args...)...); code == 0 || !strings.Contains(errs, "--force") {
				t.Errorf("an existing file: status %d: %s %s", code, out, errs)
			}
		})
	}
	if n := s.Modbus.Writes(); n != 0 {
		t.Errorf("%d writes", n)
	}
}

func TestScanUsage(t *testing.T) {
	for _, args := range [][]string{
		{"scan"},
		{"scan", "--modbus", "127.0.0.1:1", "--mqtt", "tcp://127.0.0.1:1"},
		{"scan", "--modbus", "127.0.0.1:1"},
		{"scan", "--modbus", "127.0.0.1:1", "--from", "9", "--to", "3"},
		{"scan", "--modbus", "127.0.0.1:1", "--from", "0", "--to", "5000"},
		{"scan", "--modbus", "127.0.0.1:1", "--from", "0", "--to", "9", "--pause", "1ms"},
		{"scan", "--modbus", "127.0.0.1:1", "--from", "0", "--to", "9", "--forbid", "9-1"},
		{"scan", "--modbus", "127.0.0.1:1", "--from", "0", "--to", "9", "--table", "file"},
		{"scan", "--mqtt", "tcp://127.0.0.1:1"},
	} {
		if code, out, errs := called(t, args...); code != 2 || out != "" {
			t.Errorf("%v: status %d: %s %s", args, code, out, errs)
		}
	}
	if code, _, errs := called(t, "scan", "--modbus", "127.0.0.1:1", "--from", "0", "--to", "9", "--delay", "0s"); code != 1 || !strings.Contains(errs, "nothing listens there") {
		t.Errorf("nobody there: status %d: %s", code, errs)
	}
}
