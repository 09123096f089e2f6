// Package bench scores the analysis against stores whose truth is known:
// phases, floodback episodes, severity, causes, circuits, flooded starts,
// sensor faults and false alarms, in one table. It is tests alone.
//
// The stores are generated from seeds and played by the simulator
// (generated_test.go), or they are recordings with their truth beside them
// (folder_test.go). Both take the path of live and replay. A plain detector of
// thresholds and timers (baseline_test.go) takes the same rows, so that the
// table shows what the analysis is worth. Figures may only get better: testdata
// holds their floors.
package bench

import (
	"flag"
	"os"
	"regexp"
	"runtime"
	"sync/atomic"
	"testing"

	"golang.org/x/sync/errgroup"
)

var (
	stores = flag.Int("stores", 0, "score this many generated stores and print the table")
	seed   = flag.Uint64("seed", 1000, "first seed of generated stores")
	hours  = flag.Float64("hours", 8, "hours of each generated store")
	only   = flag.String("fault", "*", "only this fault of generated stores; empty: healthy ones")
	dir    = flag.String("dir", "", "score the stores of this directory")
	match  = flag.String("match", "", "only stores of the directory whose names this expression matches")
	blind  = flag.Bool("blind", false, "without running and defrost signals")
	dark   = flag.Bool("dark", false, "without defrost signals")
	bare   = flag.Bool("bare", false, "without discharge and sump temperatures (directory)")
	thin   = flag.Int("thin", 1, "keep each nth row (directory)")
	noise  = flag.Float64("noise", 0, "noise added, K; pressures get a tenth of it in bar (directory)")
	lag    = flag.Float64("lag", 0, "lag added to temperatures, s (directory)")
	full   = flag.Bool("full", false, "score all variants of the generated stores and hold them to their floors")
	update = flag.Bool("update", false, "raise the floors to the figures of this run")
	notes  = flag.Bool("notes", false, "print what went wrong")
)

// TestBench prints the scores of the analysis over stores:
//
//	go test ./cmd/dewgap/internal/bench -run Bench -v -stores 40
//	go test ./cmd/dewgap/internal/bench -run Bench -v -dir DIRECTORY
func TestBench(t *testing.T) {
	var scores []score
	missing := Missing{Running: *blind, Defrost: *blind || *dark}
	switch {
	case *dir != "":
		scores = scoreFolder(t, &Folder{Dir: *dir, Match: regexp.MustCompile(*match), Alter: Alter{Missing: missing, Bare: *bare, Thin: *thin, Noise: *noise, Lag: *lag}})
	case *stores > 0:
		cases := Cases(*seed, *stores, *hours)
		for i := range cases {
			cases[i].Missing = missing
			if *only != "*" {
				cases[i].Fault = *only
			}
		}
		scores = scoreGenerated(t, cases)
	default:
		t.Skip("needs -stores N or -dir DIRECTORY")
	}
	for _, missing := range []Missing{{}, {Running: true}, {Defrost: true}, noSignals} {
		var all, plain Tally
		n := 0
		for i := range scores {
			if scores[i].missing == missing {
				n++
				all.Add(&scores[i].tally)
				plain.Add(&scores[i].plain)
			}
		}
		if n > 0 {
			wanted := ""
			if missing != (Missing{}) {
				wanted = " (phase macro-F1 wanted: 0.88)"
			}
			t.Logf("%d stores %s%s", n, missing, wanted)
			all.Print(os.Stdout, &plain)
		}
	}
	if *notes {
		for i := range scores {
			for _, n := range scores[i].tally.Notes {
				t.Log(n)
			}
		}
	}
}

type score struct {
	missing      Missing
	tally, plain Tally
}

func scoreFolder(t *testing.T, f *Folder) []score {
	t.Helper()
	names, err := f.Stores()
	if err != nil {
		t.Fatal(err)
	}
	return scoreAll(t, len(names), func(i int, s *score) (err error) {
		s.missing, err = f.Run(names[i], &s.tally, &s.plain)
		return err
	})
}

func scoreGenerated(t *testing.T, cases []Case) []score {
	t.Helper()
	return scoreAll(t, len(cases), func(i int, s *score) error {
		s.missing = cases[i].Missing
		return cases[i].Run(&s.tally, &s.plain)
	})
}

// scoreAll runs n stores side by side.
func scoreAll(t *testing.T, n int, run func(i int, s *score) error) []score {
	t.Helper()
	scores := make([]score, n)
	var g errgroup.Group
	g.SetLimit(runtime.NumCPU())
	var failed atomic.Int32
	for i := range n {
		g.Go(func() error {
			if err := run(i, &scores[i]); err != nil {
				failed.Add(1)
				t.Error(err)
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	if failed.Load() > 0 {
		t.Errorf("%d of %d stores could not be scored", failed.Load(), n)
	}
	return scores
}
