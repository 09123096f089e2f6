package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// verdict is what the tests make of a mutant.
type verdict int

const (
	survived verdict = iota
	noticed
	timedOut
	broken // it does not compile
)

// stageTime is how long the tests of a stage may take, or as long as all tests
// take unchanged on a busy machine, if that is more. What takes longer loops or
// waits because of the mutant: each stage takes some seconds.
const stageTime = 2 * time.Minute

// stages are the tests that can notice a mutant after its own package's, the
// likeliest first: recordings that are replayed to golden results, scored
// stores, the rest of the analysis and the events.
var stages = [][]string{
	{"./cmd/dewgap/internal/pipeline"},
	{"./cmd/dewgap/internal/mistakes"},
	{"./cmd/dewgap/internal/bench"},
	{"./analyze/...", "./alert/..."},
	{"./cmd/dewgap/internal/commissioning", "./cmd/dewgap/internal/explain", "./cmd/dewgap/internal/report"},
}

// rapid is the module of the property tests. Its tests write what failed into
// the tree unless a flag forbids it, and other tests do not know that flag.
const rapid = "pgregory.net/rapid"

// stage is test packages that run together, the flags of their tests, and how
// long they may take.
type stage struct {
	tests, args []string
	limit       time.Duration
}

// plan returns, for each package that has mutants, the test packages of each
// stage that depend on it.
func plan(packages []string) (map[string][]stage, error) {
	out := map[string][]stage{}
	for _, patterns := range append([][]string{packages}, stages...) {
		text, err := output(append([]string{"list", "-test", "-f", `{{.ImportPath}}{{range .Deps}} {{.}}{{end}}`}, patterns...)...)
		if err != nil {
			return nil, err
		}
		plain, random := map[string][]string{}, map[string][]string{}
		for line := range strings.Lines(string(text)) {
			words := strings.Fields(line)
			test, ok := strings.CutSuffix(words[0], ".test")
			if !ok {
				continue
			}
			for _, p := range packages {
				own := test == p
				switch first := len(out[p]) == 0; {
				case own != first || !own && !slices.Contains(words[1:], p):
				case slices.Contains(words[1:], rapid):
					random[p] = append(random[p], test)
				default:
					plain[p] = append(plain[p], test)
				}
			}
		}
		for _, p := range packages {
			if len(plain[p]) > 0 {
				out[p] = append(out[p], stage{tests: plain[p], limit: stageTime})
			}
			if len(random[p]) > 0 {
				out[p] = append(out[p], stage{random[p], []string{"-args", "-rapid.nofailfile"}, stageTime})
			}
		}
	}
	return out, nil
}

// attempt runs the stages with the mutant in its file until one notices it.
// Nothing is written to the tree: the go command reads the changed file from
// dir in place of the real one.
func attempt(ctx context.Context, m *mutant, stages []stage, dir string) (verdict, string, error) {
	text, err := os.ReadFile(m.file)
	if err != nil {
		return 0, "", err
	}
	changed := filepath.Join(dir, filepath.Base(m.file))
	if err := os.WriteFile(changed, m.apply(text), 0o644); err != nil {
		return 0, "", err
	}
	overlay := filepath.Join(dir, "overlay.json")
	list, err := json.Marshal(map[string]map[string]string{"Replace": {m.file: changed}})
	if err != nil {
		return 0, "", err
	}
	if err := os.WriteFile(overlay, list, 0o644); err != nil {
		return 0, "", err
	}
	for _, s := range stages {
		v, out, err := s.run(ctx, overlay)
		if err != nil || v != survived {
			return v, out, err
		}
	}
	return survived, "", nil
}

// run runs the tests and returns what they make of the overlay.
// The text is what they print when they fail.
func (s *stage) run(ctx context.Context, overlay string) (verdict, string, error) {
	// The go command ends the tests a little earlier, with a trace of what hangs.
	ctx, cancel := context.WithTimeout(ctx, s.limit+30*time.Second)
	defer cancel()
	args := []string{"test", "-vet=off", "-failfast", "-p=1", "-timeout=" + s.limit.String()}
	if overlay != "" {
		args = append(args, "-overlay="+overlay)
	}
	out, err := exec.CommandContext(ctx, "go", slices.Concat(args, s.tests, s.args)...).CombinedOutput()
	text := string(out)
	var exit *exec.ExitError
	switch {
	case err == nil:
		return survived, "", nil
	case ctx.Err() != nil && errors.Is(ctx.Err(), context.DeadlineExceeded), strings.Contains(text, "panic: test timed out after"):
		return timedOut, text, nil
	case ctx.Err() != nil:
		return 0, "", ctx.Err()
	case strings.Contains(text, "[build failed]"), strings.Contains(text, "[setup failed]"):
		return broken, text, nil
	case errors.As(err, &exit) && strings.Contains(text, "FAIL"):
		return noticed, text, nil
	}
	return 0, "", fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, text)
}
