package refrigerant

import (
	"fmt"
	"math"
	"testing"

	"dewgap/analyze/refrigerant/internal/tables"
	"dewgap/analyze/units"

	"pgregory.net/rapid"
)

// coarse returns the table with every stride-th row of superheated vapour and
// only some of the columns.
func coarse(t *tables.Table, stride int, columns []int) tables.Table {
	c := *t
	c.DewStep, c.DewRows, c.Superheats = t.DewStep*float64(stride), (t.DewRows+stride-1)/stride, nil
	for _, k := range columns {
		c.Superheats = append(c.Superheats, t.Superheats[k])
	}
	for _, g := range []struct{ to, from *[]float64 }{{&c.Enthalpy, &t.Enthalpy}, {&c.Entropy, &t.Entropy}, {&c.Density, &t.Density}, {&c.Cp, &t.Cp}} {
		*g.to = nil
		for r := 0; r < t.DewRows; r += stride {
			for _, k := range columns {
				*g.to = append(*g.to, (*g.from)[r*len(t.Superheats)+k])
			}
		}
	}
	return c
}

// TestVapourOffTheGrid leaves out every other row (dew temperature), then every
// other column (superheat), of the vapour tables and finds them again. The
// error of the whole tables between their nodes is smaller: a cubic's goes with
// the fourth power of the step. go test -v -run OffTheGrid shows the figures.
// The last 17 K below the critical point are left out: less certain in the
// reference itself (testdata/about.md), and too coarse a grid for this test.
func TestVapourOffTheGrid(t *testing.T) {
	directory, data, err := tables.Directory(embedded)
	if err != nil {
		t.Fatal(err)
	}
	names := [4]string{"enthalpy", "entropy", "density", "cp"}
	for _, c := range []struct {
		what    string
		stride  int
		columns []int
		limits  [4]float64 // of the relative error
	}{
		{"every other row left out (10 K)", 2, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, [4]float64{3e-5, 4e-5, 2e-4, 0.0015}},
		{"every other column left out", 1, []int{0, 2, 4, 6, 8, 10, 11}, [4]float64{1.5e-4, 1.5e-4, 1.2e-3, 0.005}},
	} {
		var worst [4]float64
		var where [4]string
		for i := range directory {
			full := tables.Load(directory, data, i)
			if full.DewRows < 10 {
				continue
			}
			part := coarse(&full, c.stride, c.columns)
			f := newFluid(&full)
			f.properties = func(v *vapour) func() *properties {
				return func() *properties { return &properties{vapour: v} }
			}(newVapour(f.dew, &part))
			for r := range full.DewRows {
				dew := full.FirstDew + full.DewStep*float64(r)
				if dew > full.Critical-17 || dew > part.FirstDew+part.DewStep*float64(part.DewRows-1) {
					break
				}
				for k, over := range full.Superheats {
					cell := r*len(full.Superheats) + k
					if math.IsNaN(full.Enthalpy[cell]) {
						continue
					}
					got, err := f.Vapour(units.Pascal(f.dew.pressure(dew)), units.Celsius(dew+over))
					if err != nil {
						t.Fatalf("%s, dew %v, %v K: %v", full.Name, dew, over, err)
					}
					for q, pair := range [4][2]float64{{got.Enthalpy, full.Enthalpy[cell]}, {got.Entropy, full.Entropy[cell]}, {got.Density, full.Density[cell]}, {got.Cp, full.Cp[cell]}} {
						if e := math.Abs(pair[0]/pair[1] - 1); e > worst[q] {
							worst[q], where[q] = e, fmt.Sprintf("%s, dew %v °C, %v K", full.Name, dew, over)
						}
					}
				}
			}
		}
		for q, e := range worst {
			t.Logf("%s: %s off by %.2g at most (%s)", c.what, names[q], e, where[q])
			if e > c.limits[q] {
				t.Errorf("%s: %s off by %.2g, more than %v (%s)", c.what, names[q], e, c.limits[q], where[q])
			}
		}
	}
}

// TestVapourObeysTheLaws holds the four tables to each other anywhere between
// their nodes: at constant pressure dh = cp dT and ds = cp dT/T, and always
// dh = T ds + v dp (Gibbs; any textbook of thermodynamics). A kink or a bump of
// one surface between nodes breaks them.
func TestVapourObeysTheLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFluid().Draw(t, "fluid")
		v := f.properties().vapour
		top := math.Min(v.firstDew+v.dewStep*float64(len(v.rows)-1), v.critical-20)
		dew := rapid.Float64Range(v.firstDew+0.5, top-0.5).Draw(t, "dew")
		over := rapid.Float64Range(1, 70).Draw(t, "superheat")
		if dew+over > 140 {
			t.Skip()
		}
		p, celsius := f.dew.pressure(dew), dew+over
		at := func(p, celsius float64) State {
			s, err := f.Vapour(units.Pascal(p), units.Celsius(celsius))
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		const dT, share = 0.2, 0.002
		mid, cold, warm := at(p, celsius), at(p, celsius-dT), at(p, celsius+dT)
		if e := (warm.Enthalpy-cold.Enthalpy)/(2*dT)/mid.Cp - 1; math.Abs(e) > 0.003 {
			t.Errorf("%s, dew %v °C, %v K: dh/dT is off cp by %.2g", f, dew, over, e)
		}
		if e := (warm.Entropy-cold.Entropy)/(2*dT)*(celsius+zeroCelsius)/mid.Cp - 1; math.Abs(e) > 0.003 {
			t.Errorf("%s, dew %v °C, %v K: T ds/dT is off cp by %.2g", f, dew, over, e)
		}
		low, high := at(p*(1-share), celsius), at(p*(1+share), celsius)
		work := high.Enthalpy - low.Enthalpy - (celsius+zeroCelsius)*(high.Entropy-low.Entropy)
		if e := work/(2*share*p/mid.Density) - 1; math.Abs(e) > 0.003 {
			t.Errorf("%s, dew %v °C, %v K: dh − T ds is off v dp by %.2g", f, dew, over, e)
		}
	})
}
