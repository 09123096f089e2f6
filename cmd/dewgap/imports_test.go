package main_test

import (
	"cmp"
	"slices"
	"strings"
	"testing"
)

// packageRule lists the packages of ours, and the modules, that the files of one
// package may import. Tests are free. DEVELOPERS.md shows the same table.
type packageRule struct {
	from string
	may  []string // nil: everything
}

var nothing = []string{}

// packageRules has a row for every package of the tree.
var packageRules = []packageRule{
	{"cmd/dewgap", nil},
	{"cmd/dewgap/internal/access", []string{"github.com/prometheus/exporter-toolkit", "go.yaml.in/yaml/v2", "golang.org/x/crypto"}},
	{"cmd/dewgap/internal/cleanup", nothing},
	{"cmd/dewgap/internal/output", nothing},
	{"cmd/dewgap/internal/daemon", []string{"alert", "analyze/...", "cmd/dewgap/internal/access", "cmd/dewgap/internal/cleanup", "cmd/dewgap/internal/history", "cmd/dewgap/internal/metrics", "cmd/dewgap/internal/notify", "cmd/dewgap/internal/pipeline", "cmd/dewgap/internal/remotewrite", "cmd/dewgap/internal/snapshot", "cmd/dewgap/internal/web",
		"collector", "collector/recording", "config", "golang.org/x/sync"}},
	{"cmd/dewgap/internal/history", []string{"analyze", "analyze/frame", "analyze/reading", "cmd/dewgap/internal/pipeline", "collector/recording"}},
	{"cmd/dewgap/internal/pipeline", []string{"alert", "analyze/...", "cmd/dewgap/internal/explain"}},
	{"cmd/dewgap/internal/notify", []string{"alert", "analyze/...", "cmd/dewgap/internal/explain", "cmd/dewgap/internal/snapshot", "config", "github.com/eclipse/paho.mqtt.golang", "github.com/wneessen/go-mail", "golang.org/x/sync"}},
	{"cmd/dewgap/internal/snapshot", []string{"alert", "analyze/...", "cmd/dewgap/internal/pipeline", "collector"}},
	{"cmd/dewgap/internal/snapshot/snaptest", []string{"alert", "analyze/...", "cmd/dewgap/internal/snapshot", "collector"}},
	{"cmd/dewgap/internal/metrics", []string{"alert", "analyze/...", "cmd/dewgap/internal/snapshot", "collector", "github.com/prometheus/client_golang"}},
	{"cmd/dewgap/internal/remotewrite", []string{"alert", "analyze/...", "cmd/dewgap/internal/metrics", "cmd/dewgap/internal/pipeline", "cmd/dewgap/internal/snapshot", "collector/recording", "config", "github.com/golang/snappy", "golang.org/x/sync", "google.golang.org/protobuf"}},
	{"cmd/dewgap/internal/openmetrics", []string{"cmd/dewgap/internal/metrics"}},
	{"cmd/dewgap/internal/web", []string{"alert", "analyze/...", "cmd/dewgap/internal/access", "cmd/dewgap/internal/explain", "cmd/dewgap/internal/history", "cmd/dewgap/internal/snapshot"}},
	{"cmd/dewgap/internal/replay", []string{"alert", "analyze/...", "cmd/dewgap/internal/pipeline", "cmd/dewgap/internal/snapshot"}},
	{"cmd/dewgap/internal/explain", []string{"alert", "analyze/..."}},
	{"cmd/dewgap/internal/commissioning", []string{"alert", "analyze/...", "config"}},
	{"cmd/dewgap/internal/inspection", []string{"alert", "analyze/...", "cmd/dewgap/internal/commissioning"}},
	{"cmd/dewgap/internal/firstlook", []string{"analyze/...", "config"}},
	{"cmd/dewgap/internal/episodes", []string{"alert", "analyze/...", "collector/recording", "config", "github.com/BurntSushi/toml"}},
	{"cmd/dewgap/internal/scan", []string{"analyze/units", "collector/register"}},
	{"cmd/dewgap/internal/sdnotify", nothing},
	{"cmd/dewgap/internal/manual", []string{"github.com/alecthomas/kong"}},
	{"cmd/dewgap/internal/report", []string{"alert", "analyze/...", "cmd/dewgap/internal/commissioning", "cmd/dewgap/internal/explain", "cmd/dewgap/internal/inspection", "config"}},

	{"config", []string{"analyze/...", "collector/modbus", "collector/mqtt", "collector/register", "github.com/BurntSushi/toml"}},
	{"config/monitoring/dashboards", nothing},
	{"config/packaging/ociimage", nothing},

	{"collector", []string{"analyze/reading", "analyze/units"}},
	{"collector/register", []string{"analyze/units"}},
	{"collector/modbus", []string{"analyze/reading", "analyze/units", "collector", "collector/register", "github.com/goburrow/modbus", "golang.org/x/sys"}},
	{"collector/mqtt", []string{"analyze/reading", "analyze/units", "collector", "collector/register", "github.com/eclipse/paho.mqtt.golang"}},
	{"collector/recording", []string{"analyze/reading", "analyze/units"}},

	{"analyze", []string{"analyze/..."}},
	{"analyze/units", nothing},
	{"analyze/reading", []string{"analyze/units"}},
	{"analyze/setting", nothing},
	{"analyze/suggest", nothing},
	{"analyze/filter", nothing},
	{"analyze/evidence", []string{"analyze/units"}},
	{"analyze/refrigerant", []string{"analyze/refrigerant/internal/tables", "analyze/suggest", "analyze/units"}},
	{"analyze/refrigerant/internal/tables", nothing},
	{"analyze/refrigerant/internal/reduce", []string{"analyze/refrigerant/internal/tables"}},
	{"analyze/superheat", []string{"analyze/evidence", "analyze/filter", "analyze/reading", "analyze/refrigerant", "analyze/setting", "analyze/units"}},
	{"analyze/frame", []string{"analyze/reading", "analyze/superheat", "analyze/units"}},
	{"analyze/phase", []string{"analyze/evidence", "analyze/filter", "analyze/frame", "analyze/reading", "analyze/setting", "analyze/units"}},
	{"analyze/sensorcheck", []string{"analyze/evidence", "analyze/filter", "analyze/frame", "analyze/reading", "analyze/refrigerant", "analyze/superheat", "analyze/units"}},
	{"analyze/cause", []string{"analyze/evidence", "analyze/filter", "analyze/frame", "analyze/units"}},
	{"analyze/floodback", []string{"analyze/cause", "analyze/evidence", "analyze/filter", "analyze/frame", "analyze/reading", "analyze/refrigerant", "analyze/superheat", "analyze/setting", "analyze/units"}},
	{"analyze/trend", []string{"analyze/evidence", "analyze/filter", "analyze/frame", "analyze/reading", "analyze/units"}},

	{"alert", []string{"analyze", "analyze/cause", "analyze/evidence", "analyze/filter", "analyze/floodback", "analyze/frame", "analyze/reading", "analyze/suggest", "analyze/trend", "analyze/units"}},

	{"simulators/plant", []string{"analyze/refrigerant", "analyze/units"}},
	{"simulators/scenarios", []string{"analyze/suggest", "simulators/plant", "github.com/BurntSushi/toml"}},
	{"simulators/devices", []string{"github.com/creack/pty", "github.com/mochi-mqtt/server", "golang.org/x/sys"}},
	{"simulators/store", []string{"simulators/devices", "simulators/plant", "golang.org/x/sync"}},
}

