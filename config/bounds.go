package config

import (
	"fmt"
	"strings"
)

// Bounds of a configuration's text, checked before it is decoded: the decoder's
// memory grows much faster than a text of deeply nested keys. A site of 2,000
// inputs needs half a megabyte and 30,000 keys, none of them deeper than four.
const (
	maxText  = 2 << 20 // bytes
	maxKeys  = 60_000  // parts of keys and of headers, and decimal points
	maxDepth = 8       // parts of a dotted key; brackets and braces within each other
)

// tooMuch returns the first bound that the text breaks, or nil. It knows of TOML
// what it needs to find keys and brackets: texts and comments. It judges no
// syntax; a text that is no TOML is the decoder's to refuse.
func tooMuch(name, text string) *Fault {
	if len(text) > maxText {
		return &Fault{File: name, Line: 1, Problem: fmt.Sprintf("has more than %d bytes", maxText), Remedy: "split the site, or check that this is the right file"}
	}
	line, keys, depth, dots := 1, 0, 0, 0
	for i := 0; i < len(text); i++ {
		switch c := text[i]; c {
		case '\n':
			line++
			dots = 0
		case '#':
			if end := strings.IndexByte(text[i:], '\n'); end >= 0 {
				i += end - 1
			} else {
				i = len(text)
			}
		case '"', '\'':
			end := endOfText(text, i)
			line += strings.Count(text[i:end], "\n")
			i = end - 1
		case '.':
			dots++
			keys++
		case '=':
			keys++
			dots = 0
		case ',':
			dots = 0
		case '[', '{':
			if depth == 0 {
				keys++ // a header, or the value of a key
			}
			depth++
			dots = 0
		case ']', '}':
			depth = max(0, depth-1)
			dots = 0
		}
		switch {
		case depth > maxDepth || dots >= maxDepth:
			return &Fault{File: name, Line: line, Problem: fmt.Sprintf("is nested deeper than %d levels", maxDepth), Remedy: "no part of a site needs more than four; see `dewgap check --reference`"}
		case keys > maxKeys:
			return &Fault{File: name, Line: line, Problem: fmt.Sprintf("has more than %d keys", maxKeys), Remedy: "split the site, or check that this is the right file"}
		}
	}
	return nil
}

// endOfText returns the index after the text in quotes that begins at i. A text
// without end reaches to the end of its line, or of all where it has three
// quotes.
func endOfText(text string, i int) int {
	quote := text[i]
	long := strings.Repeat(string(quote), 3)
	if strings.HasPrefix(text[i:], long) {
		for j := i + 3; j < len(text); j++ {
			switch {
			case quote == '"' && text[j] == '\\':
				j++
			case strings.HasPrefix(text[j:], long):
				return j + 3
			}
		}
		return len(text)
	}
	for j := i + 1; j < len(text); j++ {
		switch {
		case quote == '"' && text[j] == '\\':
			j++
		case text[j] == quote:
			return j + 1
		case text[j] == '\n':
			return j
		}
	}
	return len(text)
}
