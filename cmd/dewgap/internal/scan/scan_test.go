package scan

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"time"

	"dewgap/analyze/units"
	"dewgap/collector/register"
)

var start = time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)

// device sends values at addresses in a form, over n rows that drift a little.
func rowsOf(n int, write func(row int, words map[uint16]uint16)) (rows []Row) {
	for i := range n {
		r := Row{At: start.Add(time.Duration(i) * 5 * time.Second), Words: map[uint16]uint16{}}
		write(i, r.Words)
		rows = append(rows, r)
	}
	return rows
}

func tenths(v float64) uint16 { return uint16(int16(math.Round(v * 10))) }

// float writes an IEEE 754 single in a byte order, as Modbus devices do.
func float(words map[uint16]uint16, a uint16, v float64, o register.Order) {
	var b [4]byte
	binary.BigEndian.PutUint32(b[:], math.Float32bits(float32(v)))
	switch o {
	case register.CDAB:
		b = [4]byte{b[2], b[3], b[0], b[1]}
	case register.BADC:
		b = [4]byte{b[1], b[0], b[3], b[2]}
	case register.DCBA:
		b = [4]byte{b[3], b[2], b[1], b[0]}
	}
	words[a], words[a+1] = binary.BigEndian.Uint16(b[:]), binary.BigEndian.Uint16(b[2:])
}

// TestRegisters: devices of the usual kinds, each read rightly in the first place.
func TestRegisters(t *testing.T) {
	type want struct {
		address uint16
		kind    Kind
		typ     register.Type
		order   register.Order
		value   float64
	}
	temperatures := []float64{-21.6, 4.1, 8.3, 54.1, 34.2}
	for name, c := range map[string]struct {
		write func(int, map[uint16]uint16)
		want  []want
	}{
		"tenths of a degree, thousandths of a bar": {
			func(i int, w map[uint16]uint16) {
				w[0], w[1] = uint16(2370+10*i), uint16(7420+5*i)
				for n, v := range temperatures {
					w[uint16(2+n)] = tenths(v + 0.1*float64(i%2))
				}
			},
			[]want{{0, Pressure, register.Int16, 0, 2.37}, {1, Pressure, register.Int16, 0, 7.42}, {2, Temperature, register.Int16, 0, -21.6}, {5, Temperature, register.Int16, 0, 54.1}},
		},
		"floats, low word first": {
			func(i int, w map[uint16]uint16) {
				for n, v := range temperatures {
					float(w, uint16(10+2*n), v+0.03*float64(i%3), register.CDAB)
				}
			},
			[]want{{10, Temperature, register.Float32, register.CDAB, -21.6}, {12, Temperature, register.Float32, register.CDAB, 4.1}, {16, Temperature, register.Float32, register.CDAB, 54.1}},
		},
		"floats, high word first": {
			func(i int, w map[uint16]uint16) {
				for n, v := range temperatures {
					float(w, uint16(2*n), v+0.03*float64(i%3), register.ABCD)
				}
			},
			[]want{{0, Temperature, register.Float32, register.ABCD, -21.6}, {8, Temperature, register.Float32, register.ABCD, 34.2}},
		},
		"a switch that turns": {
			func(i int, w map[uint16]uint16) { w[3] = uint16(i / 4 % 2) },
			[]want{{3, Switch, register.Uint16, 0, 1}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			found := Registers(Place{Table: "input", Unit: 1}, rowsOf(8, c.write), units.SI)
			for _, w := range c.want {
				ok := false
				for _, f := range found {
					if f.Address != w.address {
						continue
					}
					r := f.Readings[0]
					first := r.Series[0]
					if w.kind == Switch {
						first = r.Last()
					}
					ok = r.Kind == w.kind && r.Type == w.typ && r.Order == w.order && math.Abs(first-w.value) < 0.05
					if len(f.Readings) > maxReadings {
						t.Errorf("%d readings", len(f.Readings))
					}
				}
				if !ok {
					t.Errorf("%+v is not found first:\n%s", w, Table(found))
				}
			}
		})
	}
}

// TestSentinelsAreNoValues: a sensor that fails now and then, and one that always
// does.
func TestSentinelsAreNoValues(t *testing.T) {
	found := Registers(Place{Table: "input"}, rowsOf(6, func(i int, w map[uint16]uint16) {
		w[0] = 83
		if i == 3 {
			w[0] = 0x7FFF
		}
		w[5] = 0x8000
	}), units.SI)
	if len(found) != 1 || found[0].Address != 0 || found[0].Readings[0].Kind != Temperature || found[0].Readings[0].Last() != 8.3 {
		t.Error(Table(found))
	}
}

