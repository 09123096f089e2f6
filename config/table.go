package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/setting"
	"dewgap/analyze/suggest"
)

// reader collects what is found wrong while a file is read.
type reader struct {
	file     string
	lines    []string // of the file
	faults   Faults
	warnings Faults
	unready  Faults // what only the running daemon needs

	undocumented []string // keys that a decoder asked for and no table has
}

// table is one table of the file while it is read. It accepts the keys that
// keys documents. Each of them that is asked for counts as known; done reports
// the others.
type table struct {
	r        *reader
	name     string // as shown in front of its keys: suction_group[mt]
	values   map[string]any
	position *position
	keys     []key
	known    []string
	hints    map[string]string // keys that people expect here, and where they belong
}

// path returns how a key of the table is shown.
func (t *table) path(key string) string {
	switch {
	case t.name == "":
		return key
	case key == "":
		return t.name
	}
	return t.name + "." + key
}

// at builds a fault that stands at a key, or at the table where the key is
// missing or empty. A key of an inner table has dots.
func (t *table) at(key, problem, remedy string) Fault {
	p := t.position
	if key != "" {
		for part := range strings.SplitSeq(key, ".") {
			p = p.key(part)
		}
	}
	return Fault{File: t.r.file, Line: p.line, Key: t.path(key), Problem: problem, Remedy: remedy, offset: p.offset}
}

func (t *table) fault(key, problem, remedy string) {
	t.r.faults = append(t.r.faults, t.at(key, problem, remedy))
}

func (t *table) warn(key, problem, remedy string) {
	t.r.warnings = append(t.r.warnings, t.at(key, problem, remedy))
}

func (t *table) notReady(key, problem, remedy string) {
	t.r.unready = append(t.r.unready, t.at(key, problem, remedy))
}

// has reports whether the key is in the file. A key of an inner table has dots.
func (t *table) has(key string) bool {
	values := t.values
	for {
		outer, rest, nested := strings.Cut(key, ".")
		v, ok := values[outer]
		if !nested || !ok {
			return ok
		}
		values, _ = v.(map[string]any)
		key = rest
	}
}

// documents reports whether the table has the key, or an inner table of that
// name.
func (t *table) documents(name string) bool {
	return slices.ContainsFunc(t.keys, func(k key) bool {
		return k.path == name || strings.HasPrefix(k.path, name+".")
	})
}

// value returns the key's value and notes that the key is known. A key that no
// table documents is never accepted.
func (t *table) value(key string) (any, bool) {
	if !t.documents(key) {
		t.r.undocumented = append(t.r.undocumented, t.path(key))
		return nil, false
	}
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
	}
	v, ok := t.values[key]
	return v, ok
}

// done reports the keys that no decoder asked for.
func (t *table) done() {
	for key := range t.values {
		if slices.Contains(t.known, key) {
			continue
		}
		if hint := t.hints[key]; hint != "" {
			t.fault(key, "does not belong here", hint)
			continue
		}
		remedy := "known here: " + strings.Join(slices.Sorted(slices.Values(t.known)), ", ")
		if near := suggest.Nearest(key, t.known); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		t.fault(key, "unknown key", remedy)
	}
}

// take returns a key's value as T. want describes T to people.
func take[T any](t *table, key, want string) (T, bool) {
	v, ok := t.value(key)
	if !ok {
		var zero T
		return zero, false
	}
	typed, ok := v.(T)
	if !ok {
		t.fault(key, "is "+describe(v), "write "+want)
	}
	return typed, ok
}

// text returns a non-empty text. example shows what one looks like.
func (t *table) text(key, example string) (string, bool) {
	s, ok := take[string](t, key, fmt.Sprintf("text in quotes, such as %q", example))
	if ok && strings.TrimSpace(s) == "" {
		t.fault(key, "is empty", fmt.Sprintf("write something like %q", example))
		return "", false
	}
	return s, ok
}

// need is text that must be there.
func (t *table) need(key, example string) (string, bool) {
	s, ok := t.text(key, example)
	if !ok && !t.has(key) {
		t.fault(key, "is missing", fmt.Sprintf("add %s = %q", key, example))
	}
	return s, ok
}

