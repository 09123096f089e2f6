package register

import (
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/units"
)

// TestTrap12Values: what registers say in the field, and what must come of it.
// Common practice, no source, where the arithmetic is not its own proof.
func TestTrap12Values(t *testing.T) {
	ntc := NTCCurve{R25: 10000, B: 3435}
	for _, c := range []struct {
		name  string
		m     Mapping
		words []uint16
		want  float64
		fault string // prefix of the reason
	}{
		{"int16 x10", Mapping{Type: Int16, Scale: 0.1, Unit: degC}, []uint16{0xFFC4}, -6, ""},
		{"fahrenheit", Mapping{Type: Int16, Scale: 0.1, Unit: degF}, []uint16{220}, -5.5555555556, ""},
		{"gauge at sea level", Mapping{Type: Int16, Scale: 0.01, Unit: barg}, []uint16{180}, 281325, ""},
		{"gauge at 1,500 m", Mapping{Type: Int16, Scale: 0.01, Unit: barg, Atmosphere: 84556}, []uint16{180}, 264556, ""},
		{"absolute", Mapping{Type: Int16, Scale: 0.01, Unit: bara, Atmosphere: 84556}, []uint16{180}, 180000, ""},
		{"vacuum is possible", Mapping{Type: Int16, Scale: 0.01, Unit: barg}, []uint16{0xFFE2}, 71325, ""},
		{"below vacuum is not", Mapping{Type: Int16, Scale: 0.01, Unit: barg}, []uint16{0xFF60}, 0, "impossible: -1.6 barg is at or below vacuum"},
		{"zero absolute", Mapping{Type: Uint16, Unit: bara}, []uint16{0}, 0, "impossible"},
		{"word order gives nonsense", Mapping{Type: Int32, Order: CDAB, Unit: bara}, []uint16{1, 0x86A0}, 0, "impossible"},
		{"calibrated", Mapping{Type: Int16, Scale: 0.1, Unit: degC, Gain: 1.01, Zero: -0.3}, []uint16{100}, 9.8, ""},
		{"outside the valid range", Mapping{Type: Int16, Scale: 0.1, Unit: degC, Valid: Range{-50, 60}}, []uint16{601}, 0, "out-of-range: 60.1 degC is outside -50 to 60"},
		{"at its edge", Mapping{Type: Int16, Scale: 0.1, Unit: degC, Valid: Range{-50, 60}}, []uint16{600}, 60, ""},
		{"signed sentinel written unsigned", Mapping{Type: Int16, Unit: degC, Sentinels: []float64{0x8000}}, []uint16{0x8000}, 0, "sentinel: 0x8000"},
		{"unsigned sentinel written signed", Mapping{Type: Uint16, Unit: degC, Sentinels: []float64{-1}}, []uint16{0xFFFF}, 0, "sentinel: 0xFFFF"},
		{"probe open as -50.0", Mapping{Type: Int16, Scale: 0.1, Unit: degC, Sentinels: []float64{-500}}, []uint16{0xFE0C}, 0, "sentinel: 0xFE0C"},
		{"probe open as 999.9", Mapping{Type: Float32, Order: ABCD, Unit: degC, Sentinels: []float64{999.9}}, []uint16{0x4479, 0xF99A}, 0, "sentinel: 999.9"},
		{"no byte order", Mapping{Type: Float32, Unit: degC}, []uint16{0x42C8, 0}, 0, "mapping: float32 needs a byte order"},
		{"too few words", Mapping{Type: Float32, Order: ABCD, Unit: degC}, []uint16{0x42C8}, 0, "mapping"},
		{"NaN", Mapping{Type: Float32, Order: CDAB, Unit: degC}, []uint16{0, 0x7FC0}, 0, "nan: 0x7FC00000"},
		{"switch", Mapping{Type: Uint16}, []uint16{1}, 1, ""},
		{"switch off", Mapping{Type: Uint16}, []uint16{0}, 0, ""},
		{"switch inverted", Mapping{Type: Uint16, Invert: true}, []uint16{0}, 1, ""},
		{"current above threshold", Mapping{Type: Uint16, Scale: 0.1, Threshold: 5}, []uint16{51}, 1, ""},
		{"at threshold", Mapping{Type: Uint16, Scale: 0.1, Threshold: 5}, []uint16{50}, 0, ""},
		{"loop in µA", Mapping{Type: Uint16, Scale: 0.001, Signal: Current, Low: -1, High: 12, Unit: barg}, []uint16{5600}, 131325, ""},
		{"loop broken", Mapping{Type: Uint16, Scale: 0.001, Signal: Current, Low: -1, High: 12, Unit: barg}, []uint16{3600}, 0, "open: 3.6 mA is a failure signal"},
		{"loop shorted", Mapping{Type: Uint16, Scale: 0.001, Signal: Current, Low: -1, High: 12, Unit: barg}, []uint16{22100}, 0, "short: 22.1 mA is a failure signal"},
		{"loop undefined", Mapping{Type: Uint16, Scale: 0.001, Signal: Current, Low: -1, High: 12, Unit: barg}, []uint16{20800}, 0, "no-data: 20.8 mA lies between"},
		{"1–5 V", Mapping{Type: Uint16, Scale: 0.001, Signal: Voltage, LowVolt: 1, HighVolt: 5, Low: 0, High: 10, Unit: bara}, []uint16{3000}, 5e5, ""},
		{"1–5 V broken", Mapping{Type: Uint16, Scale: 0.001, Signal: Voltage, LowVolt: 1, HighVolt: 5, Low: 0, High: 10, Unit: bara}, []uint16{0}, 0, "open: 0 V"},
		{"ratiometric supply lost", Mapping{Type: Uint16, Scale: 0.0002, Signal: Ratiometric, Low: 0, High: 10, Unit: bara}, []uint16{0}, 0, "open: 0 of the supply"},
		{"ratiometric shorted", Mapping{Type: Uint16, Scale: 0.0002, Signal: Ratiometric, Low: 0, High: 10, Unit: bara}, []uint16{5000}, 0, "short"},
		{"Pt1000 in °F", Mapping{Type: Uint16, Scale: 0.1, Signal: Pt1000, Unit: degF}, []uint16{10000}, 0, ""},
		{"Pt1000 open", Mapping{Type: Uint16, Signal: Pt1000, Unit: degC}, []uint16{65000}, 0, "open"},
		{"Pt1000 shorted", Mapping{Type: Uint16, Signal: Pt1000, Unit: degC}, []uint16{0}, 0, "short"},
		{"NTC at 25 °C", Mapping{Type: Uint16, Signal: NTC, Curve: ntc, Unit: degC}, []uint16{10000}, 25, ""},
		{"NTC open", Mapping{Type: Uint32, Order: ABCD, Signal: NTC, Curve: ntc, Unit: degC}, []uint16{0x000F, 0xFFFF}, 0, "open"},
		{"NTC shorted", Mapping{Type: Uint16, Signal: NTC, Curve: ntc, Unit: degC}, []uint16{3}, 0, "short"},
		{"NTC dead short", Mapping{Type: Uint16, Signal: NTC, Curve: ntc, Unit: degC}, []uint16{0}, 0, "short"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, f := c.m.ValueOfWords(c.words)
			if c.fault != "" {
				if !strings.HasPrefix(f.Reason(), c.fault) || !math.IsNaN(got) {
					t.Errorf("got %v %q, want NaN and %q", got, f.Reason(), c.fault)
				}
				return
			}
			if f.Failed() || math.Abs(got-c.want) > 1e-6*math.Max(1, math.Abs(c.want)) {
				t.Errorf("got %v %q, want %v", got, f.Reason(), c.want)
			}
		})
	}
}

