package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The same scenario and seed write the same bytes, recording and truth; what is
// written replays.
func TestSimulateWritesTheSameBytesAgain(t *testing.T) {
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	for _, run := range []string{"a", "b"} {
		code, _, errs := called(t, "simulate", "--scenario", "outages", "--for", "70m", "--step", "5s", "--seed", "3",
			"--out", file(run+".csv.gz"), "--truth", file(run+".truth.csv"), "--config", file(run+".toml"))
		if code != 0 {
			t.Fatal(errs)
		}
	}
	for _, kind := range []string{".csv.gz", ".truth.csv", ".toml"} {
		a, errA := os.ReadFile(file("a" + kind))
		b, errB := os.ReadFile(file("b" + kind))
		if errA != nil || errB != nil || len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s: %d and %d bytes, %v %v: not the same", kind, len(a), len(b), errA, errB)
		}
	}
	code, summary, errs := called(t, "replay", "--config", file("a.toml"), "--states", file("states.csv"), file("a.csv.gz"))
	if code != 0 {
		t.Fatalf("replay: %s %s", summary, errs)
	}
	states, err := os.ReadFile(file("states.csv"))
	if err != nil {
		t.Fatal(err)
	}
	// a controller that times out for ten minutes must end as a quality
	if n := strings.Count(string(states), ",missing\n"); n < 200 || n > 260 {
		t.Errorf("%d states without a value, want about 2 × 120", n)
	}
}
