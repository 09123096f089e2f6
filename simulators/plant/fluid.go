package plant

import (
	"fmt"
	"math"
)

// The low side is known by its dew temperature: pressure and all properties
// are tables over it, so that no logarithm is taken inside a step.
const (
	gridLow   = -50.0 // °C
	hotEnough = 180   // rows up to 40 °C: a plant must be able to condense
	gridStep  = 0.5   // K; straight lines between rows cost less than 0.002 K
)

// saturation holds what is needed of a refrigerant at one pressure.
type saturation struct {
	dew      float64 // °C, the table's argument
	pressure float64 // Pa absolute
	glide    float64 // K, dew − bubble at this pressure
	hLiquid  float64 // J/kg, bubble line
	hGas     float64 // J/kg, dew line
	rhoLiq   float64 // kg/m³
	rhoGas   float64 // kg/m³
	cpGas    float64 // J/(kg K), mean over the first 20 K of superheat
	cpLiquid float64 // J/(kg K)
}

func (s *saturation) latent() float64 { return s.hGas - s.hLiquid }

// superheats are the nodes of the table of gas.
var superheats = [...]float64{0, 5, 10, 20, 30, 40, 60, 80, 100}

type gasRow [len(superheats)]struct{ h, s float64 }

// properties is where the tables of a refrigerant come from.
type properties interface {
	// saturated returns the state at a dew temperature.
	saturated(dew float64) (saturation, error)
	// gas returns enthalpy and entropy of gas superheated over dew.
	gas(dew, superheat float64) (h, s float64, err error)
}

// fluid is a refrigerant as the plant uses it.
type fluid struct {
	name string
	rows []saturation
	gas  []gasRow
}

// fluidOf makes the tables of a refrigerant by its designation.
func fluidOf(name string) (*fluid, error) {
	from, err := lookup(name)
	if err != nil {
		return nil, err
	}
	return newFluid(name, from)
}

func newFluid(name string, from properties) (*fluid, error) {
	f := &fluid{name: name}
	for i := 0; ; i++ {
		dew := gridLow + float64(gridStep*float64(i))
		s, err := from.saturated(dew)
		if err != nil {
			if i < hotEnough {
				return nil, fmt.Errorf("tables of %s at %g °C: %w", name, dew, err)
			}
			break
		}
		if _, _, err := from.gas(dew, superheats[2]); err != nil && i >= hotEnough {
			break
		}
		var row gasRow
		for j, sh := range superheats {
			h, entropy, err := from.gas(dew, sh)
			if err != nil && j < 3 {
				return nil, fmt.Errorf("tables of %s, gas %g K above %g °C: %w", name, sh, dew, err)
			}
			if err != nil { // beyond the tables: go on straight
				k := (sh - superheats[j-1]) / (superheats[j-1] - superheats[j-2])
				h = row[j-1].h + float64(k*(row[j-1].h-row[j-2].h))
				entropy = row[j-1].s + float64(k*(row[j-1].s-row[j-2].s))
			}
			row[j].h, row[j].s = nineDigits(h), nineDigits(entropy)
		}
		s.dew = dew
		s.cpGas = (row[3].h - row[0].h) / superheats[3]
		s.hGas = row[0].h
		for _, v := range []*float64{&s.pressure, &s.glide, &s.hLiquid, &s.rhoLiq, &s.rhoGas} {
			*v = nineDigits(*v)
		}
		f.rows = append(f.rows, s)
		f.gas = append(f.gas, row)
	}
	for i := range f.rows {
		a, b := max(i-1, 0), min(i+1, len(f.rows)-1)
		f.rows[i].cpLiquid = (f.rows[b].hLiquid - f.rows[a].hLiquid) / (gridStep * float64(b-a))
	}
	return f, nil
}

