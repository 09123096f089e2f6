package scenarios_test

import (
	"flag"
	"strings"
	"sync"
	"testing"
	"time"

	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

var seed = flag.Uint64("seed", 1, "seed of the scenarios' runs")

// every is the time between the samples of a run.
const every = 2 * time.Second

// run is a ready-made scenario played once, for all tests that look at it.
type run struct {
	description plant.Description
	inputs      map[string]int // by path
	samples     []sample
}

type sample struct {
	minute float64 // since the start of the recording
	values []float64
	truth  []plant.Truth
}

var runs sync.Map // name → func() (*run, error), once

func played(t testing.TB, name string) *run {
	t.Helper()
	once, _ := runs.LoadOrStore(name, sync.OnceValues(func() (*run, error) { return play(name) }))
	r, err := once.(func() (*run, error))()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func play(name string) (*run, error) {
	d, err := scenarios.Load(name)
	if err != nil {
		return nil, err
	}
	p, err := plant.New(d, *seed)
	if err != nil {
		return nil, err
	}
	r := &run{description: d, inputs: map[string]int{}}
	for i, in := range p.Inputs() {
		r.inputs[in.Path] = i
	}
	for at := every; at.Hours() <= d.HoursFor; at += every {
		p.Step(every)
		s := sample{minute: at.Minutes(), truth: append([]plant.Truth(nil), p.Truth()...), values: make([]float64, len(p.Inputs()))}
		for i := range s.values {
			s.values[i], _ = p.Value(i)
		}
		r.samples = append(r.samples, s)
	}
	return r, nil
}

// value of an input: Pa, °C or 0/1.
func (r *run) value(s *sample, path string) float64 { return s.values[r.inputs[path]] }

// compressor returns the truth of GROUP.COMPRESSOR in a sample.
func (s *sample) compressor(name string) *plant.Truth {
	group, compressor, _ := strings.Cut(name, ".")
	for i := range s.truth {
		if s.truth[i].Group == group && s.truth[i].Compressor == compressor {
			return &s.truth[i]
		}
	}
	panic("no compressor " + name)
}

// between returns the samples from one minute to another.
func (r *run) between(from, to float64) []sample {
	var in []sample
	for i := range r.samples {
		if m := r.samples[i].minute; m >= from && m <= to {
			in = append(in, r.samples[i])
		}
	}
	return in
}
