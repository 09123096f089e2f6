package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"net/http"
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
)

// script is the page's script with the causes in words, and what to check for
// each, filled in.
var script = fillScript()

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
	return strings.NewReplacer("/*CAUSES*/{}", asJSON(names), "/*CHECKS*/{}", asJSON(checks), `/*CAUTIONS*/""`, asJSON(cause.Cautions)).Replace(pageJS + peopleJS)
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

// The page is one file: it holds style and script, and the policy allows
// these two by their hash and nothing else.
var (
	wholePage  = strings.NewReplacer("/*STYLE*/", pageCSS, "/*SCRIPT*/", script).Replace(pageHTML)
	pagePolicy = "default-src 'none'; connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; " +
		"style-src " + hashOf(pageCSS) + "; script-src " + hashOf(script)
)

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func (s *Server) page(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", pagePolicy)
	_, _ = w.Write([]byte(wholePage)) // the reader may have closed the connection
}
