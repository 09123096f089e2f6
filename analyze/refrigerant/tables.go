package refrigerant

import (
	_ "embed"
	"math"
	"sync"

	"dewgap/analyze/refrigerant/internal/tables"
	"dewgap/analyze/units"
)

//go:generate go test . -run TestEmbeddedTablesAreWhatTheGeneratorMakes -generate

//go:embed tables.bin
var embedded []byte

// library is the directory of the embedded tables; each fluid is built when
// it is first asked for.
type library struct {
	fluids []func() *Fluid
	byName map[string]int // folded spelling → index
}

var embeddedLibrary = sync.OnceValue(func() *library {
	directory, columns, err := tables.Directory(embedded)
	if err != nil {
		panic(err) // the program itself is damaged
	}
	l := &library{byName: map[string]int{}}
	for i := range directory {
		l.fluids = append(l.fluids, sync.OnceValue(func() *Fluid {
			t := tables.Load(directory, columns, i)
			return newFluid(&t)
		}))
		for _, spelling := range spellings(directory[i].Name) {
			l.byName[spelling] = i
		}
	}
	return l
})

func newFluid(t *tables.Table) *Fluid {
	celsius := make([]float64, t.Rows)
	for i := range celsius {
		celsius[i] = t.First + float64(i)
	}
	f := &Fluid{
		Name: t.Name, Kind: Kind(t.Kind), Composition: t.Composition, Source: t.Source, Remark: t.Remark,
		CommonName: facts[t.Name].common, Safety: facts[t.Name].safety,
		uncertainty: units.Kelvin(t.Uncertainty),
		dew:         newCurve(celsius, t.Dew),
	}
	f.bubble = f.dew
	if f.Kind != Pure {
		f.bubble = newCurve(celsius, t.Bubble)
	}
	table := *t
	f.properties = sync.OnceValue(func() *properties { return newProperties(f.dew, &table) })
	return f
}

// properties are what is known beside the saturation line itself.
type properties struct {
	saturated saturated
	vapour    *vapour
}

func newProperties(dew *curve, t *tables.Table) *properties {
	return &properties{
		saturated: saturated{
			liquidEnthalpy: newSeries(t.LiquidEnthalpy), vapourEnthalpy: newSeries(t.VapourEnthalpy),
			liquidDensity: newSeries(t.LiquidDensity), lnVapourDensity: newSeries(mapped(t.VapourDensity, math.Log)),
			vapourEntropy: newSeries(t.VapourEntropy), vapourCp: newSeries(t.VapourCp),
		},
		vapour: newVapour(dew, t),
	}
}

func mapped(values []float64, by func(float64) float64) []float64 {
	out := make([]float64, len(values))
	for i, x := range values {
		out[i] = by(x)
	}
	return out
}

func newVapour(dew *curve, t *tables.Table) *vapour {
	columns := len(t.Superheats)
	volume := make([]float64, len(t.Density))
	kelvin := make([]float64, len(t.Density))
	for i := range volume {
		at := t.FirstDew + t.DewStep*float64(i/columns)
		kelvin[i] = at + t.Superheats[i%columns] + zeroCelsius
		volume[i] = dew.pressure(at) / (t.Density[i] * kelvin[i])
	}
	for _, grid := range [][]float64{t.Enthalpy, t.Entropy, t.Cp, volume} {
		fillCorner(grid, columns)
	}
	// At constant pressure dh = cp dT and ds = cp/T dT: exact slopes.
	entropySlope := make([]float64, len(t.Cp))
	for i, cp := range t.Cp {
		entropySlope[i] = cp / kelvin[i]
	}
	v := &vapour{firstDew: t.FirstDew, dewStep: t.DewStep, critical: t.Critical, superheats: t.Superheats}
	for i := range t.DewRows {
		v.rows = append(v.rows, v.rowCoordinate(t.FirstDew+t.DewStep*float64(i)))
	}
	v.enthalpy = v.newSurface(t.Enthalpy, t.Cp)
	v.entropy = v.newSurface(t.Entropy, entropySlope)
	v.volume = v.newSurface(volume, nil)
	v.inverseCp = v.newSurface(mapped(t.Cp, func(cp float64) float64 { return 1 / cp }), nil)
	return v
}

// fillCorner gives nodes beyond the hottest temperature of the data, which
// only hold up the edge of the last pieces, the value of the cubic through the
// four rows before. Nobody is given a state there.
func fillCorner(grid []float64, columns int) {
	for i := 4 * columns; i < len(grid); i++ {
		if math.IsNaN(grid[i]) {
			grid[i] = 4*grid[i-columns] - 6*grid[i-2*columns] + 4*grid[i-3*columns] - grid[i-4*columns]
		}
	}
}