// whole returns a whole number between two limits.
func (t *table) whole(key string, lowest, highest int64) (int64, bool) {
	n, ok := take[int64](t, key, "a whole number without quotes")
	if ok && (n < lowest || n > highest) {
		t.fault(key, fmt.Sprintf("is %d", n), fmt.Sprintf("it lies between %d and %d", lowest, highest))
		return 0, false
	}
	return n, ok
}

// number returns a plain finite number, whole or not.
func (t *table) number(key string) (float64, bool) {
	v, ok := t.value(key)
	if !ok {
		return 0, false
	}
	x, ok := asNumber(v)
	if !ok {
		t.fault(key, "is "+describe(v), "write a plain number without quotes")
	}
	return x, ok
}

func asNumber(v any) (float64, bool) {
	switch v := v.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, v-v == 0 // neither NaN nor infinite
	}
	return 0, false
}

// numbers returns a list of plain numbers.
func (t *table) numbers(key string) ([]float64, bool) {
	list, ok := take[[]any](t, key, "a list of plain numbers in brackets, such as [32767, -32768]")
	if !ok {
		return nil, false
	}
	numbers := make([]float64, len(list))
	for i, v := range list {
		if numbers[i], ok = asNumber(v); !ok {
			t.fault(key, "holds "+describe(v), "write plain numbers only")
			return nil, false
		}
	}
	return numbers, true
}

// texts returns a list of texts.
func (t *table) texts(key, example string) ([]string, bool) {
	list, ok := take[[]any](t, key, "a list of texts, such as "+example)
	if !ok {
		return nil, false
	}
	texts := make([]string, len(list))
	for i, v := range list {
		if texts[i], ok = v.(string); !ok {
			t.fault(key, "holds "+describe(v), "write texts only, such as "+example)
			return nil, false
		}
	}
	return texts, true
}

// word returns the value of one of the words allowed.
func word[T any](t *table, key string, words []setting.Word[T]) (value T, ok bool) {
	text, ok := oneWord(t, key, wordNames(words))
	for _, w := range words {
		if ok && w.Name == text {
			value = w.Value
		}
	}
	return value, ok
}

func wordNames[T any](words []setting.Word[T]) []string {
	names := make([]string, len(words))
	for i, w := range words {
		names[i] = w.Name
	}
	return names
}

func oneWord(t *table, key string, words []string) (string, bool) {
	text, ok := t.text(key, words[0])
	if ok && !slices.Contains(words, text) {
		t.fault(key, fmt.Sprintf("%q is not known here", text), oneOf(words)+didYouMean(text, words))
		return "", false
	}
	return text, ok
}

// inner returns an inline table or sub-table.
func (t *table) inner(key, example string) (*table, bool) {
	v, ok := take[map[string]any](t, key, "a table, such as "+example)
	if !ok {
		return nil, false
	}
	return &table{r: t.r, name: t.path(key), values: v, position: t.position.key(key), keys: inside(t.keys, key)}, true
}

// inners returns the tables of an array of tables, or of an array of inline
// tables. Each is shown by its name where it has one, else by its number.
func (t *table) inners(key, example string) []*table {
	v, ok := t.value(key)
	if !ok {
		return nil
	}
	var list []any
	switch v := v.(type) {
	case []map[string]any:
		for _, m := range v {
			list = append(list, m)
		}
	case []any:
		list = v
	default:
		t.fault(key, "is "+describe(v), "write it as a list of tables, such as "+example)
	}
	var tables []*table
	for i, v := range list {
		m, ok := v.(map[string]any)
		if !ok {
			t.fault(key, "holds "+describe(v), "write tables only, such as "+example)
			return tables
		}
		label := fmt.Sprint(i + 1)
		if name, ok := m["name"].(string); ok && reading.ValidName(name) {
			label = name
		}
		tables = append(tables, &table{r: t.r, name: fmt.Sprintf("%s[%s]", t.path(key), label), values: m, position: t.position.key(key).element(i), keys: inside(t.keys, key)})
	}
	return tables
}

// describe returns in words what a value of the file is.
func describe(v any) string {
	switch v := v.(type) {
	case string:
		return fmt.Sprintf("the text %q", v)
	case int64, float64:
		return fmt.Sprintf("the bare number %v", v)
	case bool:
		return fmt.Sprint(v)
	case time.Time:
		return "a date"
	case map[string]any:
		return "a table"
	case []any, []map[string]any:
		return "a list"
	}
	return "something else"
}
