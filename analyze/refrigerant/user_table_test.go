package refrigerant

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"dewgap/analyze/units"
)

// tableOf writes a fluid as a maker would print it: °C in steps, bar gauge
// with so many decimals.
func tableOf(f *Fluid, low, high, step float64, decimals int) string {
	var out strings.Builder
	fmt.Fprintln(&out, "temperature:degC,dew:barg,bubble:barg")
	for x := low; x <= high; x += step {
		gauge := func(c *curve) float64 { return (c.pressure(x) - 101325) / 1e5 }
		fmt.Fprintf(&out, "%v,%.*f,%.*f\n", x, decimals, gauge(f.dew), decimals, gauge(f.bubble))
	}
	return out.String()
}

// TestUserTableKnowsItsOwnError: what a table says of its own interpolation
// holds against the whole reference table, and is no gross exaggeration.
func TestUserTableKnowsItsOwnError(t *testing.T) {
	for _, f := range All() {
		low, top := f.Range()
		high := math.Min(40, float64(top)-15)
		for _, c := range []struct {
			step     float64
			decimals int
		}{{1, 5}, {5, 5}, {10, 5}, {5, 3}, {5, 2}} {
			low := math.Max(-50, math.Ceil(float64(low)/10)*10)
			if high-low < 70 {
				continue
			}
			user, err := FromTable("blend", strings.NewReader(tableOf(f, low, high, c.step, c.decimals)), units.StandardAtmosphere)
			if err != nil {
				t.Errorf("%s, %v K, %d decimals: %v", f, c.step, c.decimals, err)
				continue
			}
			// R1233zd(E) and others in vacuum: 0.01 bar is 1 K there. The
			// estimate is one number for the whole table; judge above 0.5 bar.
			worst := 0.0
			for x := low + 0.1; x < user.dew.celsius[len(user.dew.celsius)-1]; x += 0.1 {
				if p := f.dew.pressure(x); p > 50e3 && user.dew.covers(p) {
					worst = math.Max(worst, math.Abs(user.dew.temperature(p)-x))
				}
			}
			if said := float64(user.Uncertainty()); worst > said*1.2+1e-3 {
				t.Errorf("%s, %v K, %d decimals: says %.4f K, is off by %.4f K", f, c.step, c.decimals, said, worst)
			} else if c.decimals == 5 && said > 0.1 {
				t.Errorf("%s, %v K: says %.4f K, is off by %.4f K only", f, c.step, said, worst)
			}
		}
	}
}

func TestUserTableInAnyUnit(t *testing.T) {
	f := lookup(t, "R448A")
	for _, unit := range []string{"Paa", "kPag", "bara", "barg", "psia", "psig"} {
		pressure, err := units.ParseUnit(unit)
		if err != nil {
			t.Fatal(err)
		}
		var table strings.Builder
		fmt.Fprintf(&table, "# printed at sea level\nbubble:%s, temperature:degF, dew:%s\n", unit, unit)
		for x := -40.0; x <= 100; x += 10 {
			c := (x - 32) / 1.8
			fmt.Fprintf(&table, "%.8g,%v,%.8g\n", pressure.FromSI(f.bubble.pressure(c), units.StandardAtmosphere), x, pressure.FromSI(f.dew.pressure(c), units.StandardAtmosphere))
		}
		user, err := FromTable("store-blend", strings.NewReader(table.String()), units.StandardAtmosphere)
		if err != nil {
			t.Errorf("%s: %v", unit, err)
			continue
		}
		dew, err := user.Dew(281325)
		want, _ := f.Dew(281325)
		within(t, unit+" dew", float64(dew), float64(want), 0.002, err)
		bubble, err := user.Bubble(281325)
		want, _ = f.Bubble(281325)
		within(t, unit+" bubble", float64(bubble), float64(want), 0.002, err)
		if _, err := user.Vapour(281325, -6); !errors.Is(err, ErrNoVapour) {
			t.Errorf("vapour of a user's table: %v", err)
		}
	}
}

