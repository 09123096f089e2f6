// Mutation changes the numbers and signs of the analysis one at a time and
// reports the changes that no test notices. .ci/mutate starts it.
//
// Numbers become 1.5 times what they are, and 0 becomes 1. Signs flip: a minus
// before a value goes, + and − change places, < and > too, and a positive
// number that is an element of a table becomes negative. Numbers that are
// indices or sizes do not count, nor do lists of names that iota numbers.
//
// Of the tools for Go that were looked at, gremlins 0.6 changes operators only
// and never a number; so this is a program of our own.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"
)

// subjects are the packages that are mutated.
var subjects = []string{"phase", "floodback", "cause", "sensorcheck", "superheat"}

type options struct {
	sample, jobs int
	seed         uint64
	pkg, file    string
	all, list, v bool
	min          float64
}

func main() {
	var o options
	flag.IntVar(&o.sample, "sample", 60, "how many mutants to try")
	flag.Uint64Var(&o.seed, "seed", 1, "which sample: the same seed gives the same mutants while their code stays")
	flag.StringVar(&o.pkg, "package", "", "only this package below analyze, as phase")
	flag.StringVar(&o.file, "file", "", "only files of this name, as limits.go")
	flag.BoolVar(&o.all, "all", false, "try all mutants; takes hours")
	flag.BoolVar(&o.list, "list", false, "list the mutants and try none")
	flag.BoolVar(&o.v, "v", false, "print those that were noticed, too")
	flag.Float64Var(&o.min, "min", 0, "exit with 1 when less than this share is noticed, in percent")
	flag.IntVar(&o.jobs, "j", runtime.NumCPU(), "how many to try at once")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	ok, err := run(ctx, &o)
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(2)
	}
	if !ok {
		os.Exit(1)
	}
}

func run(ctx context.Context, o *options) (bool, error) {
	if flag.NArg() > 0 {
		return false, fmt.Errorf("no arguments are taken, got %q", flag.Args())
	}
	if o.pkg != "" && !slices.Contains(subjects, o.pkg) {
		return false, fmt.Errorf("-package %s: is none of %v", o.pkg, subjects)
	}
	var dirs []string
	for _, s := range subjects {
		if o.pkg == "" || o.pkg == s {
			dirs = append(dirs, "./analyze/"+s)
		}
	}
	all, skips, err := load(dirs)
	if err != nil {
		return false, err
	}
	if o.file != "" {
		all = slices.DeleteFunc(all, func(m mutant) bool { return filepath.Base(m.file) != o.file })
	}
	if len(all) == 0 {
		return false, errors.New("nothing to mutate is found")
	}
	n := o.sample
	if o.all {
		n = 0
	}
	chosen := sample(all, o.seed, n)
	if o.list {
		slices.SortFunc(chosen, byPlace)
		for _, m := range chosen {
			fmt.Println(m.String())
		}
		fmt.Printf("%d of %d mutants\n", len(chosen), len(all))
		return true, nil
	}
	for _, s := range skips {
		fmt.Printf("skipped: %s:%d: %s\n", relative(s.file), s.line, s.reason)
	}
	fmt.Printf("%d of %d mutants, seed %d\n", len(chosen), len(all), o.seed)
	results, err := try(ctx, chosen, o)
	if err != nil {
		return false, err
	}
	return report(results, o.min), nil
}

type result struct {
	mutant
	verdict verdict
}

// try runs the tests on the tree as it is, then on each mutant.
func try(ctx context.Context, chosen []mutant, o *options) ([]result, error) {
	packages := map[string]bool{}
	var names []string
	for _, m := range chosen {
		if !packages[m.pkg] {
			packages[m.pkg] = true
			names = append(names, m.pkg)
		}
	}
	stages, err := plan(names)
	if err != nil {
		return nil, err
	}
	began := time.Now()
	// Each test package runs once, with the flags that it takes.
	unchanged := map[string]*stage{}
	for _, p := range names {
		for _, s := range stages[p] {
			key := fmt.Sprint(s.args)
			if unchanged[key] == nil {
				unchanged[key] = &stage{args: s.args, limit: 10 * stageTime}
			}
			unchanged[key].tests = append(unchanged[key].tests, s.tests...)
		}
	}
	for _, s := range unchanged {
		slices.Sort(s.tests)
		s.tests = slices.Compact(s.tests)
		if v, out, err := s.run(ctx, ""); err != nil || v != survived {
			return nil, errors.Join(err, fmt.Errorf("the tests fail on the tree as it is:\n%s", out))
		}
	}
	limit := max(stageTime, time.Since(began).Round(time.Second))
	for _, p := range names {
		for i := range stages[p] {
			stages[p][i].limit = limit
		}
	}
	fmt.Printf("tests pass unchanged (%ds)\n", int(time.Since(began).Seconds()))

	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	results := make([]result, len(chosen))
	next := make(chan int)
	var failed error
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range max(o.jobs, 1) {
		wg.Go(func() {
			for i := range next {
				own := filepath.Join(dir, fmt.Sprint(i))
				err := os.Mkdir(own, 0o755)
				v, out := verdict(0), ""
				if err == nil {
					v, out, err = attempt(ctx, &chosen[i], stages[chosen[i].pkg], own)
				}
				mu.Lock()
				failed = errors.Join(failed, err)
				results[i] = result{chosen[i], v}
				if err == nil && (v == survived || v == broken || o.v) {
					fmt.Printf("%-8s %s\n", v, chosen[i].String())
				}
				if err == nil && o.v && v != survived {
					fmt.Println(firstFailure(out))
				}
				mu.Unlock()
			}
		})
	}
	for i := range chosen {
		mu.Lock()
		over := failed != nil
		mu.Unlock()
		if over {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	fmt.Printf("tried in %ds\n", int(time.Since(began).Seconds()))
	return results, failed
}
