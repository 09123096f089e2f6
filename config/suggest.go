package config

import (
	"strings"

	"dewgap/analyze/suggest"
)

func didYouMean(word string, candidates []string) string {
	if near := suggest.Nearest(word, candidates); near != "" {
		return "; did you mean \"" + near + "\"?"
	}
	return ""
}

// oneOf lists the words allowed.
func oneOf(words []string) string {
	if len(words) == 1 {
		return "only \"" + words[0] + "\" is"
	}
	return "one of \"" + strings.Join(words, "\", \"") + "\""
}
