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
	stores = flag.Int("stores", 0, "score this many drawn stores and print the table")
	seed   = flag.Uint64("seed", 1000, "first seed of drawn stores")
	hours  = flag.Float64("hours", 8, "hours of each drawn store")
	only   = flag.String("fault", "*", "only this fault of drawn stores; empty: healthy ones")
	dir    = flag.String("dir", "", "score the stores of this directory")
	match  = flag.String("match", "", "only stores of the directory whose names this expression matches")
	blind  = flag.Bool("blind", false, "without running and defrost signals")
	dark   = flag.Bool("dark", false, "without defrost signals")
	bare   = flag.Bool("bare", false, "without discharge and sump temperatures (directory)")
	thin   = flag.Int("thin", 1, "keep each nth row (directory)")
	noise  = flag.Float64("noise", 0, "noise added, K; pressures get a tenth of it in bar (directory)")
	lag    = flag.Float64("lag", 0, "lag added to temperatures, s (directory)")
	full   = flag.Bool("full", false, "score all variants of the drawn stores and hold them to their floors")
	update = flag.Bool("update", false, "raise the floors to the figures of this run")
	notes  = flag.Bool("notes", false, "print what went wrong")
)

// TestBench prints the scores of the analysis over stores:
//
//	go test ./cmd/dewgap/internal/bench -run Bench -v -stores 40
//	go test ./cmd/dewgap/internal/bench -run Bench -v -dir DIRECTORY
func TestBench(t *testing.T) {
	var scores []score
	lacks := Lacks{Running: *blind, Defrost: *blind || *dark}
	switch {
	case *dir != "":
		scores = scoreFolder(t, &Folder{Dir: *dir, Match: regexp.MustCompile(*match), Alter: Alter{Lacks: lacks, Bare: *bare, Thin: *thin, Noise: *noise, Lag: *lag}})
	case *stores > 0:
		trials := Trials(*seed, *stores, *hours)
		for i := range trials {
			trials[i].Lacks = lacks
			if *only != "*" {
				trials[i].Fault = *only
			}
		}
		scores = scoreDrawn(t, trials)
	default:
		t.Skip("needs -stores N or -dir DIRECTORY")
	}
	for _, lacks := range []Lacks{{}, {Running: true}, {Defrost: true}, blindness} {
		var all, plain Tally
		n := 0
		for i := range scores {
			if scores[i].lacks == lacks {
				n++
				all.Add(&scores[i].tally)
				plain.Add(&scores[i].plain)
			}
		}
		if n > 0 {
			wanted := ""
			if lacks != (Lacks{}) {
				wanted = " (phase macro-F1 wanted: 0.88)"
			}
			t.Logf("%d stores %s%s", n, lacks, wanted)
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
	lacks        Lacks
	tally, plain Tally
}

func scoreFolder(t *testing.T, f *Folder) []score {
	t.Helper()
	names, err := f.Stores()
	if err != nil {
		t.Fatal(err)
	}
	return scoreAll(t, len(names), func(i int, s *score) (err error) {
		s.lacks, err = f.Run(names[i], &s.tally, &s.plain)
		return err
	})
}

func scoreDrawn(t *testing.T, trials []Trial) []score {
	t.Helper()
	return scoreAll(t, len(trials), func(i int, s *score) error {
		s.lacks = trials[i].Lacks
		return trials[i].Run(&s.tally, &s.plain)
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
