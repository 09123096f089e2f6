package plant_test

import (
	"os"
	"os/exec"
	"regexp"
	"testing"
)

// The language lets a compiler fuse a product and a sum into one instruction
// that rounds once; arm64 does, amd64 does not, and the bytes would differ. An
// explicit conversion forbids it (language specification, floating-point
// operators).
func TestNoFusedInstructionOnARM64(t *testing.T) {
	if os.Getenv("DEWGAP_PEERS") == "" {
		t.Skip("compiles for another machine: set DEWGAP_PEERS=1")
	}
	build := exec.Command("go", "build", "-gcflags=-S", ".")
	build.Env = append(os.Environ(), "GOARCH=arm64", "GOOS=linux")
	listing, err := build.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, listing)
	}
	if len(listing) < 10000 {
		t.Fatalf("no listing of the code: %d bytes", len(listing))
	}
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(`(\w+\.go:\d+)\)\s+FN?M(?:ADD|SUB)D`).FindAllSubmatch(listing, -1) {
		if at := string(m[1]); !seen[at] {
			seen[at] = true
			t.Errorf("%s: a product is fused with a sum: put float64() around the product", at)
		}
	}
}
