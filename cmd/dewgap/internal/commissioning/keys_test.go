package commissioning

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"dewgap/config"
)

// The page on the record names every key of its JSON and every criterion.
func TestKeysAreDocumented(t *testing.T) {
	page, err := os.ReadFile("../../../../config/commissioning.md")
	if err != nil {
		t.Fatal(err)
	}
	named := func(what string) {
		if !strings.Contains(string(page), "`"+what+"`") {
			t.Errorf("config/commissioning.md does not name %s", what)
		}
	}
	seen := map[reflect.Type]bool{}
	var walk func(reflect.Type)
	walk = func(s reflect.Type) {
		for s.Kind() == reflect.Pointer || s.Kind() == reflect.Slice {
			s = s.Elem()
		}
		if s.Kind() != reflect.Struct || seen[s] || s.PkgPath() == "time" {
			return
		}
		seen[s] = true
		for i := range s.NumField() {
			key, _, _ := strings.Cut(s.Field(i).Tag.Get("json"), ",")
			if key == "-" || key == "" {
				continue
			}
			named(key)
			walk(s.Field(i).Type)
		}
	}
	walk(reflect.TypeFor[Record]())
	for _, name := range config.CommissioningCriteria {
		named(name)
	}
	for _, v := range []Verdict{Pass, PassRemarks, NotJudged, Fail} {
		named(string(v))
	}
	for _, o := range []Outcome{Met, Remark, NotMet, CannotTell, NotRecorded} {
		named(string(o))
	}
}
