package config

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

// The alert rules are what an outside tool takes for right.
func TestAlertRulesPassPromtool(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("needs promtool; set DEWGAP_PEERS=1")
	}
	out, err := exec.CommandContext(t.Context(), "promtool", "check", "rules", "examples/alerts.yml").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "8 rules found") {
		t.Errorf("%v\n%s", err, out)
	}
}
