package config

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"

	"dewgap/analyze/refrigerant"
	"dewgap/analyze/suggest"
	"dewgap/analyze/units"
)

// readRefrigerants reads the [[refrigerant]] tables: fluids that dewgap does not
// have, from makers' tables in files.
func (b *builder) readRefrigerants(root *table) {
	b.fluids = make(map[string]*refrigerant.Fluid)
	for _, t := range root.inners("refrigerant", "[[refrigerant]]") {
		name, okName := t.need("name", "maker-blend-1")
		file, okFile := t.need("table", "maker-blend-1.csv")
		t.done()
		if !okName {
			continue
		}
		_, twice := b.fluids[name]
		known, _ := refrigerant.Lookup(name)
		switch {
		case twice:
			t.fault("name", fmt.Sprintf("%q is already the name of a refrigerant", name), "give each its own name")
			continue
		case known != nil:
			t.fault("name", fmt.Sprintf("%q is a refrigerant that dewgap has", name), "give your table another name, or leave it out")
		}
		b.fluids[name] = nil
		if okFile && known == nil {
			b.fluids[name] = b.makersTable(t, name, b.beside(file))
		}
	}
}

// makersTable reads one table and reports each of its faults. Printed tables
// count gauge pressures from the standard atmosphere.
func (b *builder) makersTable(t *table, name, path string) *refrigerant.Fluid {
	const want = "give a CSV file with the head temperature:degC,dew:barg,bubble:barg and a row for each temperature, rising"
	f, err := os.Open(path)
	if err != nil {
		t.fault("table", fmt.Sprintf("%s cannot be read: %v", path, underlying(err)), want)
		return nil
	}
	defer f.Close()
	fluid, err := refrigerant.FromTable(name, f, units.StandardAtmosphere)
	if err == nil {
		return fluid
	}
	for _, fault := range single(err) {
		problem, remedy := fault.Error(), want
		if e := (*refrigerant.TableError)(nil); errors.As(fault, &e) {
			problem, remedy = e.Where()+": "+e.Why, "want "+e.Want
		}
		t.fault("table", path+" "+problem, remedy)
	}
	return nil
}

// single takes apart an error that joins several, without the text in front.
func single(err error) []error {
	for e := err; e != nil; e = errors.Unwrap(e) {
		if joined, ok := e.(interface{ Unwrap() []error }); ok {
			return joined.Unwrap()
		}
	}
	return []error{err}
}

// refrigerant reads which fluid a group has.
func (b *builder) refrigerant(t *table) *refrigerant.Fluid {
	name, ok := t.need("refrigerant", "R448A")
	if !ok {
		return nil
	}
	if fluid, own := b.fluids[name]; own {
		return fluid // nil where its table has a fault, which is reported already
	}
	fluid, err := refrigerant.Lookup(name)
	if err != nil {
		remedy := "dewgap refrigerants lists those that are"
		var unknown *refrigerant.UnknownError
		if errors.As(err, &unknown) && len(unknown.Nearest) > 0 {
			remedy = fmt.Sprintf("did you mean %s? dewgap refrigerants lists all", strings.Join(unknown.Nearest, ", "))
		}
		if near := suggest.Nearest(name, slices.Sorted(maps.Keys(b.fluids))); near != "" {
			remedy = fmt.Sprintf("did you mean %q?", near)
		}
		t.fault("refrigerant", fmt.Sprintf("%q is not known", name), remedy)
		return nil
	}
	return fluid
}

// underlying is the cause of a file's error, without the path, which the
// message has already.
func underlying(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}