// ban lists what a package, or a file of cmd/dewgap, must not reach over any
// number of packages of ours.
type ban struct {
	from   string   // "/..." takes what is below, too
	except []string // of from
	not    []string
	reason string
}

// clockless is the part of the standard library that analysis and alerts may
// use: text, numbers and containers, and time as a type (pure_test.go of
// analyze watches what is called of it). What is new here is a decision.
var clockless = []string{
	"bufio", "bytes", "cmp", "embed", "encoding/binary", "encoding/csv", "encoding/json", "errors", "fmt", "hash", "hash/crc32", "io",
	"iter", "maps", "math", "math/bits", "slices", "sort", "strconv", "strings", "sync", "sync/atomic", "time", "unicode", "unicode/utf8",
}

// stdRules lists the packages of the standard library that the files of a package
// may import; a package that is not listed may import all of it.
var stdRules = []packageRule{
	{"analyze/...", clockless},
	// The journal is on disk, and it alone.
	{"alert", append([]string{"os", "io/fs", "path/filepath", "syscall"}, clockless...)},
	{"cmd/dewgap/internal/pipeline", append([]string{"context"}, clockless...)},
	{"cmd/dewgap/internal/explain", clockless},
	{"cmd/dewgap/internal/commissioning", clockless},
	{"cmd/dewgap/internal/inspection", clockless},
	{"simulators/plant", clockless},
}

