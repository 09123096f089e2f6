package config

import (
	"strings"

	"github.com/BurntSushi/toml"
)

// position is where a key or an element of an array stands in the text, with the
// positions of what is inside it. The TOML library decodes values but gives no
// positions inside arrays of tables; positions is the other half: it finds
// positions in a text that the library has accepted, and decodes nothing.
type position struct {
	line, offset int
	keys         map[string]*position // of a table
	elements     []*position          // of an array
}

// key returns the position of a key, or p itself where the key is not found.
func (p *position) key(name string) *position {
	if inner := p.keys[name]; inner != nil {
		return inner
	}
	return p
}

// element returns the position of an element of an array, or p itself.
func (p *position) element(i int) *position {
	if i < len(p.elements) {
		return p.elements[i]
	}
	return p
}

// makeKey returns the position of a key, adding it at the scanner's position.
func (p *position) makeKey(name string, at position) *position {
	inner := p.keys[name]
	if inner == nil {
		inner = &at
		if p.keys == nil {
			p.keys = make(map[string]*position)
		}
		p.keys[name] = inner
	}
	return inner
}

// table returns the table that a header's or dotted key's part refers to: of
// an array of tables the last one.
func (p *position) table() *position {
	if n := len(p.elements); n > 0 {
		return p.elements[n-1]
	}
	return p
}

// positions returns the root of the positions in a valid TOML text.
func positions(text string) *position {
	s := scanner{text: strings.TrimPrefix(text, "\ufeff"), line: 1}
	root := &position{line: 1}
	current := root
	for s.blank(); !s.end(); s.blank() {
		if s.text[s.at] == '[' {
			current = s.header(root)
			continue
		}
		s.pair(current)
	}
	return root
}

// scanner walks a text known to be valid. On anything it does not understand it
// moves on; a position then falls back to that of the table around.
type scanner struct {
	text string
	at   int
	line int
}

func (s *scanner) end() bool      { return s.at >= len(s.text) }
func (s *scanner) here() position { return position{line: s.line, offset: s.at} }
func (s *scanner) rest() string   { return s.text[s.at:] }

func (s *scanner) step(n int) {
	n = min(n, len(s.text)-s.at)
	s.line += strings.Count(s.text[s.at:s.at+n], "\n")
	s.at += n
}

// spaces skips spaces and tabs; blank also line ends and comments.
func (s *scanner) spaces() {
	for !s.end() && strings.IndexByte(" \t", s.text[s.at]) >= 0 {
		s.step(1)
	}
}

func (s *scanner) blank() {
	for !s.end() {
		switch s.text[s.at] {
		case ' ', '\t', '\r', '\n':
			s.step(1)
		case '#':
			s.step(untilAny(s.rest(), "\n"))
		default:
			return
		}
	}
}

// accept steps over c if it comes next.
func (s *scanner) accept(c byte) bool {
	if s.end() || s.text[s.at] != c {
		return false
	}
	s.step(1)
	return true
}

// header reads [a.b] or [[a.b]] and returns the table that it opens.
func (s *scanner) header(root *position) *position {
	at := s.here()
	s.step(1)
	array := s.accept('[')
	keys := s.dotted()
	table := root
	for i, k := range keys {
		if i < len(keys)-1 {
			table = table.makeKey(k, at).table()
			continue
		}
		known := table.keys[k] != nil
		table = table.makeKey(k, at)
		switch {
		case array:
			table.elements = append(table.elements, &position{line: at.line, offset: at.offset})
			table = table.table()
		case known: // so far only implied by a sub-table
			table.line, table.offset = at.line, at.offset
		}
	}
	s.spaces()
	if s.accept(']') && array {
		s.accept(']')
	}
	return table
}

// pair reads key = value into table.
func (s *scanner) pair(table *position) {
	at := s.here()
	keys := s.dotted()
	for _, k := range keys {
		table = table.makeKey(k, at)
	}
	s.spaces()
	if !s.accept('=') {
		s.step(1)
		return
	}
	s.spaces()
	s.value(table)
}

// dotted reads a key of one or more parts.
func (s *scanner) dotted() []string {
	var keys []string
	for {
		s.spaces()
		keys = append(keys, s.simpleKey())
		s.spaces()
		if !s.accept('.') {
			return keys
		}
	}
}

func (s *scanner) simpleKey() string {
	start := s.at
	if s.end() {
		return ""
	}
	switch s.text[s.at] {
	case '"', '\'':
		s.quoted()
		var v struct{ K string }
		if toml.Unmarshal([]byte("K="+s.text[start:s.at]), &v) != nil {
			return ""
		}
		return v.K
	default:
		s.step(untilAny(s.rest(), " \t.=]\r\n"))
		return s.text[start:s.at]
	}
}

// value reads a value whose key or element stands at p.
func (s *scanner) value(p *position) {
	if s.end() {
		return
	}
	switch s.text[s.at] {
	case '"', '\'':
		s.quoted()
	case '[':
		s.step(1)
		for s.blank(); !s.end() && !s.accept(']'); s.blank() {
			element := s.here()
			p.elements = append(p.elements, &element)
			s.value(&element)
			s.separator()
		}
	case '{':
		s.step(1)
		for s.blank(); !s.end() && !s.accept('}'); s.blank() {
			s.pair(p)
			s.separator()
		}
	default:
		s.step(max(1, untilAny(s.rest(), ",]}#\r\n")))
	}
}

func (s *scanner) separator() {
	s.blank()
	s.accept(',')
}

// quoted steps over a string of any of the four kinds.
func (s *scanner) quoted() {
	quote := s.text[s.at : s.at+1]
	if long := strings.Repeat(quote, 3); strings.HasPrefix(s.rest(), long) {
		s.step(3)
		s.until(long, quote == `"`)
		for s.accept(quote[0]) { // up to two quotes may stand before the closing three
		}
		return
	}
	s.step(1)
	s.until(quote, quote == `"`)
}

// until steps behind the next end mark, minding backslashes where they escape.
func (s *scanner) until(mark string, escapes bool) {
	for !s.end() {
		switch {
		case escapes && s.text[s.at] == '\\':
			s.step(2)
		case strings.HasPrefix(s.rest(), mark):
			s.step(len(mark))
			return
		default:
			s.step(1)
		}
	}
}

// untilAny returns the number of bytes before the first of chars.
func untilAny(s, chars string) int {
	if i := strings.IndexAny(s, chars); i >= 0 {
		return i
	}
	return len(s)
}
