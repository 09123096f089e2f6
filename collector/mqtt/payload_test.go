package mqtt

import (
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/reading"
	"dewgap/analyze/units"
	"dewgap/collector/register"
)

var now = time.Date(2026, 3, 1, 6, 41, 20, 0, time.UTC)

func degC(t testing.TB) units.Unit {
	u, err := units.ParseUnit("degC")
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// The pointers and what they mean are the example of RFC 6901, section 5.
func TestPointerIsRFC6901(t *testing.T) {
	doc := open(message{size: 1, payload: []byte(`{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`)}, 1000, true)
	for pointer, want := range map[string]float64{
		"/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, "/i\\j": 5, "/k\"l": 6, "/ ": 7, "/m~0n": 8,
	} {
		node, ok := resolvePointer(doc.tree, pointer)
		if !ok {
			t.Errorf("%q: not found", pointer)
			continue
		}
		if v, f := valueOf(node, &register.Mapping{Unit: degC(t)}); v != want || f.Failed() {
			t.Errorf("%q: %v %v, want %v", pointer, v, f, want)
		}
	}
	if node, _ := resolvePointer(doc.tree, "/foo/0"); node != "bar" {
		t.Errorf("/foo/0: %v", node)
	}
	for _, pointer := range []string{"/foo/2", "/foo/-", "/foo/00", "/foo/x", "/no", "foo", "/a~1b/x"} {
		if node, ok := resolvePointer(doc.tree, pointer); ok {
			t.Errorf("%q: found %v", pointer, node)
		}
	}
	for pointer, ok := range map[string]bool{"": true, "/a~0~1": true, "a": false, "/a~": false, "/~2": false} {
		if err := CheckPointer(pointer); (err == nil) != ok {
			t.Errorf("CheckPointer(%q): %v", pointer, err)
		}
	}
}

func TestTrap22Payloads(t *testing.T) {
	json := Point{Pointer: "/v", Mapping: register.Mapping{Unit: degC(t)}}
	plain := Point{Mapping: register.Mapping{Unit: degC(t)}}
	for name, c := range map[string]struct {
		p       Point
		payload string
		value   float64
		code    string
	}{
		"number":           {json, `{"v":-6.12}`, -6.12, ""},
		"number as text":   {json, `{"v":"-6.12"}`, -6.12, ""},
		"decimal comma":    {json, `{"v":"-6,12"}`, 0, "parse"},
		"null":             {json, `{"v":null}`, 0, "no-data"},
		"no member":        {json, `{"w":1}`, 0, "no-data"},
		"NaN as text":      {json, `{"v":"NaN"}`, 0, "nan"},
		"NaN literal":      {json, `{"v":NaN}`, 0, "parse"},
		"too great":        {json, `{"v":1e999}`, 0, "infinite"},
		"list":             {json, `{"v":[1]}`, 0, "parse"},
		"object":           {json, `{"v":{"x":1}}`, 0, "parse"},
		"boolean":          {json, `{"v":true}`, 0, "mapping"},
		"empty":            {json, ``, 0, "no-data"},
		"last will":        {json, `offline`, 0, "no-data"},
		"not JSON":         {json, `v=3`, 0, "parse"},
		"two values":       {json, `{"v":1}{"v":2}`, 0, "parse"},
		"cut off":          {json, `{"v":-6.1`, 0, "parse"},
		"invalid UTF-8":    {json, "{\"v\":1,\"x\":\"\xff\"}", 0, "parse"},
		"deep nesting":     {json, strings.Repeat(`{"v":[`, 5000), 0, "parse"},
		"very deep":        {json, strings.Repeat("[", 60000), 0, "parse"},
		"1 MB":             {json, `{"v":1,"x":"` + strings.Repeat("x", 1<<20) + `"}`, 0, "too-large"},
		"plain":            {plain, " -6.12\n", -6.12, ""},
		"plain comma":      {plain, "-6,12", 0, "parse"},
		"plain empty":      {plain, "", 0, "no-data"},
		"plain will":       {plain, "unavailable", 0, "no-data"},
		"plain words":      {plain, "warm", 0, "parse"},
		"plain null":       {plain, "null", 0, "no-data"},
		"plain whole JSON": {plain, `{"v":1}`, 0, "parse"},
	} {
		m := message{payload: []byte(c.payload), size: len(c.payload)}
		doc := open(m, 64<<10, c.p.Pointer != "")
		d := doc.read(&c.p, false, now, time.Minute)
		if d.fault.Code != c.code || c.code == "" && d.value != c.value || c.code != "" && !math.IsNaN(d.value) {
			t.Errorf("%s: %v %v, want %v %q", name, d.value, d.fault, c.value, c.code)
		}
	}
}

func TestTrap21RetainedAndTrap24TimeStamps(t *testing.T) {
	for name, c := range map[string]struct {
		stamp    string
		format   TimeFormat
		retained bool
		code     string
	}{
		"now":                          {`"2026-03-01T06:41:20Z"`, AutoTime, false, ""},
		"other zone":                   {`"2026-03-01T07:41:20.5+01:00"`, AutoTime, false, ""},
		"seconds":                      {"1772347280", AutoTime, false, ""},
		"seconds with fraction":        {"1772347280.25", UnixSeconds, false, ""},
		"milliseconds":                 {"1772347280000", AutoTime, false, ""},
		"milliseconds as text":         {`"1772347280000"`, UnixMilliseconds, false, ""},
		"milliseconds said as seconds": {"1772347280000", UnixSeconds, false, "parse"},
		"zone-less":                    {`"2026-03-01T06:41:20"`, AutoTime, false, "parse"},
		"null":                         {`null`, AutoTime, false, "parse"},
		"number where text was said":   {"1772347280", RFC3339, false, "parse"},
		"edge":                         {`"2026-03-01T06:40:20Z"`, AutoTime, false, ""},
		"beyond the edge":              {`"2026-03-01T06:40:19.999999999Z"`, AutoTime, false, "skew"},
		"future":                       {`"2026-03-01T06:42:20.000000001Z"`, AutoTime, false, "skew"},
		"hour behind":                  {`"2026-03-01T05:41:20Z"`, AutoTime, false, "skew"},
		"retained and fresh":           {`"2026-03-01T06:41:00Z"`, AutoTime, true, ""},
		"retained for a week":          {`"2026-02-22T06:41:20Z"`, AutoTime, true, "no-data"},
	} {
		p := Point{Pointer: "/v", TimePointer: "/t", TimeFormat: c.format, Mapping: register.Mapping{Unit: degC(t)}}
		payload := []byte(`{"v":3,"t":` + c.stamp + `}`)
		doc := open(message{payload: payload, size: len(payload)}, 1000, true)
		d := doc.read(&p, c.retained, now, time.Minute)
		if d.fault.Code != c.code || c.code == "" && d.value != 3 {
			t.Errorf("%s: %v %v, want code %q", name, d.value, d.fault, c.code)
		}
	}
	plain := Point{Mapping: register.Mapping{Unit: degC(t)}}
	doc := open(message{payload: []byte("3"), size: 1}, 1000, false)
	if d := doc.read(&plain, true, now, time.Minute); d.fault.Code != "no-data" || !math.IsNaN(d.value) {
		t.Errorf("retained without stamp sets a fresh reading: %+v", d)
	}
}

func FuzzPayload(f *testing.F) {
	for _, s := range []string{`{"v":1,"t":"2026-03-01T06:41:20Z"}`, `{"v":"1,5"}`, `[[[[`, "", "offline", "\xff", `{"v":null,"t":1e99}`} {
		f.Add([]byte(s), "/v")
	}
	unit := degC(f)
	f.Fuzz(func(t *testing.T, payload []byte, pointer string) {
		for _, tp := range []string{"", "/t"} {
			p := Point{Pointer: pointer, TimePointer: tp, Mapping: register.Mapping{Unit: unit}}
			doc := open(message{payload: payload, size: len(payload)}, 1<<16, pointer != "" || tp != "")
			d := doc.read(&p, false, now, time.Minute)
			if d.fault.Failed() != math.IsNaN(d.value) {
				t.Fatalf("%v with %v", d.value, d.fault)
			}
			r := reading.Settle(reading.Fail(0, d.fault.Reason()), reading.Temperature)
			if d.fault.Failed() && r.Quality == reading.Good {
				t.Fatalf("a fault passes as good: %+v", r)
			}
		}
	})
}
