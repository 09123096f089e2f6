package scenarios

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"dewgap/analyze/suggest"
	"dewgap/simulators/plant"
)

// defaultStart is the start of a scenario without one: early on a Monday.
var defaultStart = time.Date(2026, 3, 2, 4, 0, 0, 0, time.UTC)

// Decode reads a scenario. Every key must be known; file names the text in
// errors. Keys that are not given take the defaults of FORMAT.md.
func Decode(file, text string) (plant.Description, error) {
	var d plant.Description
	var tree map[string]any
	_, err := toml.Decode(text, &tree)
	if err != nil {
		var at toml.ParseError
		if errors.As(err, &at) {
			return d, fmt.Errorf("%s:%d: %s", file, at.Position.Line, at.Message)
		}
		return d, fmt.Errorf("%s: %w", file, err)
	}
	r := reader{file: file}
	r.table("", tree, reflect.ValueOf(&d).Elem())
	if d.Start.IsZero() {
		d.Start = defaultStart
	}
	d.Start = d.Start.UTC()
	if len(r.faults) > 0 {
		return d, errors.Join(r.faults...)
	}
	return d, nil
}

// reader fills structures from a decoded tree: defaults first, then what the
// file says. The tags of plant.Description are the format.
type reader struct {
	file   string
	faults []error
}

func (r *reader) fault(key, format string, a ...any) {
	r.faults = append(r.faults, fmt.Errorf("%s: %s: %s", r.file, key, fmt.Sprintf(format, a...)))
}

func (r *reader) table(path string, tree map[string]any, into reflect.Value) {
	known := map[string]bool{}
	for i := range into.NumField() {
		tag := into.Type().Field(i).Tag
		key := tag.Get("toml")
		known[key] = true
		v, given := tree[key]
		r.value(join(path, key), v, given, tag.Get("default"), into.Field(i))
		if into.Field(i).Kind() == reflect.Float64 && given {
			r.bounds(join(path, key), into.Field(i).Float(), tag)
		}
	}
	for key := range tree {
		if !known[key] {
			r.fault(join(path, key), "no such key; %s", nearest(key, known))
		}
	}
}

// bounds refuses what no quantity of its kind can be: below 0, unless it is a
// temperature or marked as signed, or above the most.
func (r *reader) bounds(path string, v float64, tag reflect.StructTag) {
	if v < 0 && tag.Get("signed") == "" && tag.Get("unit") != "°C" {
		r.fault(path, "%g: must not be below 0", v)
	}
	if most, err := strconv.ParseFloat(tag.Get("most"), 64); err == nil && v > most {
		r.fault(path, "%g: at most %g", v, most)
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func (r *reader) value(path string, v any, given bool, def string, into reflect.Value) {
	if !given {
		switch into.Kind() {
		case reflect.Struct:
			if into.Type() != reflect.TypeFor[time.Time]() {
				r.table(path, nil, into)
			}
		case reflect.Slice:
		default:
			setDefault(into, def)
		}
		return
	}
	switch into.Kind() {
	case reflect.Float64:
		switch n := v.(type) {
		case float64:
			into.SetFloat(n)
		case int64:
			into.SetFloat(float64(n))
		default:
			r.fault(path, "a number is needed, not %v", v)
		}
		if f := into.Float(); f != f || f > 1e9 || f < -1e9 {
			r.fault(path, "%g: a finite number is needed", f)
		}
	case reflect.Int:
		if n, ok := take[int64](r, path, v, "a whole number is needed"); ok {
			into.SetInt(n)
		}
	case reflect.String:
		if s, ok := take[string](r, path, v, "a text in quotes is needed"); ok {
			into.SetString(s)
		}
	case reflect.Bool:
		if b, ok := take[bool](r, path, v, "true or false is needed"); ok {
			into.SetBool(b)
		}
	case reflect.Struct:
		if into.Type() == reflect.TypeFor[time.Time]() {
			if t, ok := take[time.Time](r, path, v, "a date and time without quotes is needed, as 2026-03-02T04:00:00Z"); ok {
				into.Set(reflect.ValueOf(t))
			}
			return
		}
		if t, ok := take[map[string]any](r, path, v, "a table is needed"); ok {
			r.table(path, t, into)
		}
	case reflect.Slice:
		r.list(path, v, into)
	}
}

// take returns v as a T, or notes what is needed instead.
func take[T any](r *reader, path string, v any, needed string) (T, bool) {
	t, ok := v.(T)
	if !ok {
		r.fault(path, "%s, not %v", needed, v)
	}
	return t, ok
}

func (r *reader) list(path string, v any, into reflect.Value) {
	switch list := v.(type) {
	case []map[string]any:
		for i, t := range list {
			item := reflect.New(into.Type().Elem()).Elem()
			if item.Kind() != reflect.Struct {
				r.fault(path, "a list of texts is needed")
				return
			}
			name := strconv.Itoa(i + 1)
			if s, ok := t["name"].(string); ok {
				name = s
			}
			r.table(path+"["+name+"]", t, item)
			into.Set(reflect.Append(into, item))
		}
	case []any:
		for _, e := range list {
			s, ok := e.(string)
			if !ok || into.Type().Elem().Kind() != reflect.String {
				r.fault(path, "a list of texts is needed, or [[%s]] tables", path)
				return
			}
			into.Set(reflect.Append(into, reflect.ValueOf(s)))
		}
	default:
		r.fault(path, "a list is needed")
	}
}

func setDefault(into reflect.Value, def string) {
	if def == "" {
		return
	}
	switch into.Kind() {
	case reflect.Float64:
		f, _ := strconv.ParseFloat(def, 64)
		into.SetFloat(f)
	case reflect.Int:
		n, _ := strconv.ParseInt(def, 10, 64)
		into.SetInt(n)
	case reflect.String:
		into.SetString(def)
	case reflect.Bool:
		into.SetBool(def == "true")
	}
}

// nearest suggests the known key most like one that is not, or lists all.
func nearest(key string, known map[string]bool) string {
	all := make([]string, 0, len(known))
	for k := range known {
		all = append(all, k)
	}
	all = sorted(all)
	if like := suggest.Nearest(key, all); like != "" {
		return fmt.Sprintf("did you mean %s?", like)
	}
	return "keys here: " + strings.Join(all, ", ")
}
