package main

import (
	"bytes"
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dewgap/simulators/devices"
)

// device answers unit 1's input registers from a map.
type device map[uint16]uint16

func (d device) Read(unit, table uint8, address uint16) (uint16, bool) {
	word, ok := d[address]
	return word, ok && unit == 1 && table == 4
}

// called runs one command line and returns its status and what it wrote.
func called(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, console{Out: &o, Err: &e})
	return code, o.String(), e.String()
}

func written(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "site.toml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestCheckLiveShowsWordsValuesAndGuesses(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	// 180 hundredths are 1.80 bar gauge; −60 tenths are −6.0 °C; 0xC0C0 0000
	// is −6.0 as an IEEE 754 single.
	front := &devices.ModbusDevice{Registers: device{100: 180, 101: 0xFFC4, 110: 0x0000, 111: 0xC0C0, 120: 0x7FFF}}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- front.Serve(ctx, l) }()
	defer func() {
		stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if n := front.Writes(); n != 0 {
			t.Errorf("%d writes", n)
		}
	}()
	broker, err := devices.StartMQTTBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer broker.Stop()
	if err := broker.Publish("case/air", []byte(`{"t":4.5}`), true); err != nil {
		t.Fatal(err)
	}
	file := written(t, `[site]
name = "demo"
altitude = "0 m"
[[modbus]]
name = "rack-io"
address = "`+l.Addr().String()+`"
[[mqtt]]
name = "cases"
url = "tcp://`+broker.Address()+`"
username = "dewgap"
password = "s3cret-never-shown"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.01, unit = "barg" }
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "rack-io", unit_id = 1, input = 101, type = "int16", scale = 0.1, unit = "degC" }
  discharge_temperature = { modbus = "rack-io", unit_id = 1, input = 110, type = "float32", unit = "degC" }
  sump_temperature = { modbus = "rack-io", unit_id = 1, input = 120, type = "int16", scale = 0.1, unit = "degC", sentinel = [32767] }
  [[suction_group.circuit]]
  name = "case-1"
  coil_outlet_temperature = { modbus = "rack-io", unit_id = 1, input = 130, type = "int16", scale = 0.1, unit = "degC" }
  air_temperature = { mqtt = "cases", topic = "case/air", value = "/t", unit = "degC" }
`)
	code, out, errs := called(t, "check", "--config", file, "--live", "--plan", "--wait", "1s")
	if code != 1 { // a word order is missing, a probe is open, a register is not there
		t.Errorf("status %d", code)
	}
	for _, want := range []string{
		"raw 0x00B4", "1.80 bar", "raw 0xFFC4", "-6.0",
		"raw 0x0000 0xC0C0", "float32 CDAB = ",
		"raw 0x7FFF", "failing: sentinel", "failing: exception-2",
		"topic case/air, payload", "retained", "Joined into these reads", "6 points: 2 good, 0 doubtful, 4 failing; 6 never compared",
	} {
		if !strings.Contains(strings.ReplaceAll(out, "−", "-"), want) {
			t.Errorf("no %q in what it prints", want)
		}
	}
	if !strings.Contains(errs, "discharge_temperature.order: is missing") {
		t.Error("the missing order is not reported")
	}
	if strings.Contains(out+errs, "s3cret") {
		t.Error("the password is shown")
	}
	if t.Failed() {
		t.Log(out, errs)
	}
}

// TestCheckReference: the page in the repository is what the command prints.
func TestCheckReference(t *testing.T) {
	page, err := os.ReadFile("../../config/reference.md")
	if err != nil {
		t.Fatal(err)
	}
	code, out, errs := called(t, "check", "--reference")
	if code != 0 || errs != "" || out != string(page) {
		t.Errorf("status %d, %d bytes, want %d\n%s", code, len(out), len(page), errs)
	}
	for _, args := range [][]string{{"check"}, {"check", "--reference", "--config", "site.toml"}, {"check", "--reference", "--live"}} {
		if code, out, errs := called(t, args...); code != 2 || out != "" || !strings.Contains(errs, "--reference") {
			t.Errorf("%v: status %d\n%s\n%s", args, code, out, errs)
		}
	}
}

func TestCheckStatus(t *testing.T) {
	const good = "[site]\nname = \"demo\"\naltitude = \"0 m\"\n[[suction_group]]\nname = \"mt\"\nrefrigerant = \"R448A\"\n  [[suction_group.compressor]]\n  name = \"c1\"\n  [[suction_group.circuit]]\n  name = \"case-1\"\n"
	for _, c := range []struct {
		name, text string
		args       []string
		code       int
		out, errs  string
	}{
		{"for replay", good, nil, 0, "Group mt: R448A", "is right for replay"},
		{"faults", "[site]\nuntis = 1\n", nil, 1, "", "2 faults"},
		{"nothing to read live", good, []string{"--live"}, 1, "", "no source is configured"},
		{"unknown option", good, []string{"--life"}, 2, "", "--life"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, out, errs := called(t, append([]string{"check", "--config", written(t, c.text)}, c.args...)...)
			if code != c.code || !strings.Contains(out, c.out) || !strings.Contains(errs, c.errs) {
				t.Errorf("status %d\n%s\n%s", code, out, errs)
			}
		})
	}
}