// nineDigits makes a table the same on machines whose exponential differs in
// the last bit.
func nineDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	scale := 1.0
	for math.Abs(float64(v*scale)) < 1e8 {
		scale *= 10
	}
	for math.Abs(float64(v*scale)) >= 1e9 {
		scale /= 10
	}
	return math.Round(float64(v*scale)) / scale
}

func (f *fluid) index(dew float64) (int, float64) {
	x := (dew - gridLow) / gridStep
	i := int(x)
	if x < 0 {
		i = 0
	}
	i = min(i, len(f.rows)-2)
	return i, x - float64(i)
}

// at returns the saturated state at a dew temperature.
func (f *fluid) at(dew float64) saturation {
	i, k := f.index(dew)
	a, b := &f.rows[i], &f.rows[i+1]
	return saturation{
		dew:      dew,
		pressure: a.pressure + float64(k*(b.pressure-a.pressure)),
		glide:    a.glide + float64(k*(b.glide-a.glide)),
		hLiquid:  a.hLiquid + float64(k*(b.hLiquid-a.hLiquid)),
		hGas:     a.hGas + float64(k*(b.hGas-a.hGas)),
		rhoLiq:   a.rhoLiq + float64(k*(b.rhoLiq-a.rhoLiq)),
		rhoGas:   a.rhoGas + float64(k*(b.rhoGas-a.rhoGas)),
		cpGas:    a.cpGas + float64(k*(b.cpGas-a.cpGas)),
		cpLiquid: a.cpLiquid + float64(k*(b.cpLiquid-a.cpLiquid)),
	}
}

// pressure returns the dew pressure at t.
func (f *fluid) pressure(t float64) float64 {
	i, k := f.index(t)
	return f.rows[i].pressure + float64(k*(f.rows[i+1].pressure-f.rows[i].pressure))
}

// gasAt returns enthalpy and entropy of gas superheated over dew.
func (f *fluid) gasAt(dew, superheat float64) (h, s float64) {
	i, k := f.index(dew)
	j := 0
	for j < len(superheats)-2 && superheats[j+1] < superheat {
		j++
	}
	m := (superheat - superheats[j]) / (superheats[j+1] - superheats[j])
	a, b := &f.gas[i], &f.gas[i+1]
	h0 := a[j].h + float64(k*(b[j].h-a[j].h))
	h1 := a[j+1].h + float64(k*(b[j+1].h-a[j+1].h))
	s0 := a[j].s + float64(k*(b[j].s-a[j].s))
	s1 := a[j+1].s + float64(k*(b[j+1].s-a[j+1].s))
	return h0 + float64(m*(h1-h0)), s0 + float64(m*(s1-s0))
}

// superheatOfEntropy returns the superheat over dew of gas of entropy s, and
// its enthalpy: the end of an isentropic compression.
func (f *fluid) superheatOfEntropy(dew, s float64) (superheat, h float64) {
	return f.search(dew, s, 1)
}

// superheatOfEnthalpy returns the superheat over dew of gas of enthalpy h.
func (f *fluid) superheatOfEnthalpy(dew, h float64) float64 {
	sh, _ := f.search(dew, h, 0)
	return sh
}

func (f *fluid) search(dew, v float64, column int) (superheat, h float64) {
	i, k := f.index(dew)
	a, b := &f.gas[i], &f.gas[i+1]
	node := func(j int) (h, s float64) {
		return a[j].h + float64(k*(b[j].h-a[j].h)), a[j].s + float64(k*(b[j].s-a[j].s))
	}
	pick := func(h, s float64) float64 {
		if column == 0 {
			return h
		}
		return s
	}
	h0, s0 := node(0)
	for j := 0; ; j++ {
		h1, s1 := node(j + 1)
		if v <= pick(h1, s1) || j == len(superheats)-2 {
			m := (v - pick(h0, s0)) / (pick(h1, s1) - pick(h0, s0))
			return superheats[j] + float64(m*(superheats[j+1]-superheats[j])), h0 + float64(m*(h1-h0))
		}
		h0, s0 = h1, s1
	}
}
