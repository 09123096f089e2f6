package web

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"net/http"
	"strings"
)

var (
	//go:embed page/page.html
	pageHTML string
	//go:embed page/page.css
	pageCSS string
	//go:embed page/page.js
	pageJS string
)

// The page is one file: style and script stand in it, and the policy allows
// these two by their hash and nothing else.
var (
	wholePage  = strings.NewReplacer("/*STYLE*/", pageCSS, "/*SCRIPT*/", pageJS).Replace(pageHTML)
	pagePolicy = "default-src 'none'; connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; " +
		"style-src " + hashOf(pageCSS) + "; script-src " + hashOf(pageJS)
)

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func (s *Server) page(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", pagePolicy)
	_, _ = w.Write([]byte(wholePage)) // a reader that left is no fault of ours
}
