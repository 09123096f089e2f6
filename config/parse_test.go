package config

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/collector/modbus"
	"dewgap/collector/register"
)

func TestContractExample(t *testing.T) {
	c, err := Load("testdata/good/contract.toml")
	if err != nil {
		t.Fatal(err)
	}
	g := c.Site.Groups[0]
	got := fmt.Sprint(c.Site.Name, " ", g.Name, " ", g.Refrigerant.Name, " ", g.Compressors[0].Name, " ", g.Circuits[0].Name, " ", g.Detect.Floor.Steady, g.Detect.Floor.Pulldown, g.Detect.Hold.Steady, g.Detect.Hold.Pulldown, g.Detect.ClearMargin, g.Detect.ClearHold)
	if want := fmt.Sprint("demo mt R513A c1 case-1 ", 11.0, 8.0, "1m0s", "30s", 2.0, "2m0s"); strings.ReplaceAll(got, " ", "") != strings.ReplaceAll(want, " ", "") {
		t.Errorf("%s, want %s", got, want)
	}
	if len(c.Warnings) != 0 {
		t.Error(c.Warnings)
	}
	if c.Runnable() == nil {
		t.Error("no sources, and the daemon would run")
	}
}

func TestEmbeddedSiteIsRunnable(t *testing.T) {
	data, err := Examples.ReadFile("examples/site.toml")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Parse("site.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Runnable(); err != nil {
		t.Error(err)
	}
	if len(c.Warnings) != 0 {
		t.Error(c.Warnings)
	}
	var plan strings.Builder
	if err := c.WritePlan(&plan); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"drip 3 min", "Joined into these reads", "Group mt: R448A", "It only reads", "It only subscribes"} {
		if !strings.Contains(plan.String(), want) {
			t.Errorf("no %q in\n%s", want, plan.String())
		}
	}
	if strings.Contains(plan.String(), "NaN") || strings.Contains(plan.String(), "%!") {
		t.Error(plan.String())
	}
}

