package web

import (
	"regexp"
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

// Each word of the glossary stands on the page as a label, and is said there.
func TestGlossaryIsOfWordsOnThePage(t *testing.T) {
	_, list, _ := strings.Cut(script, "const glossary = {")
	list, _, ok := strings.Cut(list, "\n};")
	rest := strings.Replace(script, list, "", 1)
	words := regexp.MustCompile(`(?m)^  "([^"]+)": "([^"]+\.)",$`).FindAllStringSubmatch(list, -1)
	if !ok || len(words) < 10 || len(words) != strings.Count(strings.TrimSpace(list), "\n")+1 {
		t.Fatalf("%d words of the glossary were read", len(words))
	}
	for _, w := range words {
		if !strings.Contains(rest, `["`+w[1]+`", `) && !strings.Contains(rest, `term("`+w[1]+`")`) {
			t.Errorf("%s is explained and nowhere shown", w[1])
		}
	}
}
