package config

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"dewgap/analyze/reading"
	"dewgap/analyze/refrigerant"
	"dewgap/analyze/units"
)

func TestReferenceIsWhatTheTablesHold(t *testing.T) {
	var b strings.Builder
	if err := WriteReference(&b); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("reference.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	page, err := os.ReadFile("reference.md")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(page), b.String()); diff != "" {
		t.Error("run go generate ./config:", diff)
	}
}

// TestReferenceIsReadable holds sentences to the length that a person beside a
// compressor can read, and every key to unit, meaning and example.
func TestReferenceIsReadable(t *testing.T) {
	for _, s := range sections() {
		for _, k := range s.keys {
			at := s.head + " " + k.path
			if k.unit == "" || k.example == "" || !strings.HasSuffix(k.meaning, ".") {
				t.Errorf("%s: %+v", at, k)
			}
			if k.needed == "" && k.def == "" && k.limits == "" {
				t.Errorf("%s has neither a default nor limits and is not needed", at)
			}
			for sentence := range strings.SplitSeq(s.intro+" "+k.meaning, ". ") {
				if n := len(strings.Fields(sentence)); n > 25 {
					t.Errorf("%s: a sentence of %d words: %s", at, n, sentence)
				}
			}
		}
	}
	for _, k := range fixedValues() {
		if k.source == "" || !strings.HasSuffix(k.meaning, ".") || len(strings.Fields(k.meaning)) > 25 {
			t.Errorf("fixed value %+v", k)
		}
	}
	for _, role := range reading.Roles(reading.AtGroup | reading.AtCompressor | reading.AtCircuit) {
		if roleMeanings[role] == "" {
			t.Errorf("%s has no meaning", role)
		}
	}
}

// TestDecodersAskForDocumentedKeysOnly: a key that no table documents is never
// accepted, and a decoder that asks for one has a mistake.
func TestDecodersAskForDocumentedKeysOnly(t *testing.T) {
	files, err := filepath.Glob("testdata/*/*.toml")
	if err != nil || len(files) < 50 {
		t.Fatal(len(files), err)
	}
	for _, file := range append(files, "examples/site.toml") {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		b, err := build(file, string(data))
		if err != nil {
			continue // no TOML at all
		}
		if len(b.undocumented) > 0 {
			t.Errorf("%s: asked for %v", file, b.undocumented)
		}
	}
	r := &reader{}
	tab := &table{r: r, values: map[string]any{"secret_option": int64(1)}, position: &position{line: 1}, keys: keysOf(daemonRows)}
	if _, ok := tab.value("secret_option"); ok || len(r.undocumented) != 1 {
		t.Error("an undocumented key is accepted")
	}
	if tab.done(); len(r.faults) != 1 || r.faults[0].Problem != "unknown key" {
		t.Errorf("an undocumented key is no fault: %v", r.faults)
	}
}

// TestReferenceExamplesDecode writes each key into a file: its example must
// decode, and something of another type must be a fault of that key, so that a
// key that no decoder reads is noticed.
func TestReferenceExamplesDecode(t *testing.T) {
	folder := exampleFolder(t)
	for _, s := range sections() {
		for _, k := range s.keys {
			t.Run(s.head+" "+k.path, func(t *testing.T) {
				text := siteWith(s.head, k.path, k.example)
				if _, err := Parse(filepath.Join(folder, "site.toml"), []byte(text)); err != nil {
					t.Fatalf("%v\n%s", err, text)
				}
				wrong := "2026-03-01"
				if k.path == "calibration.date" || k.path == "verified.on" {
					wrong = "true"
				}
				_, err := Parse(filepath.Join(folder, "site.toml"), []byte(siteWith(s.head, k.path, wrong)))
				faults, _ := err.(Faults)
				if !slices.ContainsFunc(faults, func(f Fault) bool {
					return strings.HasSuffix(f.Key, "."+k.path) && f.Remedy != "" && f.Problem != "unknown key"
				}) {
					t.Errorf("%s = %s is accepted: %v", k.path, wrong, err)
				}
			})
		}
	}
}