// TestFailureMustPersist: one nanosecond before and after the 4 s of NE 43.
func TestFailureMustPersist(t *testing.T) {
	m := Mapping{Type: Uint16, Scale: 0.001, Signal: Current, Low: -1, High: 12, Unit: barg}
	_, broken := m.ValueOfWords([]uint16{0})
	start := time.Date(2026, 2, 3, 4, 5, 6, 0, time.UTC)
	var p Persistence
	for _, step := range []struct {
		after time.Duration
		fault Fault
		want  string
	}{
		{0, broken, CodeNoData},
		{FailurePersists - 1, broken, CodeNoData},
		{FailurePersists, broken, CodeOpen},
		{FailurePersists + time.Second, Fault{}, ""},
		{FailurePersists + 2*time.Second, broken, CodeNoData}, // a good value starts it afresh
		{2*FailurePersists + 2*time.Second, broken, CodeOpen},
	} {
		if got := p.Judge(&m, start.Add(step.after), step.fault); got.Code != step.want {
			t.Errorf("after %v: %q, want %q", step.after, got.Reason(), step.want)
		}
	}
	probe := Mapping{Signal: NTC}
	if got := p.Judge(&probe, start, Fault{Code: CodeOpen}); got.Code != CodeOpen {
		t.Errorf("an open thermistor waits: %q", got.Code)
	}
}

