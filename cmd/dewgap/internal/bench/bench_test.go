package bench

import (
	"flag"
	"os"
	"runtime"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
)

var (
	stores = flag.Int("stores", 0, "score this many drawn stores and print the table")
	hours  = flag.Float64("hours", 8, "hours of each store")
	blind  = flag.Bool("blind", false, "without running and defrost signals")
	only   = flag.String("fault", "*", "only this fault; empty: healthy stores")
	notes  = flag.Bool("notes", false, "print what went wrong")
)

// TestBench prints the scores of the analysis over drawn stores:
// go test ./cmd/dewgap/internal/bench -run Bench -v -stores 40
func TestBench(t *testing.T) {
	if *stores == 0 {
		t.Skip("needs -stores N")
	}
	tallies := make([]Tally, *stores)
	var g errgroup.Group
	g.SetLimit(runtime.NumCPU())
	names := FaultNames()
	for i := range *stores {
		g.Go(func() error {
			tr := Trial{Seed: uint64(1000 + i), Signals: !*blind, Hours: *hours, Sampling: []time.Duration{1, 2, 5, 10}[i%4] * time.Second,
				Noise: []float64{0.5, 1, 2}[i%3], Lag: []float64{1, 0.5, 1.5}[i%3], Bare: i%5 == 4}
			switch {
			case *only != "*":
				tr.Fault = *only
			case i%2 == 0:
				tr.Fault = names[i/2%len(names)]
			}
			if err := tr.Run(&tallies[i]); err != nil {
				t.Error(err)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	var all Tally
	for i := range tallies {
		all.add(&tallies[i])
	}
	all.Print(os.Stdout)
	if *notes {
		for _, n := range all.Notes {
			t.Log(n)
		}
	}
}