// TestMovement: when a machine starts, suction pressure falls, discharge pressure
// and discharge line rise, the suction line falls; what stands still has no role.
func TestMovement(t *testing.T) {
	rows := rowsOf(60, func(i int, w map[uint16]uint16) {
		on := i/20%2 == 1
		suction, discharge, line, hot := 4200, 7500, 12.0, 50.0
		if on {
			suction, discharge, line, hot = 2400, 9800, 5.0, 70.0
		}
		w[0], w[1] = uint16(suction+i%3), uint16(discharge+i%2)
		w[2], w[3] = tenths(line), tenths(hot)
		w[4], w[5], w[6] = tenths(-20.1), tenths(3.3), tenths(4.4)
		if on {
			w[9] = 1
		} else {
			w[9] = 0
		}
	})
	found := Registers(Place{Table: "input"}, rows, units.SI)
	times := make([]time.Time, len(rows))
	for i := range rows {
		times[i] = rows[i].At
	}
	Movement(found, times)
	got := map[uint16]Role{}
	for _, f := range found {
		got[f.Address] = f.Role
	}
	for address, want := range map[uint16]Role{0: SuctionPressure, 1: DischargePressure, 2: SuctionTemperature, 3: DischargeTemperature, 4: NoRole, 5: NoRole, 9: Running} {
		if got[address] != want {
			t.Errorf("address %d is %q, want %q\n%s", address, got[address], want, Table(found))
		}
	}
	site := SiteFile(Source{Name: "device", Address: "192.0.2.10:502"}, found, units.SI)
	for _, want := range []string{"suction_pressure = { modbus = \"device\", unit_id = 0, input = 0,", "  running = {", "gauge or absolute?", `refrigerant = "FILL IN"`} {
		if !strings.Contains(site, want) {
			t.Errorf("no %q in\n%s", want, site)
		}
	}
}

// TestNumbers: the name of a topic decides what a number is.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		topic  string
		value  float64
		onOff  bool
		system units.System
		kind   Kind
		unit   string
	}{
		{"lt/suction_pressure", 1.6, false, units.SI, Pressure, "barg"},
		{"lt/line_temp", 1.6, false, units.SI, Temperature, "degC"},
		{"lt/line_temp", 21.5, false, units.US, Temperature, "degF"},
		{"lt/x", -21.5, false, units.SI, Temperature, "degC"},
		{"lt/run", 1, true, units.SI, Switch, ""},
		{"lt/run", 0, false, units.SI, Switch, ""},
	} {
		f, ok := Numbers(Place{Topic: c.topic}, []float64{c.value, c.value}, c.onOff, c.system)
		if !ok || f.Readings[0].Kind != c.kind || f.Readings[0].Unit.Name != c.unit {
			t.Errorf("%+v: %+v", c, f.Readings)
		}
	}
	if f, ok := Numbers(Place{Topic: "meter/energy"}, []float64{812345}, false, units.SI); ok {
		t.Errorf("an energy count is %+v", f.Readings)
	}
}

// FuzzRegisters: whatever words come, no reading lies outside what a store's
// refrigeration shows, and the table and the site file hold no broken number.
func FuzzRegisters(f *testing.F) {
	f.Add([]byte{0, 83, 0x1d, 0x24, 0xff, 0xc4, 0, 1}, uint8(2))
	f.Add([]byte{0x7f, 0xff, 0xff, 0xff, 0x80, 0, 0x7f, 0xc0}, uint8(1))
	f.Fuzz(func(t *testing.T, data []byte, n uint8) {
		width := max(1, int(n%8))
		var rows []Row
		for i := 0; len(data) >= 2*width && i < 16; i++ {
			r := Row{At: start.Add(time.Duration(i) * time.Second), Words: map[uint16]uint16{}}
			for a := range width {
				r.Words[uint16(65535-width+1+a)] = binary.BigEndian.Uint16(data[2*a:])
			}
			data = data[2*width:]
			rows = append(rows, r)
		}
		found := Registers(Place{Table: "holding", Unit: 1}, rows, units.SI)
		times := make([]time.Time, len(rows))
		for i := range rows {
			times[i] = rows[i].At
		}
		Movement(found, times)
		for _, one := range found {
			for _, r := range one.Readings {
				if v := r.Last(); r.Kind != Switch && (math.IsNaN(v) || math.Abs(v) > 5000) {
					t.Fatalf("%+v", r)
				}
			}
		}
		if text := Table(found) + SiteFile(Source{Name: "device", Address: "h:502"}, found, units.SI); strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Fatal(text)
		}
	})
}
