package config

import (
	"reflect"
	"slices"
	"testing"

	"dewgap/analyze/floodback"
	"dewgap/analyze/phase"
	"dewgap/analyze/setting"
	"dewgap/collector/modbus"
)

// TestEveryFieldHasOneRow: a field that no row sets would have no default and
// no documentation.
func TestEveryFieldHasOneRow(t *testing.T) {
	oneRowEach(t, floodback.Rows())
	oneRowEach(t, phase.Rows())
	oneRowEach(t, daemonRows)
	oneRowEach(t, commissioningRows)
	oneRowEach(t, serialRows, "Baud") // decoded by hand: a list of speeds
}

func oneRowEach[S any](t *testing.T, rows []setting.Row[S], byHand ...string) {
	t.Helper()
	var s S
	count := make(map[uintptr]int)
	for _, row := range rows {
		if row.Field.Pointer != nil {
			count[reflect.ValueOf(row.Field.Pointer(&s)).Pointer()]++
		}
		if row.Meaning == "" || row.Key == "" {
			t.Errorf("%T: a row without key or meaning: %+v", s, row)
		}
	}
	var walk func(v reflect.Value, path string)
	walk = func(v reflect.Value, path string) {
		for i := range v.NumField() {
			field, name := v.Field(i), v.Type().Field(i).Name
			switch n := count[field.Addr().Pointer()]; {
			case field.Kind() == reflect.Struct:
				walk(field, path+name+".")
			case n != 1 && !slices.Contains(byHand, path+name):
				t.Errorf("%s%s of %T has %d rows", path, name, s, n)
			}
		}
	}
	walk(reflect.ValueOf(&s).Elem(), "")
}

// Modbus RTU has eight data bits (Modbus over Serial Line V1.02, 2.5.1).
func TestSerialLineHasEightDataBits(t *testing.T) {
	if s := setting.Defaults(serialRows); s != (modbus.Serial{DataBits: 8, StopBits: 1}) {
		t.Errorf("%+v", s)
	}
}
