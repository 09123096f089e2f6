package config

import (
	"fmt"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

func TestPositionsInEveryShapeOfTOML(t *testing.T) {
	text := `# a comment with [brackets] and "quotes
title = "a # in \" text" # one
dotted . "quoted key" . 'x.y' = 1

[[group]] # two = [
name = """
two
lines "" with quotes"""""
span = [
  1, # a comment, with a comma
  { at = "inner",
    'next' = [ "a", { deep = true } ] },
]
  [[group.member]]
  when = 2026-03-01 06:00:00Z
  [[group.member]]
  input = { modbus = "x", unit = "y, }",
            last = '''}''' }
  [group.member.sub]
  late = 0x10
[group2.implied.table]
a = 1
[group2]
b = 2
[[group]]
name = "second"`
	root := positions(text)
	lineOf := func(want string) int { return 1 + strings.Count(text[:strings.Index(text, want)], "\n") }
	group := root.key("group")
	member := group.element(0).key("member")
	for _, c := range []struct {
		what string
		got  *position
		at   string
	}{
		{"title", root.key("title"), "title"},
		{"dotted key", root.key("dotted").key("quoted key").key("x.y"), "dotted ."},
		{"first group", group.element(0), "[[group]] # two"},
		{"text of several lines", group.element(0).key("name"), `name = """`},
		{"array", group.element(0).key("span"), "span ="},
		{"element of an array", group.element(0).key("span").element(1), "{ at"},
		{"inline table in an array", group.element(0).key("span").element(1).key("next"), "'next'"},
		{"array in an inline table", group.element(0).key("span").element(1).key("next").element(1).key("deep"), "deep"},
		{"date with a space", member.element(0).key("when"), "when"},
		{"second element", member.element(1), "[[group.member]]\n  input"},
		{"inline table on two lines", member.element(1).key("input").key("last"), "last"},
		{"table under an array's last element", member.element(1).key("sub").key("late"), "late"},
		{"implied table", root.key("group2").key("implied").key("table"), "[group2.implied"},
		{"table named after it was implied", root.key("group2"), "[group2]"},
		{"repeated array", group.element(1).key("name"), `name = "second"`},
		{"missing key stands at its table", group.element(1).key("absent"), "[[group]]\nname = \"second"},
	} {
		if want := lineOf(c.at); c.got.line != want {
			t.Errorf("%s: line %d, want %d", c.what, c.got.line, want)
		}
	}
}

// FuzzPositions checks the scanner against the library: whatever the library
// decodes has a position of its own, in the same shape.
func FuzzPositions(f *testing.F) {
	f.Add("a = 1\nb.c = [1, {d = 2}]\n[[e.f]]\ng=''\n[e.h]\n")
	f.Add("\"q\\u0041\" = \"\"\"x\\\"\"\"\"\n'l' = ''''''\n[x.y]\n[x]\n")
	f.Add("a = {b = [\n{c = 1}, # x\n], d.e = 2,\n}\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		root := positions(text) // must end and not panic, valid or not
		var values map[string]any
		if toml.Unmarshal([]byte(text), &values) != nil || strings.HasPrefix(text, "\xff\xfe") || strings.HasPrefix(text, "\xfe\xff") {
			return
		}
		if missing := unpositioned(values, root, ""); missing != "" {
			t.Errorf("no position for %s in %q", missing, text)
		}
	})
}

func unpositioned(v any, p *position, path string) string {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			if p.keys[k] == nil {
				return path + "." + k
			}
			if missing := unpositioned(inner, p.keys[k], path+"."+k); missing != "" {
				return missing
			}
		}
	case []map[string]any:
		for i := range v {
			if i >= len(p.elements) {
				return fmt.Sprintf("%s[%d]", path, i)
			}
			if missing := unpositioned(v[i], p.elements[i], path); missing != "" {
				return missing
			}
		}
	case []any:
		for i := range v {
			if i >= len(p.elements) {
				return fmt.Sprintf("%s[%d]", path, i)
			}
			if missing := unpositioned(v[i], p.elements[i], path); missing != "" {
				return missing
			}
		}
	}
	return ""
}
