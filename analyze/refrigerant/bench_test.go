package refrigerant

import (
	"testing"

	"dewgap/analyze/refrigerant/internal/tables"
	"dewgap/analyze/units"
)

// BenchmarkDew: at most 60 ns and no allocation is required.
func BenchmarkDew(b *testing.B) {
	f := lookup(b, "R448A")
	low, high := f.PressureRange()
	var pressures [1024]units.Pascal
	for i := range pressures {
		// Scattered, so that the processor cannot learn the way.
		pressures[i] = low + (high-low)*units.Pascal(i*617%1024)/1024
	}
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if _, err := f.Dew(pressures[i&1023]); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

func BenchmarkDewPressure(b *testing.B) {
	f := lookup(b, "R448A")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.DewPressure(-17.3); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkVapour(b *testing.B) {
	f := lookup(b, "R448A")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.Vapour(281325, -6); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTemperatureAtEntropy(b *testing.B) {
	f := lookup(b, "R448A")
	suction, err := f.Vapour(281325, -6)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := f.TemperatureAtEntropy(1.8e6, suction.Entropy); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkStart is what a program pays for its first refrigerant, and for all
// of them, for which at most 20 ms is required: what superheat needs, and with
// every property as well.
func BenchmarkStart(b *testing.B) {
	for _, c := range []struct {
		name string
		take func(n int) int
		full bool
	}{{"one", func(int) int { return 1 }, false}, {"all", func(n int) int { return n }, false}, {"every property", func(n int) int { return n }, true}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				directory, columns, err := tables.Directory(embedded)
				if err != nil {
					b.Fatal(err)
				}
				for i := range c.take(len(directory)) {
					t := tables.Load(directory, columns, i)
					if f := newFluid(&t); c.full {
						f.properties()
					}
				}
			}
		})
	}
}
