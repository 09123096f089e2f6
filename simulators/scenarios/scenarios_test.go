package scenarios

import (
	"flag"
	"os"
	"strings"
	"testing"
)

//go:generate go test -run TestFormatIsWritten -update .

var update = flag.Bool("update", false, "write FORMAT.md anew")

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
