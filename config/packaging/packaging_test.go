package packaging

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// unit returns the settings of a unit file, by key; a key may be set repeatedly.
func unit(t *testing.T, file string) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]string{}
	for line := range strings.Lines(string(text)) {
		if key, value, ok := strings.Cut(strings.TrimSpace(line), "="); ok && !strings.HasPrefix(key, "#") {
			all[key] = append(all[key], value)
		}
	}
	return all
}

func mib(t *testing.T, text string) float64 {
	t.Helper()
	n, err := strconv.ParseFloat(strings.TrimRight(text, "MiB"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// What the unit promises to whoever runs a gateway without a person.
func TestUnit(t *testing.T) {
	u := unit(t, "../examples/dewgap.service")
	for key, want := range map[string]string{
		"Type": "notify", "ConditionPathExists": "/etc/dewgap/site.toml", "User": "dewgap", "StateDirectory": "dewgap",
		"Restart": "on-failure", "StartLimitIntervalSec": "0", "WatchdogSec": "60", "ProtectSystem": "strict", "PrivateDevices": "yes",
	} {
		if len(u[key]) != 1 || u[key][0] != want {
			t.Errorf("%s = %q, want %q", key, u[key], want)
		}
	}
	if !strings.Contains(u["ExecStart"][0], " --config "+u["ConditionPathExists"][0]) {
		t.Errorf("the condition is on another file than %s", u["ExecStart"])
	}
	limit, ok := strings.CutPrefix(u["Environment"][0], "GOMEMLIMIT=")
	if most := mib(t, u["MemoryMax"][0]); !ok || mib(t, limit) > 0.8*most || mib(t, limit) < 0.5*most {
		t.Errorf("GOMEMLIMIT %q against MemoryMax %v MiB", limit, most)
	}
	serial := unit(t, "../examples/dewgap-serial.conf")
	if serial["SupplementaryGroups"][0] != "dialout" || serial["PrivateDevices"][0] != "no" || len(serial["DeviceAllow"]) != 4 {
		t.Errorf("serial drop-in %v", serial)
	}
}

// systemd's own judge.
func TestUnitPassesSystemd(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs systemd-analyze; set DEWGAP_PEERS=1")
	}
	out, err := exec.CommandContext(t.Context(), "systemd-analyze", "security", "--offline=true", "../examples/dewgap.service").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	m := regexp.MustCompile(`Overall exposure level for dewgap.service: ([0-9.]+)`).FindSubmatch(out)
	if m == nil {
		t.Fatalf("no level in %s", out)
	}
	if level, err := strconv.ParseFloat(string(m[1]), 64); err != nil || level > 1.2 {
		t.Errorf("exposure level %s, %v; at most 1.2", m[1], err)
	}
}

// The init script of OpenWrt, with its shell functions replaced, in a plain
// shell: warnings and what is handed to procd.
func TestProcd(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("needs a shell")
	}
	const stubs = `
procd_open_instance() { echo open; }
procd_close_instance() { echo close; }
procd_set_param() { echo "param $*"; }
procd_send_signal() { echo "signal $*"; }
logger() { cat >/dev/null; }
chown() { echo "chown $*"; }
df() { printf 'Filesystem\n%s 1 1 1 1%% /\n' "$DISK"; }
`
	for _, c := range []struct {
		name, config, disk string
		want, not          []string
	}{
		{"no configuration", "", "/dev/root", []string{"is missing"}, []string{"open", "in memory"}},
		{"data on flash", "[daemon]\ndata = \"{data}\"\n", "/dev/root", []string{"open", "param command /usr/bin/dewgap run --config {file}", "param env GOMEMLIMIT=48MiB", "param user dewgap", "chown dewgap {data}", "close"}, []string{"in memory"}},
		{"data in memory", "[site]\ndata = \"other\"\n[daemon]\n  data = \"{data}\" # here\n[[mqtt]]\ndata = \"other\"\n", "tmpfs", []string{"{data} lies in memory", "chown dewgap {data}", "open"}, nil},
		{"data beside the configuration", "[daemon]\ndata = \"sub\"\n", "tmpfs", []string{"/sub lies in memory"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			file, data := filepath.Join(dir, "site.toml"), filepath.Join(dir, "data")
			fill := strings.NewReplacer("{file}", file, "{data}", data)
			if c.config != "" {
				if err := os.WriteFile(file, []byte(fill.Replace(c.config)), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			cmd := exec.CommandContext(t.Context(), shell, "-c", `. ./dewgap.procd; `+stubs+` make_user() { :; }; start_service; reload_service`)
			cmd.Env = append(os.Environ(), "DEWGAP_CONFIG="+file, "DISK="+c.disk)
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			for _, want := range append(c.want, "signal dewgap") {
				if want = fill.Replace(want); !strings.Contains(string(out), want) {
					t.Errorf("lacks %q:\n%s", want, out)
				}
			}
			for _, not := range c.not {
				if strings.Contains(string(out), not) {
					t.Errorf("holds %q:\n%s", not, out)
				}
			}
		})
	}
}

// Every script is sound for the plain shell that runs it.
func TestScriptsParse(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("needs a shell")
	}
	files, err := filepath.Glob("scripts/*.sh")
	if err != nil || len(files) < 7 {
		t.Fatalf("%d scripts, %v", len(files), err)
	}
	for _, file := range append(files, "dewgap.procd", "dewgap.openrc") {
		if out, err := exec.CommandContext(t.Context(), shell, "-n", file).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", file, err, out)
		}
	}
}

// Each entry of the package description has its mode, and its source is there.
func TestEveryFileHasItsMode(t *testing.T) {
	text, err := os.ReadFile("nfpm.yaml")
	if err != nil {
		t.Fatal(err)
	}
	_, contents, _ := strings.Cut(string(text), "\ncontents:\n")
	contents, _, _ = strings.Cut(contents, "\noverrides:")
	entries := strings.Split("\n"+contents, "\n  - ")[1:]
	if len(entries) < 15 {
		t.Fatalf("%d entries", len(entries))
	}
	for _, e := range entries {
		if !strings.Contains(e, "file_info: { mode: 0") {
			t.Errorf("no mode:\n%s", e)
		}
		if src, ok := strings.CutPrefix(strings.SplitN(e, "\n", 2)[0], "src: "); ok && !strings.HasPrefix(src, "$") {
			if _, err := os.Stat(filepath.Join("../..", src)); err != nil {
				t.Error(err)
			}
		}
	}
}
