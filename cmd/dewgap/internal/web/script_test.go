package web

import (
	"strings"
	"testing"

	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
)

// The page knows every cause in words, and what to check for it.
func TestScriptKnowsEveryCause(t *testing.T) {
	for _, name := range cause.Names() {
		words := cause.Words(name)
		for _, want := range []string{asJSON(name) + ":" + asJSON(strings.ToUpper(words[:1])+words[1:]), asJSON(evidence.Renderer{}.Text(cause.Checks(name)[2].Do))} {
			if !strings.Contains(script, want) {
				t.Errorf("the script lacks %s", want)
			}
		}
	}
	if strings.Contains(script, "/*CAUSES*/") || strings.Contains(script, "/*CHECKS*/") || strings.Contains(script, "/*CAUTIONS*/") {
		t.Error("a place is not filled in")
	}
}
