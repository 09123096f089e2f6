package refrigerant

import (
	"math"

	"dewgap/analyze/units"
)

// State is a state of vapour. Enthalpy and entropy count from the liquid on
// the bubble line at 0 °C: 200 kJ/kg and 1 kJ/(kg K), the reference of the IIR.
type State struct {
	Pressure    units.Pascal
	Temperature units.Celsius
	Superheat   units.Kelvin
	Enthalpy    float64 // J/kg
	Entropy     float64 // J/(kg K)
	Density     float64 // kg/m³
	Cp          float64 // J/(kg K), isobaric
}

// Liquid is liquid on the bubble line.
type Liquid struct {
	Pressure    units.Pascal
	Temperature units.Celsius
	Enthalpy    float64 // J/kg
	Density     float64 // kg/m³
}

// saturated holds the properties along the saturation line, by temperature.
type saturated struct {
	liquidEnthalpy, vapourEnthalpy series
	liquidDensity, lnVapourDensity series
	vapourEntropy, vapourCp        series
}

// SaturatedVapour returns the vapour on the dew line at t.
func (f *Fluid) SaturatedVapour(t units.Celsius) (State, error) {
	p, err := f.DewPressure(t)
	if err != nil {
		return State{}, err
	}
	if f.properties == nil {
		return State{}, ErrNoVapour
	}
	x, s := float64(t)-f.dew.celsius[0], &f.properties().saturated
	return State{p, t, 0, s.vapourEnthalpy.at(x), s.vapourEntropy.at(x), math.Exp(s.lnVapourDensity.at(x)), s.vapourCp.at(x)}, nil
}

// SaturatedLiquid returns the liquid on the bubble line at t.
func (f *Fluid) SaturatedLiquid(t units.Celsius) (Liquid, error) {
	p, err := f.BubblePressure(t)
	if err != nil {
		return Liquid{}, err
	}
	if f.properties == nil {
		return Liquid{}, ErrNoVapour
	}
	x, s := float64(t)-f.bubble.celsius[0], &f.properties().saturated
	return Liquid{p, t, s.liquidEnthalpy.at(x), s.liquidDensity.at(x)}, nil
}

// LatentHeat returns the enthalpy from the bubble to the dew line at p, in J/kg.
func (f *Fluid) LatentHeat(p units.Pascal) (float64, error) {
	dew, err := f.Dew(p)
	if err != nil {
		return math.NaN(), err
	}
	bubble, err := f.Bubble(p)
	if err != nil {
		return math.NaN(), err
	}
	if f.properties == nil {
		return math.NaN(), ErrNoVapour
	}
	s, first := &f.properties().saturated, f.dew.celsius[0]
	return s.vapourEnthalpy.at(float64(dew)-first) - s.liquidEnthalpy.at(float64(bubble)-first), nil
}

// Vapour returns the vapour at p, absolute, and t: from the dew line to 100 K
// above it, at most 150 °C, for dew temperatures of -50 to 60 °C or as far as
// the fluid's table goes.
func (f *Fluid) Vapour(p units.Pascal, t units.Celsius) (State, error) {
	at, err := f.locate(p)
	if err != nil {
		return State{}, err
	}
	superheat := t.Above(at.dew)
	if !(float64(superheat) >= -rounding && float64(superheat) <= at.most+rounding) {
		return State{}, &RangeError{f.Name, "superheat", float64(superheat), 0, at.most, "K"}
	}
	return f.state(at, t), nil
}

// TemperatureAtEntropy returns the temperature of the vapour with that entropy
// at p: where an isentropic compression ends. An entropy below that of the dew
// line, which is wet, is a RangeError.
func (f *Fluid) TemperatureAtEntropy(p units.Pascal, entropy float64) (units.Celsius, error) {
	at, err := f.locate(p)
	if err != nil {
		return units.Celsius(math.NaN()), err
	}
	return f.invert(at, &f.properties().vapour.entropy, "entropy", "J/(kg K)", entropy)
}

// TemperatureAtEnthalpy is the same for enthalpy.
func (f *Fluid) TemperatureAtEnthalpy(p units.Pascal, enthalpy float64) (units.Celsius, error) {
	at, err := f.locate(p)
	if err != nil {
		return units.Celsius(math.NaN()), err
	}
	return f.invert(at, &f.properties().vapour.enthalpy, "enthalpy", "J/kg", enthalpy)
}

// rounding is what a temperature may lie outside a grid, K.
const rounding = 1e-6

// hottest is where the reference data end, °C.
const hottest = 150

// isobar is a pressure's place in the vapour tables.
type isobar struct {
	pressure units.Pascal
	dew      units.Celsius
	row      int
	rowShare float64 // 0 to 1 from row to the next
	most     float64 // highest superheat, K
}

func (f *Fluid) locate(p units.Pascal) (isobar, error) {
	dew, err := f.Dew(p)
	if err != nil {
		return isobar{}, err
	}
	if f.properties == nil {
		return isobar{}, ErrNoVapour
	}
	v := f.properties().vapour
	steps := (float64(dew) - v.firstDew) / v.dewStep
	last := len(v.rows) - 1
	if steps < -rounding || steps > float64(last)+rounding {
		return isobar{}, &RangeError{f.Name, "dew temperature of vapour", float64(dew), v.firstDew, v.firstDew + v.dewStep*float64(last), "°C"}
	}
	row := min(max(0, int(steps)), last-1)
	share := (v.rowCoordinate(float64(dew)) - v.rows[row]) / (v.rows[row+1] - v.rows[row])
	most := math.Min(v.superheats[len(v.superheats)-1], hottest-float64(dew))
	return isobar{p, dew, row, share, most}, nil
}

