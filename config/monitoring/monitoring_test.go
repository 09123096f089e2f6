// Package monitoring holds rules, alerts and runbook for a Prometheus that
// scrapes many sites. It has no code but this test.
package monitoring

import (
	"os"
	"os/exec"
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
