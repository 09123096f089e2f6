package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"strings"

	"dewgap/analyze/cause"
	"dewgap/analyze/evidence"
	"dewgap/analyze/units"
)

var (
	//go:embed page/page.html
	pageHTML string
	//go:embed page/page.css
	pageCSS string
	//go:embed page/page.js
	pageJS string
	//go:embed page/people.js
	peopleJS string
	//go:embed page/lanes.js
	lanesJS string
	//go:embed page/history.html
	historyHTML string
	//go:embed page/history.css
	historyCSS string
	//go:embed page/history.js
	historyJS string
	// uPlot, MIT licence (its text is page/uplot.LICENSE).
	//go:embed page/uplot.min.js
	uplotJS string
	//go:embed page/uplot.min.css
	uplotCSS string
)

// script is the page's script with the causes in words, and what to check for
// each, filled in.
var script = fillScript()

// The history page has the library for its plots in front; nothing is fetched.
var (
	historyStyle  = uplotCSS + historyCSS
	historyScript = uplotJS + historyJS
)

func fillScript() string {
	names, checks := map[string]string{}, map[string]map[string][]cause.CheckText{}
	for _, name := range cause.Names() {
		words := cause.Words(name)
		names[name] = strings.ToUpper(words[:1]) + words[1:]
	}
	for _, system := range []units.System{units.SI, units.US} {
		r, ofCause := evidence.Renderer{System: system}, map[string][]cause.CheckText{}
		for _, name := range cause.Names() {
			for _, c := range cause.Checks(name) {
				ofCause[name] = append(ofCause[name], c.In(r))
			}
		}
		checks[system.String()] = ofCause
	}
	return strings.NewReplacer("/*CAUSES*/{}", asJSON(names), "/*CHECKS*/{}", asJSON(checks), `/*CAUTIONS*/""`, asJSON(cause.Cautions)).Replace(pageJS + peopleJS + lanesJS)
}

// asJSON writes v as a literal of the script; encoding/json escapes < and >,
// so that no text ends the script.
func asJSON(v any) string {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // constants of ours
	}
	return string(text)
}

// Each page is one file: it holds style and script, and the policy allows these two
// by their hash and nothing else.
var (
	wholePage      = strings.NewReplacer("/*STYLE*/", pageCSS, "/*SCRIPT*/", script).Replace(pageHTML)
	pagePolicy     = policyOf(pageCSS, script)
	thePage        = newStatic(wholePage, pagePolicy)
	theHistoryPage = newStatic(strings.NewReplacer("/*STYLE*/", historyStyle, "/*SCRIPT*/", historyScript).Replace(historyHTML), policyOf(historyStyle, historyScript))
)

func policyOf(style, script string) string {
	return "default-src 'none'; connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; " +
		"style-src " + hashOf(style) + "; script-src " + hashOf(script)
}

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