func TestParseNumber(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64
		code string
	}{
		{"-6.25", -6.25, ""}, {" 1.8\n", 1.8, ""}, {"+3", 3, ""}, {"1.5e3", 1500, ""}, {".5", 0.5, ""}, {"-0", 0, ""},
		{"1,8", 0, CodeParse}, {"1.234,5", 0, CodeParse}, {"1,234.5", 0, CodeParse},
		{"", 0, CodeNoData}, {"null", 0, CodeNoData}, {"NaN", 0, CodeNaN}, {"-Infinity", 0, CodeInfinite}, {"1e999", 0, CodeInfinite},
		{"0x10", 0, CodeParse}, {"1_000", 0, CodeParse}, {"12 C", 0, CodeParse}, {"−6", 0, CodeParse}, {"1.2.3", 0, CodeParse},
		{"--1", 0, CodeParse}, {"e5", 0, CodeParse}, {"\xff\xfe", 0, CodeParse}, {strings.Repeat("1", 65), 0, CodeParse}, {"true", 0, CodeParse},
	} {
		got, f := ParseNumber(c.text)
		if f.Code != c.code || c.code == "" && got != c.want {
			t.Errorf("%q: got %v %q, want %v %q", c.text, got, f.Reason(), c.want, c.code)
		}
	}
}

func TestSwitchesInText(t *testing.T) {
	m := Mapping{Invert: true}
	for text, want := range map[string]float64{"on": 0, "OFF": 1, "true": 0, "0": 1, "1": 0} {
		if got, f := m.ValueOfText(text); f.Failed() || got != want {
			t.Errorf("%q inverted: %v %q, want %v", text, got, f.Reason(), want)
		}
	}
	if _, f := m.ValueOfText("closed"); f.Code != CodeParse {
		t.Errorf("an ambiguous contact is taken: %q", f.Reason())
	}
}

func TestCheckNamesTheRemedy(t *testing.T) {
	for _, c := range []struct {
		m    Mapping
		want string
	}{
		{Mapping{}, "no type"},
		{Mapping{Type: Float32, Unit: degC}, "needs a byte order"},
		{Mapping{Type: Int16, Order: ABCD, Unit: degC}, "no byte order"},
		{Mapping{Type: Bit, Unit: degC}, "a bit has no unit"},
		{Mapping{Type: Int16, Unit: degC, Valid: Range{60, -50}}, "lower limit comes first"},
		{Mapping{Type: Int16, Unit: barg, Atmosphere: 1013.25}, "atmosphere"},
		{Mapping{Type: Int16, Unit: barg, Signal: Current}, "ends of its span"},
		{Mapping{Type: Int16, Unit: barg, Signal: Voltage, High: 1}, "is no span"},
		{Mapping{Type: Int16, Unit: barg, Signal: Pt100}, "unit of temperature"},
		{Mapping{Type: Int16, Unit: degC, Signal: NTC}, "R25 and B"},
		{Mapping{Type: Int16, Unit: degC, Signal: NTC, Curve: NTCCurve{Table: []NTCPoint{{0, 10}, {5, 20}}}}, "resistance fall"},
		{Mapping{Type: Int16, Unit: unit("bar")}, "write barg (gauge) or bara"},
		{Mapping{Type: Int16, Unit: unit("m")}, "needs a pressure or a temperature"},
		{Mapping{Type: Int16, Unit: degC, Scale: math.NaN()}, "scale is not a finite"},
	} {
		if err := c.m.Check(true); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.m, err, c.want)
		}
	}
	good := Mapping{Type: Float32, Order: CDAB, Unit: barg, Atmosphere: 95000}
	if err := good.Check(true); err != nil {
		t.Errorf("a good mapping: %v", err)
	}
}

// TestTrap13GuessesFindTheOrder: the wrong word order or scale shows in the list.
func TestTrap13GuessesFindTheOrder(t *testing.T) {
	has := func(guesses []Guess, want Guess) bool {
		for _, g := range guesses {
			if g.Type == want.Type && g.Order == want.Order && g.Scale == want.Scale && math.Abs(g.Value-want.Value) < 1e-4 {
				return true
			}
		}
		return false
	}
	// -6.2 as float32, low word first (from memory: IEEE 754 C0C66666).
	if g := Guesses(Mapping{Unit: degC}, []uint16{0x6666, 0xC0C6}); !has(g, Guess{Type: Float32, Order: CDAB, Scale: 1, Value: -6.2}) {
		t.Errorf("float32 CDAB is not among %+v", g)
	}
	if g := Guesses(Mapping{Unit: degC}, []uint16{0xFFC2}); !has(g, Guess{Type: Int16, Scale: 0.1, Value: -6.2}) {
		t.Errorf("int16 ×0.1 is not among %+v", g)
	}
	if g := Guesses(Mapping{Unit: degC}, []uint16{0xFFFF, 0xFFFF}); len(g) == 0 {
		t.Error("-1 °C is plausible")
	}
	if g := Guesses(Mapping{Unit: bara}, []uint16{0, 0}); len(g) != 0 {
		t.Errorf("0 bar absolute is not plausible: %+v", g)
	}
}

func BenchmarkValueOfWords(b *testing.B) {
	m := Mapping{Type: Float32, Order: CDAB, Unit: barg, Sentinels: []float64{-999}, Valid: Range{-1, 40}}
	words := []uint16{0x6666, 0x3FE6} // 1.8
	b.ReportAllocs()
	for b.Loop() {
		if _, f := m.ValueOfWords(words); f.Failed() {
			b.Fatal(f.Reason())
		}
	}
}