func TestFaultsOfAUserTable(t *testing.T) {
	good := strings.Split(strings.TrimSpace(tableOf(lookup(t, "R407C"), -40, 30, 10, 4)), "\n")
	with := func(line int, text string) string {
		lines := append([]string(nil), good...)
		lines[line-1] = text
		return strings.Join(lines, "\n")
	}
	without := func(from, to int) string {
		return strings.Join(append(append([]string(nil), good[:from-1]...), good[to:]...), "\n")
	}
	if _, err := FromTable("x", strings.NewReader(strings.Join(good, "\n")), units.StandardAtmosphere); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, table string
		row         int
		says        string
	}{
		{"empty", "", 1, "empty"},
		{"only a header", good[0], 1, "0 rows"},
		{"unit missing", with(1, "temperature,dew:barg,bubble:barg"), 1, "no unit"},
		{"neither gauge nor absolute", with(1, "temperature:degC,dew:bar,bubble:bar"), 1, "absolute or gauge"},
		{"temperature for pressure", with(1, "temperature:degC,dew:K,bubble:barg"), 1, "absolute or gauge"},
		{"pressure for temperature", with(1, "temperature:barg,dew:barg,bubble:barg"), 1, "degC"},
		{"column missing", with(1, "temperature:degC,dew:barg,liquid:barg"), 1, "no column bubble"},
		{"column twice", with(1, "temperature:degC,dew:barg,dew:barg"), 1, "twice"},
		{"not a number", with(4, "-20,n/a,3"), 4, "not a number"},
		{"cell missing", with(4, "-20,1.1"), 4, "3 cells"},
		{"bubble below dew", with(1, "temperature:degC,bubble:barg,dew:barg"), 2, "exchanged"},
		{"pressure falls", with(5, "-10,0.1,0.2"), 5, "column dew: 0.1 barg does not rise from line 4's "},
		{"temperature falls", with(5, "-30,2.0,2.9"), 5, "does not rise"},
		{"too steep", with(5, "-10,40,50"), 5, "each kelvin"},
		{"slip of the pen", with(5, "-10,2.55,3.0"), 5, "slip of the pen"},
		{"gap", without(5, 5), 5, "between rows"},
		{"too short", without(6, 9), 1, "want 6 or more"},
		{"vacuum", with(2, "-40,-1.2,-1.1"), 2, "absolute"},
	} {
		_, err := FromTable("x", strings.NewReader(c.table), units.StandardAtmosphere)
		var fault *TableError
		if !errors.As(err, &fault) || !strings.Contains(err.Error(), fmt.Sprintf("line %d", c.row)) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error %v; want line %d and %q", c.name, err, c.row, c.says)
		}
	}
	// What is written is what is quoted: no unit that the table does not use.
	if _, err := FromTable("x", strings.NewReader(with(5, "-10,0.1,0.2")), units.StandardAtmosphere); strings.Contains(err.Error(), "Pa") || strings.Contains(err.Error(), "e+0") {
		t.Errorf("%v", err)
	}
	// Two faults are both reported.
	both := strings.Replace(with(4, "n/a,1,3"), good[5], "0,,", 1)
	_, err := FromTable("x", strings.NewReader(both), units.StandardAtmosphere)
	if err == nil || !strings.Contains(err.Error(), "line 4, column temperature") || !strings.Contains(err.Error(), "line 6, column dew") {
		t.Errorf("error %v; want lines 4 and 6", err)
	}
}

// FuzzFromTable: any bytes give a monotone curve or an error.
func FuzzFromTable(f *testing.F) {
	f.Add([]byte(tableOf(lookup(f, "R407C"), -40, 30, 10, 4)))
	f.Add([]byte("temperature:degC,dew:barg,bubble:barg\n1,2,3\n"))
	f.Add([]byte("\ufefftemperature:K,dew:Paa,bubble:Paa\n\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		fluid, err := FromTable("x", strings.NewReader(string(data)), units.StandardAtmosphere)
		if err != nil {
			return
		}
		if u := float64(fluid.Uncertainty()); !(u >= 0) || math.IsInf(u, 0) {
			t.Errorf("uncertainty %v", u)
		}
		low, high := fluid.PressureRange()
		before := math.Inf(-1)
		for i := range 101 {
			p := units.Pascal(math.Min(float64(high), float64(low)*math.Pow(float64(high/low), float64(i)/100)))
			dew, err := fluid.Dew(p)
			if err != nil || !(float64(dew) > before) {
				t.Fatalf("dew %v at %v Pa after %v, %v", dew, p, before, err)
			}
			before = float64(dew)
		}
	})
}
