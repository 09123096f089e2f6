package scenarios

import (
	"fmt"
	"reflect"
	"strings"

	"dewgap/simulators/plant"
)

// Format returns FORMAT.md: the scenario format, made from the structures that
// a scenario is read into.
func Format() string {
	var b strings.Builder
	b.WriteString(`# Scenario format

Made by ` + "`go generate ./simulators/scenarios`" + ` from the structures; do not edit.

A scenario is a TOML file. Unknown keys are errors. Numbers are in the unit of
the table, without it. "derived" is worked out from load and design point.
Sources stand beside the values; where none does, the value is common practice
without a source.

`)
	describe(&b, "", reflect.TypeFor[plant.Description]())
	b.WriteString(`## Kinds of fault

A fault of a kind marked "at once" happens and is over; the others last.

| kind | target | amount | from | to | meaning |
|---|---|---|---|---|---|
`)
	for _, k := range plant.FaultKinds() {
		low, high, meaning := "", "", k.Meaning
		if k.High != 0 {
			low, high = fmt.Sprint(k.Low), fmt.Sprint(k.High)
		}
		if k.Momentary() {
			meaning += " (at once)"
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", k.Name, k.Target, k.Amount, low, high, meaning)
	}
	return b.String()
}

// describe writes the table of one structure, then those inside it.
func describe(b *strings.Builder, path string, of reflect.Type) {
	title := path
	if path == "" {
		title = "top of the file"
	}
	fmt.Fprintf(b, "## %s\n\n| key | unit | default | meaning |\n|---|---|---|---|\n", title)
	var inside []reflect.StructField
	for i := range of.NumField() {
		f := of.Field(i)
		key, unit, def := f.Tag.Get("toml"), f.Tag.Get("unit"), f.Tag.Get("default")
		switch {
		case isTable(f.Type):
			inside = append(inside, f)
			unit = "table"
		case isList(f.Type):
			inside = append(inside, f)
			unit = "list of tables"
		}
		fmt.Fprintf(b, "| `%s` | %s | %s | %s |\n", key, unit, def, f.Tag.Get("doc"))
	}
	b.WriteString("\n")
	for _, f := range inside {
		t := f.Type
		if isList(t) {
			t = t.Elem()
		}
		describe(b, join(path, f.Tag.Get("toml")), t)
	}
}

func isTable(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && t.PkgPath() == reflect.TypeFor[plant.Description]().PkgPath()
}

func isList(t reflect.Type) bool { return t.Kind() == reflect.Slice && isTable(t.Elem()) }