// stdExcept runs outside the program: it makes the tables.
var stdExcept = []string{"analyze/refrigerant/internal/reduce"}

var bans = []ban{
	{from: "collector/...", not: []string{"analyze", "analyze/phase", "analyze/superheat", "analyze/floodback", "alert", "config", "cmd/...", "simulators/..."},
		reason: "a source delivers readings and knows nothing of what becomes of them"},
	{from: "analyze/...", not: []string{"alert", "collector/...", "config", "cmd/...", "simulators/..."},
		reason: "analysis sees rows, wherever they come from, and returns findings, whoever takes them"},
	{from: "analyze/...", except: stdExcept, not: []string{"net", "net/http", "os", "os/exec", "log", "log/slog", "math/rand", "math/rand/v2"},
		reason: "the same rows give the same states: no network, file, log or chance"},
	{from: "alert", not: []string{"collector/...", "config", "cmd/...", "simulators/...", "net", "net/http", "log/slog"},
		reason: "an event follows from findings and their time alone; only the journal is on disk"},
	{from: "config", not: []string{"alert", "cmd/...", "simulators/...", "collector/recording"},
		reason: "a configuration is a checked value and starts nothing"},
	{from: "simulators/...", not: []string{"analyze", "analyze/reading", "analyze/phase", "analyze/superheat", "analyze/floodback", "analyze/cause", "analyze/sensorcheck", "alert", "collector/...", "config", "cmd/..."},
		reason: "a plant that shared code with the analysis would share its mistakes; refrigerant data and units alone are common"},
	{from: "cmd/dewgap/internal/pipeline", not: []string{"collector/...", "config", "cmd/dewgap/internal/daemon", "cmd/dewgap/internal/snapshot", "cmd/dewgap/internal/metrics", "cmd/dewgap/internal/web", "net", "log/slog"},
		reason: "live, replay, report and bench take the same path and differ in where rows come from"},
	{from: "cmd/dewgap/internal/commissioning", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/snapshot", "cmd/dewgap/internal/metrics", "cmd/dewgap/internal/web"},
		reason: "a record is judged from rows, not from a running daemon"},
	{from: "cmd/dewgap/internal/...", except: []string{"cmd/dewgap/internal/daemon"}, not: []string{"cmd/dewgap/internal/daemon"},
		reason: "the daemon uses the parts and no part needs the daemon"},
	{from: "cmd/dewgap/replay.go", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/metrics"},
		reason: "a replay runs without the daemon"},
	{from: "cmd/dewgap/report.go", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/web", "cmd/dewgap/internal/metrics"},
		reason: "a report is made from a recording"},
	{from: "cmd/dewgap/export.go", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/web", "cmd/dewgap/internal/metrics"},
		reason: "an export reads what a daemon left, beside a running one"},
	{from: "cmd/dewgap/report_inspection.go", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/web", "cmd/dewgap/internal/metrics"},
		reason: "a report reads what a daemon left, beside a running one"},
	{from: "cmd/dewgap/record.go", not: []string{"cmd/dewgap/internal/daemon", "cmd/dewgap/internal/web", "cmd/dewgap/internal/metrics"},
		reason: "recording needs the sources and the writer, not the daemon"},
	{from: "...", except: []string{"cmd/dewgap", "simulators/..."}, not: []string{"simulators/..."},
		reason: "simulators are reached over the wire, as devices are"},
	{from: "...", except: []string{"simulators/devices", "simulators/store", "cmd/dewgap"}, not: []string{"github.com/mochi-mqtt/server/v2", "github.com/creack/pty"},
		reason: "only simulated devices answer; the daemon asks"},
	{from: "...", except: []string{"collector/modbus", "config", "cmd/...", "collector/..."}, not: []string{"github.com/goburrow/modbus", "github.com/eclipse/paho.mqtt.golang"},
		reason: "one package owns each wire"},
}

func TestImportRules(t *testing.T) {
	g, err := readImports("../..")
	if err != nil {
		t.Fatal(err)
	}
	if len(g.packages()) < 20 {
		t.Fatalf("found %d packages: %v", len(g.packages()), g.packages())
	}
	for _, fault := range slices.Concat(g.checkPackages(packageRules), g.checkStd(stdRules, stdExcept), g.checkBans(bans)) {
		t.Error(fault)
	}
}