// FuzzValueOfWords: never a crash, never a Good value that is not finite or
// cannot be.
func FuzzValueOfWords(f *testing.F) {
	f.Add(uint16(0x42C8), uint16(0), uint8(5), uint8(1), uint8(0), uint8(0), 1.0, 0.0)
	f.Add(uint16(0x7FFF), uint16(0xFFFF), uint8(1), uint8(0), uint8(1), uint8(2), 0.1, 4.0)
	f.Add(uint16(3), uint16(0), uint8(2), uint8(0), uint8(6), uint8(1), 1.0, -1.0)
	all := []units.Unit{degC, degF, barg, bara, {}}
	f.Fuzz(func(t *testing.T, a, b uint16, typ, order, signal, unit uint8, scale, low float64) {
		m := Mapping{Type: Type(typ % 7), Order: Order(order % 6), Signal: Signal(signal % 8), Unit: all[int(unit)%len(all)],
			Scale: scale, Low: low, High: 12, LowVolt: 1, HighVolt: 5, Curve: NTCCurve{R25: 10000, B: 3435}, Sentinels: []float64{0x7FFF}}
		words := []uint16{a, b}[:m.Type.Words()]
		v, fault := m.ValueOfWords(words)
		checkValue(t, m, v, fault)
		Guesses(m, []uint16{a, b})
	})
}

// FuzzText: any text gives a value that can be, or a printable reason.
func FuzzText(f *testing.F) {
	for _, s := range []string{"1.5", "1,5", "null", "", "1e999", "nan", "0x1p-2", "\xff", "on", "12 °C", "\n!x,\""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, m := range []Mapping{{Unit: degC}, {Unit: barg}, {}} {
			v, fault := m.ValueOfText(s)
			checkValue(t, m, v, fault)
			for _, r := range fault.Reason() {
				if r < ' ' {
					t.Fatalf("reason %q would break a line", fault.Reason())
				}
			}
		}
	})
}

func checkValue(t *testing.T, m Mapping, v float64, fault Fault) {
	t.Helper()
	switch {
	case fault.Failed():
		if !math.IsNaN(v) {
			t.Fatalf("%q and yet a value %v", fault.Reason(), v)
		}
	case math.IsNaN(v) || math.IsInf(v, 0):
		t.Fatalf("%+v gives %v", m, v)
	case m.Unit.Quantity == units.NoQuantity && v != 0 && v != 1:
		t.Fatalf("a switch is %v", v)
	case m.Unit.Quantity == units.Temperature && v < -273.15:
		t.Fatalf("below absolute zero: %v", v)
	case (m.Unit == barg || m.Unit == bara) && v <= 0:
		t.Fatalf("no such pressure: %v", v)
	}
}

func TestTrap59WordsThatMayMeanNoValue(t *testing.T) {
	bar, err := units.ParseUnit("barg")
	if err != nil {
		t.Fatal(err)
	}
	scaled := Mapping{Type: Int16, Scale: 0.01, Unit: bar}
	with := func(change func(*Mapping)) Mapping {
		m := scaled
		change(&m)
		return m
	}
	for name, c := range map[string]struct {
		mapping Mapping
		words   []uint16
		want    bool
	}{
		"all ones":             {scaled, []uint16{0xFFFF}, true},
		"largest":              {scaled, []uint16{0x7FFF}, true},
		"smallest":             {scaled, []uint16{0x8000}, true},
		"beside them":          {scaled, []uint16{0xFFFE}, false},
		"zero":                 {scaled, []uint16{0}, false},
		"unsigned":             {with(func(m *Mapping) { m.Type = Uint16 }), []uint16{0xFFFF}, true},
		"current loop":         {with(func(m *Mapping) { m.Signal = Current }), []uint16{0x7FFF}, true},
		"a sentinel is listed": {with(func(m *Mapping) { m.Sentinels = []float64{-32768} }), []uint16{0xFFFF}, false},
		"a status":             {with(func(m *Mapping) { m.Unit = units.Unit{} }), []uint16{0xFFFF}, false},
		"two words":            {with(func(m *Mapping) { m.Type, m.Order = Int32, CDAB }), []uint16{0x0000, 0x8000}, true},
		"two words, other":     {with(func(m *Mapping) { m.Type, m.Order = Int32, ABCD }), []uint16{0x0000, 0x8000}, false},
		"float":                {with(func(m *Mapping) { m.Type, m.Order = Float32, ABCD }), []uint16{0xFFFF, 0xFFFF}, false},
		"no answer":            {scaled, nil, false},
	} {
		if got := c.mapping.MayBeSentinel(c.words); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}
