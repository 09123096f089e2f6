package modbus

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"dewgap/collector/register"
)

func TestTrap11HolesSplitAndJoin(t *testing.T) {
	onRig(t, Settings{Gap: 20, Points: numbered(hundredths(1, Input, 100), hundredths(1, Input, 101), hundredths(1, Input, 110), hundredths(1, Input, 112))}, func(r *rig) {
		r.plant.setHoles(105)
		good, faults := r.pass(time.Minute)
		if good < 44 || len(faults) != 0 {
			t.Errorf("with a hole in the gap: %d good, %v", good, faults)
		}
		before := r.server.Requests()
		r.pass(time.Minute)
		if n := r.server.Requests() - before; n < 22 || n > 26 {
			t.Errorf("%d requests a minute for a read in two halves, want 24: the split is not remembered", n)
		}
		r.plant.setHoles()
		r.pass(3 * time.Hour)
		before = r.server.Requests()
		good, _ = r.pass(time.Minute)
		if n := r.server.Requests() - before; n < 11 || n > 13 || good < 44 {
			t.Errorf("%d requests a minute after the hole closed, want 12: not joined again", n)
		}
		// A configured register that does not exist costs its neighbours nothing.
		r.plant.setHoles(110)
		r.pass(10 * time.Minute)
		good, faults = r.pass(time.Minute)
		if good < 33 || has(faults, "exception-2") == 0 || has(faults, "resting") == 0 {
			t.Errorf("%d good, %v", good, faults)
		}
	})
}

// TestTrap11Limits: no read is longer than the protocol takes (MODBUS
// Application Protocol V1.1b3, 6.1 to 6.4: 2000 bits, 125 registers), and none
// touches a forbidden address, not even in a gap.
func TestTrap11Limits(t *testing.T) {
	for name, c := range map[string]struct {
		points    []Point
		gap       int
		forbidden []Span
		want      string
	}{
		"125 registers": {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 124)}, 125, nil, "0+125"},
		"126 registers": {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 125)}, 125, nil, "0+1 125+1"},
		"a double register at the end": {[]Point{hundredths(1, Input, 0),
			{Unit: 1, Table: Input, Address: 124, Bit: -1, Mapping: register.Mapping{Type: register.Float32, Order: register.ABCD, Unit: degC}}}, 125, nil, "0+1 124+2"},
		"2000 bits":              {[]Point{bit(1, Coil, 0), bit(1, Coil, 1999)}, 125, nil, "0+2000"},
		"2001 bits":              {[]Point{bit(1, Coil, 0), bit(1, Coil, 2000)}, 125, nil, "0+1 2000+1"},
		"gap":                    {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 9)}, 8, nil, "0+10"},
		"gap too wide":           {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 10)}, 8, nil, "0+1 10+1"},
		"forbidden in the gap":   {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 9)}, 8, []Span{{1, Input, 4, 5}}, "0+1 9+1"},
		"forbidden elsewhere":    {[]Point{hundredths(1, Input, 0), hundredths(1, Input, 9)}, 8, []Span{{2, Input, 4, 5}, {1, Holding, 4, 5}, {1, Input, 10, 11}}, "0+10"},
		"the last address":       {[]Point{hundredths(1, Input, 65530), hundredths(1, Input, 65535)}, 8, nil, "65530+6"},
		"the same address twice": {[]Point{hundredths(1, Input, 7), hundredths(1, Input, 7)}, 8, nil, "7+1"},
	} {
		var states []*state
		for _, p := range numbered(c.points...) {
			states = append(states, &state{Point: p})
		}
		var got []string
		for _, b := range plan(states, c.gap, c.forbidden) {
			got = append(got, fmt.Sprintf("%d+%d", b.first, b.length))
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s: %s, want %s", name, text, c.want)
		}
	}
}

func bit(unit uint8, table Table, address uint16) Point {
	return Point{Unit: unit, Table: table, Address: address, Bit: -1, Mapping: register.Mapping{Type: register.Bit}}
}