// TestReferenceRangesHold: the ends of each range are allowed, and what lies
// beyond them is a fault.
func TestReferenceRangesHold(t *testing.T) {
	folder := exampleFolder(t)
	faultOf := func(head, path, value string) error {
		_, err := Parse(filepath.Join(folder, "site.toml"), []byte(siteWith(head, path, value)))
		faults, _ := err.(Faults)
		for _, f := range faults {
			if strings.HasSuffix(f.Key, "."+path) {
				return f
			}
		}
		return nil
	}
	number := regexp.MustCompile(`^(-?[0-9.]+)(.*)$`)
	checked := 0
	for _, s := range sections() {
		for _, k := range s.keys {
			low, high, ok := strings.Cut(k.limits, " to ")
			if !ok || strings.ContainsAny(k.limits, `",;`) || k.unit == "text" {
				continue
			}
			for beyond, end := range map[float64]string{-1: low, 1: high} {
				quote := ""
				if strings.Contains(k.unit, "(") {
					quote = `"`
				}
				// Neighbours, such as pulldown_least at its end above
				// pulldown_limit, may object to an end; the range does not.
				if err := faultOf(s.head, k.path, quote+end+quote); err != nil && !strings.Contains(err.Error(), "pulldown") && !strings.Contains(err.Error(), "major") && !strings.Contains(err.Error(), "oil_c") {
					t.Errorf("%s %s = %s: %v", s.head, k.path, end, err)
				}
				m := number.FindStringSubmatch(end)
				x, err := strconv.ParseFloat(m[1], 64)
				if err != nil {
					t.Fatal(err)
				}
				far := quote + strconv.FormatFloat(math.Trunc(x+beyond*(1+0.1*math.Abs(x))), 'f', -1, 64) + m[2] + quote
				if faultOf(s.head, k.path, far) == nil {
					t.Errorf("%s %s = %s is accepted beyond %s", s.head, k.path, far, k.limits)
				}
			}
			checked++
		}
	}
	if checked < 60 {
		t.Errorf("%d ranges checked", checked)
	}
}