// The settings that the example holds back as comments are right as well.
func TestExampleWithAllItsSettings(t *testing.T) {
	data, err := Examples.ReadFile("examples/site.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := regexp.MustCompile(`(?m)^(\s*)#(\S)`).ReplaceAllString(string(data), "$1$2")
	c, err := Parse("site.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"order", "client_id", "username", "password_file", "qos", "serial", "baud", "parity", "stop_bits", "rs485", "sump_temperature", "discharge_pressure", "speed", "coil_inlet_temperature"} {
		if !regexp.MustCompile(`\b` + key + ` = `).MatchString(text) {
			t.Errorf("the example does not mention %s", key)
		}
	}
	var missing Faults
	if err := c.Runnable(); !errors.As(err, &missing) {
		t.Fatal("runs without the password's file:", err)
	}
	for _, f := range missing {
		if !strings.HasSuffix(f.Key, ".password_file") && !strings.HasSuffix(f.Key, ".serial") {
			t.Error(f)
		}
	}
}

func TestForRecording(t *testing.T) {
	c, err := Load("testdata/good/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	// Whatever the order of the columns; air of c2's group is not configured at
	// all, and the discharge pressure is configured and not recorded.
	site, err := c.ForRecording([]string{"mt.c2.discharge_temperature", "mt.c1.suction_temperature", "mt.suction_pressure"})
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, p := range site.Points {
		paths = append(paths, p.Path)
	}
	if diff := cmp.Diff([]string{"mt.suction_pressure", "mt.c1.suction_temperature", "mt.c2.discharge_temperature"}, paths); diff != "" {
		t.Error(diff)
	}
	if len(site.Sensors) != 3 || site.Sensors[0].Limit != 0.13e5 {
		t.Error("what is stated of the sensors is lost:", site.Sensors)
	}
	_, err = c.ForRecording([]string{"mt.c3.suction_temperature", "mt.suction_presure", "mt.suction_pressure"})
	if err == nil || !strings.Contains(err.Error(), `"mt.c3.suction_temperature"`) || !strings.Contains(err.Error(), `"mt.suction_presure"`) {
		t.Error("homeless columns:", err)
	}
}

// What a group states of its detectors is what they get; the rest stays as it
// is by default.
func TestDetect(t *testing.T) {
	c, err := Load("testdata/good/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := floodback.DefaultSettings()
	want.Floor.Steady = 20.0 / 1.8
	want.Wet.MinorLiquid, want.Wet.MajorLiquid.Scroll = 0.01, 0.04
	want.Wet.Edge, want.Wet.Contact, want.Wet.NearDew, want.Wet.SumpNear, want.Wet.SumpFall = 1, 0.05, 2, 8, 3
	want.Oil.Cold, want.Oil.Cool = 3, 7
	want.Hunting.Swing, want.Hunting.Cycles = 3, 5
	want.High = floodback.HighLimits{
		Superheat: 25, SuperheatHold: 30 * time.Minute, Discharge: 110, DischargeHold: 15 * time.Minute,
		Critical: want.High.Critical, HotSuperheat: want.High.HotSuperheat,
	}
	want.NoDataHold, want.FaultHold = 5*time.Minute, 2*time.Minute
	if diff := cmp.Diff(want, c.Site.Groups[0].Detect, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Error(diff)
	}
	if len(c.Site.Groups) > 1 {
		if diff := cmp.Diff(floodback.DefaultSettings().Wet, c.Site.Groups[1].Detect.Wet); diff != "" {
			t.Error("the other group is changed:", diff)
		}
	}
}

func TestManualNotation(t *testing.T) {
	for _, c := range []struct {
		n       int64
		table   modbus.Table
		address uint16
		ok      bool
	}{ // common practice, no source: first digit the table, the rest one-based
		{30001, modbus.Input, 0, true}, {39999, modbus.Input, 9998, true}, {40001, modbus.Holding, 0, true},
		{300001, modbus.Input, 0, true}, {365536, modbus.Input, 65535, true}, {400101, modbus.Holding, 100, true},
		{10001, modbus.Discrete, 0, true}, {30000, 0, 0, false}, {365537, 0, 0, false}, {20001, 0, 0, false}, {0, 0, 0, false}, {-30001, 0, 0, false},
	} {
		table, address, ok := fromManual(c.n)
		if table != c.table || address != c.address || ok != c.ok {
			t.Errorf("%d: %v %d %v", c.n, table, address, ok)
		}
	}
}

// TestStatesOfAMachine: a status register is on in the states that the
// configuration names, by the numbers of its manual.
func TestStatesOfAMachine(t *testing.T) {
	c := parse(t, "[[modbus]]\nname = \"io\"\naddress = \"192.0.2.10:502\"\n", `  [[suction_group.circuit]]
  name = "dairy"
  defrost = { modbus = "io", unit_id = 1, input = 7, type = "uint16", equals = [3, 4], sentinel = [65535] }
`)
	m := c.Modbus[0].Points[len(c.Modbus[0].Points)-1].Mapping
	for word, want := range map[uint16]float64{0: 0, 1: 0, 2: 0, 3: 1, 4: 1, 5: 0} {
		if got, fault := m.ValueOfWords([]uint16{word}); got != want || fault.Failed() {
			t.Errorf("state %d: %v %v, want %v", word, got, fault, want)
		}
	}
	if _, fault := m.ValueOfWords([]uint16{0xFFFF}); fault.Code != register.CodeSentinel {
		t.Errorf("the sentinel is a state: %v", fault)
	}
	if _, fault := m.ValueOfText("running"); !fault.Failed() {
		t.Error("a word is taken for a state")
	}
}

func TestPasswordsAreNeverPrinted(t *testing.T) {
	const secret = "s3cret-never-shown"
	folder := t.TempDir()
	file := filepath.Join(folder, "pw")
	if err := os.WriteFile(file, []byte(secret+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("DEWGAP_TEST_PASSWORD", secret)
	for _, from := range []string{`password = "` + secret + `"`, `password_env = "DEWGAP_TEST_PASSWORD"`, `password_file = "` + file + `"`} {
		c := parse(t, "[[mqtt]]\nname = \"broker\"\nurl = \"tcp://192.0.2.20\"\nusername = \"u\"\n"+from+"\n", "")
		if string(c.MQTT[0].Password) != secret {
			t.Fatalf("%s: not read", from)
		}
		var plan strings.Builder
		if err := c.WritePlan(&plan); err != nil {
			t.Fatal(err)
		}
		asJSON, err := json.Marshal(c.MQTT[0].Password)
		if err != nil {
			t.Fatal(err)
		}
		var log strings.Builder
		slog.New(slog.NewJSONHandler(&log, nil)).Info("settings", "password", c.MQTT[0].Password, "broker", c.MQTT[0])
		for _, shown := range []string{string(asJSON), log.String(), fmt.Sprintf("%d %q %c", c.MQTT[0].Password, c.MQTT[0].Password, c.MQTT[0].Password), plan.String(), c.Warnings.Error(), fmt.Sprint(c.Runnable()), fmt.Sprintf("%v %+v %#v %s", *c, c.MQTT, c.MQTT[0], c.MQTT[0].Password)} {
			if strings.Contains(shown, secret) {
				t.Errorf("%s: shown in %s", from, shown)
			}
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/good/*.toml", "testdata/bad/*.toml"} {
		files, _ := filepath.Glob(pattern)
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(string(data))
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := Parse("site.toml", []byte(text))
		if (c == nil) == (err == nil) {
			t.Fatal("neither or both of configuration and faults")
		}
		if c == nil {
			lines := strings.Count(text, "\n") + 1
			faults, ok := err.(Faults)
			if !ok || len(faults) == 0 {
				t.Fatal("no faults:", err)
			}
			for _, x := range faults {
				if x.Line < 1 || x.Line > lines || x.Problem == "" || x.Remedy == "" {
					t.Errorf("%+v of %d lines", x, lines)
				}
			}
			return
		}
		if err := c.WritePlan(&strings.Builder{}); err != nil {
			t.Error(err)
		}
	})
}

// Each key sets what it names; a drip of zero is none, not the default.
func TestPhasesAreSet(t *testing.T) {
	c, err := Parse("site.toml", []byte(`[[suction_group]]
name = "mt"
refrigerant = "R513A"
drip = "0 s"
pulldown_limit = "40 min"
defrost_limit = "50 min"
[suction_group.phases]
pulldown_least = "1 min"
pulldown_usual = "25 min"
pulldown_usual_lone = "26 min"
drip_limit = "7 min"
defrost_doubt = "27 min"
thermostat_pause = "28 min"
[[suction_group.compressor]]
name = "c1"
`))
	if err != nil {
		t.Fatal(err)
	}
	want := phase.Default()
	want.Drip, want.PulldownLimit, want.SignalLimit = 0, 40*time.Minute, 50*time.Minute
	want.MinPulldown, want.TypicalPulldown, want.LonePulldown = time.Minute, 25*time.Minute, 26*time.Minute
	want.DripLimit, want.MinStuckSignal, want.PauseLimit = 7*time.Minute, 27*time.Minute, 28*time.Minute
	if diff := cmp.Diff(want, c.Site.Groups[0].Phase); diff != "" {
		t.Error(diff)
	}
}
