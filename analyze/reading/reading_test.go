package reading

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestParsePath(t *testing.T) {
	for _, c := range []struct {
		path string
		want Point
		err  string
	}{
		{path: "mt.suction_pressure", want: Point{Group: "mt", Role: SuctionPressure}},
		{path: "mt.ambient_temperature", want: Point{Group: "mt", Role: AmbientTemperature}},
		{path: "mt.c1.suction_pressure", want: Point{Group: "mt", Member: "c1", Role: SuctionPressure}},
		{path: "mt.c1.speed", want: Point{Group: "mt", Member: "c1", Role: Speed}},
		{path: "mt.case-1.coil_inlet_temperature", want: Point{Group: "mt", Member: "case-1", Role: CoilInletTemperature}},
		{path: "mt.speed", err: `a group has no "speed"`},
		{path: "lt-2.case_7.defrost", want: Point{Group: "lt-2", Member: "case_7", Role: Defrost}},
		{path: "mt", err: "want GROUP.role"},
		{path: "mt.c1.x.running", err: "want GROUP.role"},
		{path: "mt.running", err: `a group has no "running"; it has suction_pressure, discharge_pressure, ambient_temperature`},
		{path: "mt.c1.discharge_pressure", err: "a compressor or circuit has no"},
		{path: "mt.c1.", err: `has no ""`},
		{path: "Mt.c1.running", err: `"Mt" is not a name`},
		{path: "mt.1c.running", err: `"1c" is not a name`},
		{path: ".c1.running", err: `"" is not a name`},
	} {
		got, err := ParsePath(c.path)
		c.want.Path = c.path
		switch {
		case c.err == "" && (err != nil || got != c.want):
			t.Errorf("ParsePath(%q) = %+v, %v; want %+v", c.path, got, err, c.want)
		case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
			t.Errorf("ParsePath(%q): error %v; want %q in it", c.path, err, c.err)
		}
	}
}

func TestEveryRoleHasNameKindAndHome(t *testing.T) {
	for r := NoRole + 1; int(r) < len(roles); r++ {
		got, ok := ParseRole(r.String())
		if !ok || got != r || r.Kind() == 0 || r.Home() == 0 {
			t.Errorf("role %d: name %q, kind %v, home %v", r, r, r.Kind(), r.Home())
		}
	}
	if _, ok := ParseRole(""); ok || NoRole.Kind() != 0 {
		t.Error("NoRole passes for a role")
	}
}

func TestQualityOf(t *testing.T) {
	for reason, want := range map[string]Quality{
		"":                        Missing,
		"timeout":                 Missing,
		"timeout: after 800ms":    Missing,
		"exception-2":             Missing,
		"exception-11: no answer": Missing,
		"resting: until 10:00":    Missing,
		"no-data: null":           Missing,
		"disconnected":            Missing,
		"sentinel: 0x7FFF":        Bad,
		"nan":                     Bad,
		"open":                    Bad,
		"short":                   Bad,
		"out-of-range":            Bad,
		"parse":                   Bad,
		"something new":           Bad,
	} {
		if got := QualityOf(reason); got != want {
			t.Errorf("QualityOf(%q) = %v, want %v", reason, got, want)
		}
	}
}

// Law: a settled value written with the decimals of its kind reads back as the
// same bits, and settling is idempotent.
func TestSettledValuesSurviveText(t *testing.T) {
	decimals := map[Kind]int{Pressure: 1, Temperature: 3, Switch: 0, Share: 2}
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]Kind{Pressure, Temperature, Switch, Share}).Draw(t, "kind")
		v := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-300, 300), rapid.Float64Range(0, 1e8)).Draw(t, "value")
		r := Settle(Reading{Value: v, Quality: Good}, kind)
		if r.Quality == Good {
			back, err := strconv.ParseFloat(strconv.FormatFloat(r.Value, 'f', decimals[kind], 64), 64)
			if err != nil || math.Float64bits(back) != math.Float64bits(r.Value) {
				t.Fatalf("%v %v: settled to %v, read back %v, %v", kind, v, r.Value, back, err)
			}
		} else if r.Reason == "" || !math.IsNaN(r.Value) {
			t.Fatalf("%v %v: %+v", kind, v, r)
		}
		if again := Settle(r, kind); fmt.Sprint(again) != fmt.Sprint(r) {
			t.Fatalf("settled twice: %+v, then %+v", r, again)
		}
	})
}

func TestSettledReasonsAreOneShortLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringN(100, 400, 800)).Draw(t, "reason")
		if rapid.Bool().Draw(t, "raw") {
			s += string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		}
		r := Settle(Reading{Quality: Bad, Reason: s}, Pressure)
		if r.Reason == "" || len(r.Reason) > maxReason || !utf8.ValidString(r.Reason) ||
			strings.ContainsAny(r.Reason, "\r\n\x00") || r.Quality != QualityOf(r.Reason) {
			t.Fatalf("%q settled to %+v", s, r)
		}
		if again := Settle(r, Pressure); again.Reason != r.Reason || again.Quality != r.Quality {
			t.Fatalf("settled twice: %q, then %q", r.Reason, again.Reason)
		}
	})
}

func TestImpossibleValuesAreNone(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		v    float64
		code string
	}{
		{Pressure, -0.1, OutOfRange},
		{Temperature, -273.2, OutOfRange},
		{Temperature, math.NaN(), NotANumber},
		{Switch, math.Inf(1), NotANumber},
		{Share, -0.1, OutOfRange},
		{Share, 120, ""},
		{Pressure, 0, ""},
		{Temperature, -50, ""},
	} {
		if r := Settle(Reading{Value: c.v, Quality: Good}, c.kind); CodeOf(r.Reason) != c.code {
			t.Errorf("%v %v: %+v, want code %q", c.kind, c.v, r, c.code)
		}
	}
	if r := Settle(Reading{Value: -0.0001, Quality: Good}, Temperature); math.Signbit(r.Value) {
		t.Error("negative zero is left: its text and its bits differ")
	}
}