func exampleFolder(t *testing.T) string {
	fluid, err := refrigerant.Lookup("R448A")
	if err != nil {
		t.Fatal(err)
	}
	table := "temperature:degC,dew:bara,bubble:bara\n"
	for at := units.Celsius(-50); at <= 30; at += 5 {
		dew, err1 := fluid.DewPressure(at)
		bubble, err2 := fluid.BubblePressure(at)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		table += fmt.Sprintf("%g,%.5f,%.5f\n", float64(at), float64(dew)/1e5, float64(bubble)/1e5)
	}
	folder := t.TempDir()
	for name, text := range map[string]string{
		"ntc10k.csv":        "degC,ohm\n0,32650\n25,10000\n50,3603\n",
		"maker-blend-1.csv": table,
		"mqtt.password":     "change-me\n", "mail.password": "change-me\n", "on-call.url": "https://hooks.example/store\n",
		"on-call.key": "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYX\n", "on-call.headers": "Authorization: Bearer change-me\n",
		"ca.pem": "", "dewgap.pem": "", "dewgap.key": "",
	} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

// base is what stands beside a key in its table.
var base = map[string][]string{
	"[site]": nil, "[daemon]": nil, "[commissioning]": nil, "[suction_group.detect]": nil, "[suction_group.phases]": nil,
	"[[modbus]]":                   {`name = "rack-io"`, `address = "192.0.2.10:502"`},
	"[[modbus.forbidden]]":         {"unit_id = 1", `coil = "3"`},
	"[[mqtt]]":                     {`name = "cases"`, `url = "ssl://192.0.2.20"`},
	"[[refrigerant]]":              {`name = "blend-9"`, `table = "maker-blend-1.csv"`},
	"[[suction_group]]":            {`name = "mt"`, `refrigerant = "R448A"`},
	"[[suction_group.compressor]]": {`name = "c1"`},
	"[[suction_group.circuit]]":    {`name = "case-1"`},
	"[[remote_write]]":             {`name = "central"`, `url = "https://metrics.example/api/v1/write"`},
	"[[notify]]":                   {`name = "on-call"`, `kind = "webhook"`, `url = "https://hooks.example/store"`},
}

// Targets of other kinds than base's.
var (
	mailTarget = []string{`name = "on-call"`, `kind = "mail"`, `url = "smtps://mail.example"`, `from = "dewgap@store-17.example"`, `to = ["anna@service.example"]`}
	mqttTarget = []string{`name = "on-call"`, `kind = "mqtt"`, `url = "ssl://192.0.2.20"`}
)

// besides is what a key needs beside it in place of its table's base.
var besides = map[string][]string{
	"[[modbus]] serial":    {`name = "rack-io"`, "baud = 9600", `parity = "even"`},
	"[[modbus]] baud":      {`name = "rack-io"`, `serial = "/dev/null"`, `parity = "even"`},
	"[[modbus]] parity":    {`name = "rack-io"`, `serial = "/dev/null"`, "baud = 9600"},
	"[[modbus]] stop_bits": {`name = "rack-io"`, `serial = "/dev/null"`, "baud = 9600", `parity = "even"`},
	"[[modbus]] rs485":     {`name = "rack-io"`, `serial = "/dev/null"`, "baud = 9600", `parity = "even"`},
	"[[mqtt]] cert_file":   {`name = "cases"`, `url = "ssl://192.0.2.20"`, `key_file = "dewgap.key"`},
	"[[mqtt]] key_file":    {`name = "cases"`, `url = "ssl://192.0.2.20"`, `cert_file = "dewgap.pem"`},

	"[[remote_write]] url_file":   {`name = "central"`},
	"[[notify]] url_file":         {`name = "on-call"`, `kind = "webhook"`},
	"[[notify]] from":             mailTarget,
	"[[notify]] to":               mailTarget,
	"[[notify]] prefix":           mqttTarget,
	"[[notify]] client_id":        mqttTarget,
	"[[notify]] discovery_prefix": mqttTarget,
	"[[notify]] content_type":     {`name = "on-call"`, `kind = "webhook"`, `url = "https://hooks.example/store"`, `body = "{{.Text}}"`},

	"input":   {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `unit = "degC"`},
	"holding": {`modbus = "rack-io"`, "unit_id = 1", `type = "int16"`, `unit = "degC"`},
	"manual":  {`modbus = "rack-io"`, "unit_id = 1", `type = "int16"`, `unit = "degC"`},
	"order":   {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "float32"`, `unit = "degC"`},
	"r25":     {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `sensor = "ntc"`, `b = "3435 K"`},
	"b":       {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `sensor = "ntc"`, `r25 = "10 kohm"`},
	"table":   {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `sensor = "ntc"`},

	"mqtt":        {`topic = "case/1"`, `unit = "degC"`},
	"topic":       {`mqtt = "cases"`, `unit = "degC"`},
	"value":       {`mqtt = "cases"`, `topic = "case/1"`, `unit = "degC"`},
	"time":        {`mqtt = "cases"`, `topic = "case/1"`, `value = "/v"`, `unit = "degC"`},
	"time_format": {`mqtt = "cases"`, `topic = "case/1"`, `value = "/v"`, `time = "/t"`, `unit = "degC"`},

	"coil":      {`modbus = "rack-io"`, "unit_id = 1"},
	"discrete":  {`modbus = "rack-io"`, "unit_id = 1"},
	"bit":       {`modbus = "rack-io"`, "unit_id = 1", "holding = 12"},
	"invert":    {`modbus = "rack-io"`, "unit_id = 1", "coil = 4"},
	"threshold": {`modbus = "rack-io"`, "unit_id = 1", "input = 4", `type = "int16"`, `unit = "A"`},
	"equals":    {`modbus = "rack-io"`, "unit_id = 1", "input = 4", `type = "int16"`},

	"signal": {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `span = "-1..12 barg"`},
	"span":   {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `signal = "4-20mA"`},
	"sealed": {`modbus = "rack-io"`, "unit_id = 1", "input = 100", `type = "int16"`, `unit = "barg"`},
}

func inputRole(path string) string {
	switch path {
	case "coil", "discrete", "bit", "invert", "threshold", "equals":
		return "running"
	case "signal", "span", "sealed":
		return "suction_pressure"
	}
	return "suction_temperature"
}

// siteWith returns a whole site in which one key of the section has the value.
func siteWith(head, path, value string) string {
	lines, found := besides[head+" "+path]
	input := strings.HasPrefix(head, "Input: ")
	switch {
	case input:
		if lines, found = besides[path]; !found {
			lines = besides["input"]
		}
		if strings.HasPrefix(path, "verified.") { // one of its keys is useless without the others
			lines = append(slices.Clone(lines), `verified.on = "2026-11-30"`, `verified.gauge = "-12.3 degC"`, `verified.read = "-12.0 degC"`)
		}
	case !found:
		lines = base[head]
	}
	lines = slices.DeleteFunc(slices.Clone(lines), func(l string) bool { return strings.HasPrefix(l, path+" =") })
	lines = append(lines, path+" = "+value)

	var b strings.Builder
	for _, s := range []string{"[site]", "[daemon]", "[commissioning]", "[[modbus]]", "[[modbus.forbidden]]", "[[mqtt]]", "[[refrigerant]]", "[[suction_group]]", "[suction_group.detect]", "[suction_group.phases]", "[[suction_group.compressor]]", "[[suction_group.circuit]]", "[[notify]]", "[[remote_write]]"} {
		own := base[s]
		if s == head {
			own = lines
		}
		b.WriteString(s + "\n" + strings.Join(own, "\n") + "\n")
		if input && s == "[[suction_group.compressor]]" {
			b.WriteString(inputRole(path) + " = { " + strings.Join(lines, ", ") + " }\n")
		}
	}
	return b.String()
}
