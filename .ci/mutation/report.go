package main

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

func (v verdict) String() string {
	return [...]string{"SURVIVED", "noticed", "timeout", "BROKEN"}[v]
}

// String writes the mutant as a compiler writes an error.
func (m *mutant) String() string {
	return fmt.Sprintf("%s:%d: %s → %s    %s", relative(m.file), m.line, m.before, m.after, m.text)
}

func relative(path string) string {
	if dir, err := os.Getwd(); err == nil {
		if r, err := filepath.Rel(dir, path); err == nil {
			return r
		}
	}
	return path
}

func byPlace(a, b mutant) int {
	return cmp.Or(strings.Compare(a.file, b.file), cmp.Compare(a.offset, b.offset), strings.Compare(a.after, b.after))
}

// share counts the mutants of a package by what the tests made of them.
type share struct{ by [4]int }

// of is how many mutants compiled.
func (s *share) of() int { return s.by[survived] + s.by[noticed] + s.by[timedOut] }

// percent is the share that was noticed. A time-out is one: the tests did not pass.
func (s *share) percent() float64 {
	return 100 * float64(s.by[noticed]+s.by[timedOut]) / float64(max(s.of(), 1))
}

func (s *share) String() string {
	return fmt.Sprintf("%3.0f %% of %d noticed (%d by time-out); %d survived, %d did not compile",
		s.percent(), s.of(), s.by[timedOut], s.by[survived], s.by[broken])
}

// report prints the survivors and the shares, and reports whether at least least
// percent were noticed.
func report(results []result, least float64) bool {
	var total share
	packages := map[string]*share{}
	var survivors []mutant
	for _, r := range results {
		if packages[r.pkg] == nil {
			packages[r.pkg] = &share{}
		}
		packages[r.pkg].by[r.verdict]++
		total.by[r.verdict]++
		if r.verdict == survived {
			survivors = append(survivors, r.mutant)
		}
	}
	slices.SortFunc(survivors, byPlace)
	fmt.Println("\nno test noticed:")
	for _, m := range survivors {
		fmt.Println("  " + m.String())
	}
	fmt.Println()
	var names []string
	for name := range packages {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		fmt.Printf("%-28s %s\n", name, packages[name])
	}
	fmt.Printf("%-28s %s\n", "all", &total)
	if total.of() == 0 {
		fmt.Println("no mutant compiled")
		return false
	}
	if total.percent() < least {
		fmt.Printf("less than %g %% were noticed: give the numbers above a test, or take them out\n", least)
		return false
	}
	return true
}

// firstFailure returns the first failure that a test run prints.
func firstFailure(out string) string {
	for line := range strings.Lines(out) {
		if strings.Contains(line, "--- FAIL") || strings.HasPrefix(line, "panic:") || strings.Contains(line, ".go:") {
			return "           " + strings.TrimSpace(line)
		}
	}
	return ""
}
