package scenarios_test

import (
	"crypto/sha256"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"dewgap/simulators/plant"
	"dewgap/simulators/scenarios"
)

var renew = flag.Bool("renew", false, "write testdata/hashes.txt again, after a change of the plant's equations")

// The same scenario and seed give the same bits on every machine; a change of
// these hashes is a change of every recording, and has to be meant.
func TestSameBitsOnEveryMachine(t *testing.T) {
	const file = "testdata/hashes.txt"
	var b strings.Builder
	for _, name := range []string{"chilled-rack", "hot-gas-carryover", "overcharge"} {
		fmt.Fprintf(&b, "%s %s\n", name, hash(t, name, 7))
	}
	if hash(t, "overcharge", 7) == hash(t, "overcharge", 8) {
		t.Error("two seeds give the same values")
	}
	if *renew {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("hashes are\n%swant\n%s(go test ./simulators/scenarios -renew, if the equations were meant to change)", b.String(), want)
	}
}

// hash of every value of an hour, after a short warm-up.
func hash(t *testing.T, name string, seed uint64) string {
	d, err := scenarios.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	d.WarmUpH = 0.5
	p, err := plant.New(d, seed)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.New()
	for range 360 {
		p.Step(10 * time.Second)
		for i := range p.Inputs() {
			v, ok := p.Value(i)
			fmt.Fprint(sum, math.Float64bits(v), ok)
		}
		for _, c := range p.Truth() {
			fmt.Fprint(sum, math.Float64bits(c.SuperheatK), math.Float64bits(c.LiquidFraction))
		}
	}
	return fmt.Sprintf("%x", sum.Sum(nil)[:12])
}
