package main

import (
	"context"
	"encoding/json"
	"net"
	"os"
	"strings"
	"testing"

	"dewgap/simulators/devices"
)

// serveDevice answers as a Modbus TCP device until the test ends and returns its
// address.
func serveDevice(t *testing.T, d device) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	front := &devices.ModbusDevice{Registers: d}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- front.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if n := front.Writes(); n != 0 {
			t.Errorf("%d writes", n)
		}
	})
	return l.Addr().String()
}

// oneMachine is a site of one compressor with a running signal: at 1.82 bar gauge
// the dew of R448A is −16.1 °C and its line reads −2.0 °C.
func oneMachine(address, pressureUnit string) string {
	return `[site]
name = "demo"
altitude = "0 m"
[[modbus]]
name = "rack-io"
address = "` + address + `"
[[suction_group]]
name = "mt"
refrigerant = "R448A"
suction_pressure = { modbus = "rack-io", unit_id = 1, input = 100, type = "int16", scale = 0.01, unit = "` + pressureUnit + `", accuracy = "0.07 bar" } # on the header
  [[suction_group.compressor]]
  name = "c1"
  suction_temperature = { modbus = "rack-io", unit_id = 1, input = 101, type = "int16", scale = 0.1, unit = "degC" }
  running = { modbus = "rack-io", unit_id = 1, input = 102, type = "uint16", unit = "bool" }
  [[suction_group.circuit]]
  name = "case-1"
`
}

// TestCheckLiveShowsSuperheat: pressure as the gauge shows it, dew, line,
// superheat with its uncertainty; no verdict in the first second. The dew of R448A at 2.83 bar
// absolute is −16.1 °C (dewgap sat, whose tables are tested against a reference
// library), so a line at −2.0 °C has 14 K.
func TestCheckLiveShowsSuperheat(t *testing.T) {
	address := serveDevice(t, device{100: 182, 101: 0xFFEC, 102: 1})
	file := written(t, oneMachine(address, "barg"))
	code, out, errs := called(t, "check", "--config", file, "--live", "--for", "1s", "--json")
	var got struct {
		Compressors []struct {
			Verdict   string   `json:"verdict"`
			Superheat *float64 `json:"superheat_k"`
			Dew       *float64 `json:"dew_c"`
			Text      struct {
				Pressure  string `json:"suction_pressure"`
				Superheat string `json:"superheat"`
			} `json:"text"`
		} `json:"compressors"`
		Counts struct {
			Points, Good int
			Never        int `json:"never_compared"`
		} `json:"counts"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != 0 {
		t.Fatalf("status %d, %v: %s %s", code, err, out, errs)
	}
	c := got.Compressors[0]
	if c.Verdict != "not yet" || c.Text.Pressure != "1.82 barg" || c.Superheat == nil || *c.Superheat < 13 || *c.Superheat > 16 || !strings.Contains(c.Text.Superheat, " ± ") {
		t.Errorf("%s", out)
	}
	if got.Counts.Points != 3 || got.Counts.Good != 3 || got.Counts.Never != 2 {
		t.Errorf("%+v", got.Counts)
	}
	if strings.Contains(out, "reading") || !strings.Contains(errs, "reading 3 points") {
		t.Error("progress does not go to standard error alone")
	}
}

// TestCheckLiveCompare: the printed line, pasted into the file, is accepted, and
// the input no longer counts as never compared.
func TestCheckLiveCompare(t *testing.T) {
	address := serveDevice(t, device{100: 182, 101: 0xFFEC, 102: 1})
	text := oneMachine(address, "barg")
	file := written(t, text)
	code, out, errs := called(t, "check", "--config", file, "--live", "--for", "1s", "--by", "anna", "--compare", "mt.suction_pressure=1.85 barg")
	if code != 0 {
		t.Fatalf("status %d: %s %s", code, out, errs)
	}
	var pasted string
	for line := range strings.SplitSeq(out, "\n") {
		if strings.HasPrefix(strings.TrimSpace(line), "suction_pressure = {") {
			pasted = strings.TrimSpace(line)
		}
	}
	if !strings.Contains(pasted, `by = "anna", gauge = "1.85 barg", read = "1.82 barg" }`) || !strings.HasSuffix(pasted, "} # on the header") {
		t.Fatalf("the line to paste is %q in\n%s", pasted, out)
	}
	if strings.Contains(out, "differ by") {
		t.Error("0.03 bar is within the accuracy")
	}
	lines := strings.Split(text, "\n")
	for i := range lines {
		if strings.HasPrefix(lines[i], "suction_pressure = {") {
			lines[i] = pasted
		}
	}
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = called(t, "check", "--config", file, "--live", "--for", "1s", "--compare", "mt.suction_pressure=1.20 barg")
	if code != 0 || !strings.Contains(out, "1 never compared") || !strings.Contains(out, "gauge 1.85 barg, read 1.82 barg, by anna") {
		t.Errorf("status %d: %s %s", code, out, errs)
	}
	if !strings.Contains(out, "They differ by 0.62 bar") {
		t.Errorf("0.62 bar are beyond the accuracy, and nothing is remarked:\n%s", out)
	}
	for _, bad := range []string{"mt.suction_presure=1 barg", "mt.c1.running=1 barg", "mt.suction_pressure=1.82 bar", "mt.suction_pressure=3 degC"} {
		if code, out, errs := called(t, "check", "--config", file, "--live", "--for", "1s", "--compare", bad); code == 0 || !strings.Contains(errs, "--compare") {
			t.Errorf("--compare %s: status %d: %s %s", bad, code, out, errs)
		}
	}
}

// TestCheckLiveStopped: what a stopped machine shows, and what it does not.
func TestCheckLiveStopped(t *testing.T) {
	address := serveDevice(t, device{100: 182, 101: 0xFFEC, 102: 0})
	_, out, _ := called(t, "check", "--config", written(t, oneMachine(address, "barg")), "--live", "--for", "1s")
	if !strings.Contains(out, "stopped") || !strings.Contains(out, "Superheat shows only while it runs") || !strings.Contains(out, "above dew") {
		t.Error(out)
	}
}
