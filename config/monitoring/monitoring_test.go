// Package monitoring holds rules, alerts and runbook for a Prometheus that
// scrapes many sites. It has no code but this test.
package monitoring

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Each alert has a case that lets it fire, and a section in the runbook to which
// its link leads.
func TestEveryAlertIsTestedAndExplained(t *testing.T) {
	alerts, cases, runbook := read(t, "alerts.yml"), read(t, "alerts_test.yml"), read(t, "runbook.md")
	names := regexp.MustCompile(`- alert: (\w+)`).FindAllStringSubmatch(alerts, -1)
	if len(names) < 10 {
		t.Fatalf("%d alerts found", len(names))
	}
	for _, m := range names {
		fires := regexp.MustCompile(`alertname: ` + m[1] + `\n\s+exp_alerts:\n\s+- exp_labels`)
		if !fires.MatchString(cases) {
			t.Errorf("no case lets %s fire", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`runbook.md#(\w+)`).FindAllStringSubmatch(alerts, -1) {
		if !strings.Contains(strings.ToLower(runbook), "\n## "+m[1]+"\n") {
			t.Errorf("runbook.md has no section %s", m[1])
		}
	}
}

// A rule names only metrics that the reference lists; that is made from the
// code.
func TestRulesNameMetricsThatExist(t *testing.T) {
	reference := read(t, "metrics.md")
	for _, file := range []string{"alerts.yml", "recording.yml"} {
		found := regexp.MustCompile(`\bdewgap_[a-z_]+\b[{\[ )]`).FindAllString(read(t, file), -1)
		if len(found) == 0 {
			t.Errorf("%s names no metric", file)
		}
		for _, name := range found {
			name = name[:len(name)-1]
			if !strings.Contains(reference, "`"+name+"`") {
				t.Errorf("%s: no metric %s", file, name)
			}
		}
	}
}

// The rules do what their cases want, by the tool of the system that runs them.
func TestRulesByPromtool(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs promtool; set DEWGAP_PEERS=1")
	}
	for _, args := range [][]string{{"check", "rules", "alerts.yml", "recording.yml"}, {"test", "rules", "alerts_test.yml"}} {
		if out, err := exec.CommandContext(t.Context(), "promtool", args...).CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v\n%s", args, err, out)
		}
	}
}

// The mixin has every dashboard, and all rules and alerts, by the reference
// implementation of jsonnet.
func TestMixinByJsonnet(t *testing.T) {
	pages, err := filepath.Glob("grafana/*.json")
	if err != nil || len(pages) == 0 {
		t.Fatal(pages, err)
	}
	for _, page := range pages {
		if !strings.Contains(read(t, "mixin.libsonnet"), "importstr '"+page+"'") {
			t.Errorf("mixin.libsonnet lacks %s", page)
		}
	}
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs the module proxy; set DEWGAP_PEERS=1")
	}
	const ask = `local m = import 'mixin.libsonnet';
local names(groups) = std.join(' ', [std.get(r, 'alert', std.get(r, 'record')) for g in groups for r in g.rules]);
names(m.prometheusAlerts.groups) + ' ' + names(m.prometheusRules.groups) + ' ' + std.join(' ', [m.grafanaDashboards[n].uid for n in std.objectFieldsAll(m.grafanaDashboards)])`
	out, err := exec.CommandContext(t.Context(), "go", "run", "github.com/google/go-jsonnet/cmd/jsonnet@v0.20.0", "-S", "-e", ask).CombinedOutput()
	if err != nil && regexp.MustCompile(`no such host|connection refused|Forbidden|proxy|i/o timeout`).Match(out) {
		t.Skipf("NOT CHECKED: jsonnet could not be fetched: %s", out)
	}
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	got := " " + strings.Join(strings.Fields(string(out)), " ") + " "
	for _, m := range regexp.MustCompile(`- (?:alert|record): (\S+)`).FindAllStringSubmatch(read(t, "alerts.yml")+read(t, "recording.yml"), -1) {
		if !strings.Contains(got, " "+m[1]+" ") {
			t.Errorf("the mixin lacks %s", m[1])
		}
	}
	for _, page := range pages {
		if uid := "dewgap-" + strings.TrimSuffix(filepath.Base(page), ".json"); !strings.Contains(got, " "+uid+" ") {
			t.Errorf("the mixin lacks the dashboard %s", uid)
		}
	}
}