// The table in DEVELOPERS.md is that of packageRules.
func TestImportTableOfDevelopers(t *testing.T) {
	rows, err := readImportTable("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range compareTable(rows, packageRules) {
		t.Error(fault)
	}
}

// Each check finds what it looks for, and only that.
func TestImportFaultsAreFound(t *testing.T) {
	g := &importGraph{module: "m", direct: map[string][]string{
		"a":      {"m/b", "fmt"},
		"b":      {"m/c", "os"},
		"c":      {"example.org/mod/v2/part"},
		"d":      {"m/a"},
		"d/x":    {},
		"d/x.go": {"m/d"},
	}, modules: []string{"example.org/mod/v2"}}
	for _, tt := range []struct {
		name   string
		faults []string
		want   []string
	}{
		{"bans hold", g.checkBans([]ban{{from: "c", not: []string{"a", "net"}, reason: "r"}}), nil},
		{"a ban over two steps", g.checkBans([]ban{{from: "a", not: []string{"c"}, reason: "r"}}), []string{"a → b → c is banned: r"}},
		{"of all but one", g.checkBans([]ban{{from: "...", except: []string{"c", "d/..."}, not: []string{"example.org/mod/v2"}, reason: "r"}}),
			[]string{"a → b → c → example.org/mod/v2/part is banned: r", "b → c → example.org/mod/v2/part is banned: r"}},
		{"of the standard library", g.checkBans([]ban{{from: "d", not: []string{"os"}, reason: "r"}}), []string{"d → a → b → os is banned: r"}},
		{"of a file", g.checkBans([]ban{{from: "d/x.go", not: []string{"b"}, reason: "r"}}), []string{"d/x.go → d → a → b is banned: r"}},
		{"a ban of nothing", g.checkBans([]ban{{from: "a", not: []string{"gone", "gone/...", "net/gone", "example.org/gone"}, reason: "r"}}),
			[]string{"a ban of gone is pointless: there is no such package", "a ban of gone/... is pointless: there is no such package", "a ban of net/gone is pointless: there is no such package", "a ban of example.org/gone is pointless: there is no such package"}},
		{"a ban for nobody", g.checkBans([]ban{{from: "gone", except: []string{"gone2"}, not: []string{"a"}, reason: "r"}}),
			[]string{"a ban for gone is pointless: there is no such package", "an exception of gone2 is pointless: there is no such package"}},
		{"a ban without a reason", g.checkBans([]ban{{from: "c", not: []string{"a"}}}), []string{"the ban for c has no reason"}},
		{"all may", g.checkPackages([]packageRule{{"a", []string{"b"}}, {"b", []string{"c"}}, {"c", []string{"example.org/mod"}}, {"d", nil}, {"d/x", nothing}}), nil},
		{"more than it may", g.checkPackages([]packageRule{{"a", nothing}, {"b", nil}, {"c", nothing}, {"d", nil}, {"d/x", nil}}),
			[]string{"a imports b, and may not", "c imports example.org/mod/v2/part, and may not"}},
		{"no rule, no package", g.checkPackages([]packageRule{{"a", nil}, {"b", nil}, {"c", nil}, {"d", []string{"gone", "a"}}, {"gone2", nil}}),
			[]string{"d may import gone: there is no such package", "gone2 has a rule: there is no such package", "d/x has no rule"}},
		{"the standard library", g.checkStd([]packageRule{{"a", []string{"fmt"}}, {"...", []string{"fmt"}}}, []string{"c"}), []string{"b imports os, and may not"}},
	} {
		slices.Sort(tt.faults)
		slices.Sort(tt.want)
		if !slices.Equal(tt.faults, tt.want) {
			t.Errorf("%s:\nfound\n  %s\nwant\n  %s", tt.name, strings.Join(tt.faults, "\n  "), strings.Join(tt.want, "\n  "))
		}
	}
	rows := []packageRule{{"a", []string{"b"}}, {"b", nil}, {"e", nil}}
	faults := compareTable(rows, []packageRule{{"a", []string{"c"}}, {"b", nil}, {"c", nothing}})
	want := []string{"a: DEVELOPERS.md gives [b], the rule [c]", "c is not in the table of DEVELOPERS.md", "e: DEVELOPERS.md has a row, there is no rule"}
	slices.SortFunc(faults, cmp.Compare[string])
	if !slices.Equal(faults, want) {
		t.Errorf("found %q, want %q", faults, want)
	}
}
