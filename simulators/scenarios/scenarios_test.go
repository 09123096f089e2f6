package scenarios

import (
	"flag"
	"os"
	"strings"
	"testing"

	"dewgap/simulators/plant"
)

//go:generate go test -run TestFormatIsWritten -update .

var update = flag.Bool("update", false, "write FORMAT.md again")

func TestFormatIsWritten(t *testing.T) {
	want := Format()
	if *update {
		if err := os.WriteFile("FORMAT.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("FORMAT.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("FORMAT.md differs from the structures: go generate ./simulators/scenarios")
	}
}

func TestEveryScenarioTellsWhatItIs(t *testing.T) {
	if len(Names()) == 0 {
		t.Fatal("no scenario is embedded")
	}
	for _, name := range Names() {
		d, err := Load(name)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if d.Name != name || d.Title == "" || d.Expect == "" {
			t.Errorf("%s: name %q, title %q, expect %q: all are needed, the name as the file's", name, d.Name, d.Title, d.Expect)
		}
	}
}

func TestBadScenariosSayWhere(t *testing.T) {
	for text, want := range map[string]string{
		"stor = 1":           "x.toml: stor: no such key; did you mean store?",
		"hours = \"6\"":      "x.toml: hours: a number is needed",
		"hours = nan":        "x.toml: hours: NaN: a finite number is needed",
		"[store]\nhumid = 1": "x.toml: store.humid: no such key",
		"[[suction_group]]\nname = \"a\"\nrefrigrant = 1": "x.toml: suction_group[a].refrigrant: no such key; did you mean refrigerant?",
		"a = \n":                      "x.toml:1: ",
		"[store]\nstore_humidity = 5": "x.toml: store.store_humidity: 5: at most 1",
		"hours = -1":                  "x.toml: hours: -1: must not be below 0",
	} {
		_, err := Decode("x.toml", text)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add("hours = 6\n[[suction_group]]\nname = \"a\"")
	f.Fuzz(func(t *testing.T, text string) { Decode("x.toml", text) })
}

// What no plant can be built from is reported all at once, each with its place.
func TestImpossiblePlantsSayWhatIsWrong(t *testing.T) {
	d, err := Decode("x.toml", `
warm_up_h = 90
[store]
store_c = 60
[[suction_group]]
name = "MT"
refrigerant = "R448A"
dew_c = -8
condensing_c = 5
  [suction_group.control]
  mode = "magic"
  [[suction_group.compressor]]
  name = "c1"
  kind = "rotary"
  capacity_kw = 0
  [[suction_group.circuit]]
  name = "c1"
  air_c = -7
  tap = 3
    [suction_group.circuit.valve]
    kind = "needle"
    opening_superheat_k = 0
    [suction_group.circuit.defrost]
    kind = "hot_gas"
`)
	if err != nil {
		t.Fatal(err)
	}
	_, err = plant.New(d, 1)
	if err == nil {
		t.Fatal("a plant was built")
	}
	for _, want := range []string{
		"warm_up_h = 90: 0 to 48", "store: store_c = 60: 5 to 45", `MT: name "MT": lower-case`, "MT: condensing_c = 5: 12 to 55",
		`MT: control.mode = "magic": one of`, `MT.c1: kind = "rotary": one of`, "MT.c1: capacity_kw = 0: 0.1 to 500", `MT.c1: name "c1" is used twice`,
		"MT.c1: tap = 3: there are taps 1 to 1", "MT.c1: air_c = -7: -3.8 to 57", `MT.c1: valve.kind = "needle"`, "MT.c1: valve.opening_superheat_k = 0: 0.5 to 20",
		"MT.c1: defrost.kind hot_gas needs a second circuit",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("not reported: %s\nin %v", want, err)
		}
	}
}
