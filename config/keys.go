package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dewgap/analyze/setting"
	"dewgap/analyze/units"
)

// key is what the reference shows of one key of the file. A table accepts the
// keys that it has and no other, so no key is accepted that the reference lacks.
type key struct {
	path    string // from the table that it belongs to: floor.steady
	unit    string // what stands in the file
	def     string // default; empty where there is none
	limits  string // range or words; empty where anything goes
	meaning string
	example string // as TOML
	source  string // of the default
	needed  string // when the file must state it; empty for never
}

// practice is the source of a number that no document stands behind.
const practice = "common practice, no source"

// keysOf returns the keys of a table of rows; fixed settings have none.
func keysOf[S any](rows []setting.Row[S]) []key {
	var keys []key
	for _, row := range rows {
		if row.Field.Fixed {
			continue
		}
		f := row.Field
		k := key{path: row.Key, unit: f.Unit, def: f.Shown, limits: f.Range, meaning: row.Meaning, example: row.Example, source: row.Source, needed: row.Needed}
		if f.Pointer != nil {
			var s S
			k.unit = unitOf(f.Pointer(&s))
		}
		switch {
		case len(f.Words) > 0:
			k.unit, k.limits = "word", orList(f.Words)
		case f.Min != nil:
			k.limits = show(f.Min) + " to " + show(f.Max)
		}
		if f.Default != nil {
			k.def = show(f.Default)
		}
		if f.Assumed && f.Default != nil {
			k.def += " is assumed"
		}
		keys = append(keys, k)
	}
	return keys
}

// fixedOf returns the settings that no key sets.
func fixedOf[S any](rows []setting.Row[S]) []key {
	var fixed []key
	for _, row := range rows {
		if row.Field.Fixed {
			fixed = append(fixed, key{path: strings.ReplaceAll(row.Key, "_", " "), def: show(row.Field.Default), meaning: row.Meaning, source: row.Source})
		}
	}
	return fixed
}

// below returns the keys as those of an inner table.
func below(table string, keys ...[]key) []key {
	var inner []key
	for _, k := range slices.Concat(keys...) {
		k.path = table + "." + k.path
		inner = append(inner, k)
	}
	return inner
}

// inside returns the keys below an inner table, as that table has them.
func inside(keys []key, table string) []key {
	var inner []key
	for _, k := range keys {
		if rest, ok := strings.CutPrefix(k.path, table+"."); ok {
			k.path = rest
			inner = append(inner, k)
		}
	}
	return inner
}

// orList writes words as they stand in the file.
func orList(words []string) string {
	return `"` + strings.Join(words, `", "`) + `"`
}

// unitOf returns what stands in the file for a field of the pointer's type.
func unitOf(pointer any) string {
	switch pointer.(type) {
	case *time.Duration:
		return "time (s, min, h)"
	case *units.Kelvin:
		return "temperature difference (K, F)"
	case *units.Celsius:
		return "temperature (degC, degF)"
	case *float64:
		return "share (%)"
	case *int64:
		return "size (MB, GB)"
	case *int, *uint8:
		return "whole number"
	case *bool:
		return "true or false"
	case *[]string:
		return "list of texts"
	}
	return "text"
}

// show writes a value as it stands in the file, without quotes.
func show(v any) string {
	switch v := v.(type) {
	case time.Duration:
		return shortDuration(v)
	case units.Kelvin:
		return showKelvin(v)
	case units.Celsius:
		return showCelsius(v)
	case float64:
		return showShare(v)
	case int64:
		return showSize(v)
	case []string:
		if len(v) == 0 {
			return "none"
		}
		return "[" + orList(v) + "]"
	}
	if v == "" {
		return "none"
	}
	return fmt.Sprint(v)
}

func showKelvin(k units.Kelvin) string   { return fmt.Sprintf("%g K", float64(k)) }
func showCelsius(c units.Celsius) string { return fmt.Sprintf("%g degC", float64(c)) }
func showShare(x float64) string         { return fmt.Sprintf("%.6g %%", 100*x) }

// read sets the fields of s from the keys that the table t has. Keys that are
// decoded by hand are left alone; an inner table is read whole.
func read[S any](t *table, rows []setting.Row[S], s *S) {
	var opened []string
	for i := range rows {
		row := &rows[i]
		inner, _, nested := strings.Cut(row.Key, ".")
		switch {
		case row.Field.Fixed || row.Field.Pointer == nil:
		case !nested:
			readRow(t, row, s)
		case !slices.Contains(opened, inner):
			opened = append(opened, inner)
			readInner(t, inner, rows, s)
		}
	}
}

func readInner[S any](t *table, name string, rows []setting.Row[S], s *S) {
	var members []setting.Row[S]
	var examples []string
	for _, row := range rows {
		if rest, ok := strings.CutPrefix(row.Key, name+"."); ok && !row.Field.Fixed {
			row.Key = rest
			members = append(members, row)
			if len(examples) < 2 && !strings.Contains(rest, ".") {
				examples = append(examples, rest+" = "+row.Example)
			}
		}
	}
	if inner, ok := t.inner(name, "{ "+strings.Join(examples, ", ")+" }"); ok {
		read(inner, members, s)
		inner.done()
	}
}

// readRow sets one field and reports whether the file states it rightly.
func readRow[S any](t *table, row *setting.Row[S], s *S) bool {
	f := &row.Field
	example := strings.Trim(row.Example, `"`)
	if f.Choose != nil {
		text, ok := oneWord(t, row.Key, f.Words)
		if ok {
			f.Choose(s, text)
		}
		return ok
	}
	switch p := f.Pointer(s).(type) {
	case *time.Duration:
		return limited(t, row, p, units.ParseDuration, shortDuration)
	case *units.Kelvin:
		return limited(t, row, p, units.ParseDifference, showKelvin)
	case *units.Celsius:
		return limited(t, row, p, units.ParseTemperature, showCelsius)
	case *float64:
		return limited(t, row, p, parseShare, showShare)
	case *int64:
		return limited(t, row, p, parseSize, showSize)
	case *int:
		return set(p, func() (int, bool) {
			n, ok := t.whole(row.Key, int64(f.Min.(int)), int64(f.Max.(int)))
			return int(n), ok
		})
	case *uint8:
		return set(p, func() (uint8, bool) {
			n, ok := t.whole(row.Key, int64(f.Min.(uint8)), int64(f.Max.(uint8)))
			return uint8(n), ok
		})
	case *bool:
		return set(p, func() (bool, bool) { return take[bool](t, row.Key, "true or false, without quotes") })
	case *string:
		return set(p, func() (string, bool) { return t.text(row.Key, example) })
	case *[]string:
		return set(p, func() ([]string, bool) { return t.texts(row.Key, row.Example) })
	}
	return false
}

func limited[S any, T ~float64 | ~int64](t *table, row *setting.Row[S], p *T, parse func(string) (T, error), show func(T) string) bool {
	return set(p, func() (T, bool) {
		return within(t, row.Key, parse, row.Field.Min.(T), row.Field.Max.(T), show, row.Usual)
	})
}

func set[T any](p *T, value func() (T, bool)) bool {
	v, ok := value()
	if ok {
		*p = v
	}
	return ok
}

// row returns the row of a key, for a decoder that sets fields one by one.
func rowOf[S any](rows []setting.Row[S], key string) *setting.Row[S] {
	for i := range rows {
		if rows[i].Key == key {
			return &rows[i]
		}
	}
	panic("config: no row for " + key)
}