func (f *Fluid) state(at isobar, t units.Celsius) State {
	superheat := t.Above(at.dew)
	v := f.properties().vapour
	column, share := v.column(math.Max(0, float64(superheat)))
	volume := v.volume.at(at, column, share)
	return State{
		Pressure: at.pressure, Temperature: t, Superheat: superheat,
		Enthalpy: v.enthalpy.at(at, column, share),
		Entropy:  v.entropy.at(at, column, share),
		Density:  float64(at.pressure) / (volume * (float64(t) + zeroCelsius)),
		Cp:       1 / v.inverseCp.at(at, column, share),
	}
}

// invert finds the superheat at which a quantity that rises with it has the
// value wanted.
func (f *Fluid) invert(at isobar, s *surface, quantity, unit string, want float64) (units.Celsius, error) {
	v := f.properties().vapour
	value := func(superheat float64) float64 {
		column, share := v.column(superheat)
		return s.at(at, column, share)
	}
	low, high := 0.0, at.most
	least, most := value(low), value(high)
	slack := 1e-12 * math.Abs(most)
	if !(want >= least-slack && want <= most+slack) {
		return units.Celsius(math.NaN()), &RangeError{f.Name, quantity, want, least, most, unit}
	}
	superheat := high * (want - least) / (most - least)
	for range 60 {
		column, share := v.column(superheat)
		excess := s.at(at, column, share) - want
		if excess < 0 {
			low = superheat
		} else {
			high = superheat
		}
		next := superheat - excess/s.slope(at, column, share)
		if !(next >= low && next <= high) {
			next = (low + high) / 2
		}
		if math.Abs(next-superheat) < 1e-11 {
			break
		}
		superheat = next
	}
	return at.dew.Plus(units.Kelvin(superheat)), nil
}

// vapour holds the superheated vapour on a grid of dew temperature (rows) and
// superheat (columns).
type vapour struct {
	firstDew, dewStep float64   // of the rows
	critical          float64   // °C
	rows              []float64 // rowCoordinate of each row
	superheats        []float64
	enthalpy, entropy surface
	volume            surface // p/(ρ T), which hardly changes
	inverseCp         surface // cp itself grows without limit at the critical point
}

// rowCoordinate is what quantities are smooth functions of along the rows.
// Near the critical point, properties of saturated vapour go with the cube root
// of the distance to it; those of vapour well above the dew line do not, and
// are smooth in it as well.
func (v *vapour) rowCoordinate(dew float64) float64 { return -math.Cbrt(v.critical - dew) }

// column returns the column below a superheat and the share of the way to the
// next.
func (v *vapour) column(superheat float64) (column int, share float64) {
	s := v.superheats
	for column < len(s)-2 && superheat >= s[column+1] {
		column++
	}
	return column, (superheat - s[column]) / (s[column+1] - s[column])
}

// surface is a bicubic Hermite surface over the grid: smooth to the first
// derivative everywhere, and to the second along the rows.
type surface struct {
	columns         int
	widths, heights []float64 // of columns and rows
	nodes           []node
}

// node is the value and its derivatives: by superheat, by row coordinate.
type node struct{ value, bySuperheat, byRow, byBoth float64 }

// newSurface takes values row by row. slopes are those by superheat where they
// are known, or nil.
func (v *vapour) newSurface(values, slopes []float64) surface {
	columns, rows := len(v.superheats), len(v.rows)
	s := surface{columns: columns, widths: steps(v.superheats), heights: steps(v.rows), nodes: make([]node, len(values))}
	if slopes == nil {
		for r := range rows {
			slopes = append(slopes, splineSlopes(v.superheats, values[r*columns:(r+1)*columns])...)
		}
	}
	byRow := func(of []float64, c int) []float64 {
		line := make([]float64, rows)
		for r := range line {
			line[r] = of[r*columns+c]
		}
		return splineSlopes(v.rows, line)
	}
	for c := range columns {
		first, mixed := byRow(values, c), byRow(slopes, c)
		for r := range rows {
			i := r*columns + c
			s.nodes[i] = node{values[i], slopes[i], first[r], mixed[r]}
		}
	}
	return s
}

func steps(x []float64) []float64 {
	var widths []float64
	for i := 1; i < len(x); i++ {
		widths = append(widths, x[i]-x[i-1])
	}
	return widths
}

func (s *surface) at(p isobar, column int, share float64) float64 {
	v0, s0, v1, s1 := hermite(share)
	return s.weighted(p, column, v0, s0*s.widths[column], v1, s1*s.widths[column])
}

// slope returns the derivative by superheat.
func (s *surface) slope(p isobar, column int, share float64) float64 {
	v0, s0, v1, s1 := hermiteSlope(share)
	w := s.widths[column]
	return s.weighted(p, column, v0/w, s0, v1/w, s1)
}

func (s *surface) weighted(p isobar, column int, v0, s0, v1, s1 float64) float64 {
	rv0, rs0, rv1, rs1 := hermite(p.rowShare)
	i := p.row*s.columns + column
	near, far := s.nodes[i:i+2], s.nodes[i+s.columns:i+s.columns+2]
	across := func(n []node) (value, byRow float64) {
		return v0*n[0].value + s0*n[0].bySuperheat + v1*n[1].value + s1*n[1].bySuperheat,
			v0*n[0].byRow + s0*n[0].byBoth + v1*n[1].byRow + s1*n[1].byBoth
	}
	a, aSlope := across(near)
	b, bSlope := across(far)
	return rv0*a + rv1*b + s.heights[p.row]*(rs0*aSlope+rs1*bSlope)
}
