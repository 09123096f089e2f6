package refrigerant

import (
	"bytes"
	"compress/gzip"
	"flag"
	"io"
	"os"
	"testing"

	"dewgap/analyze/refrigerant/internal/reduce"
	"dewgap/analyze/refrigerant/internal/tables"
)

var generate = flag.Bool("generate", false, "write tables.bin anew from testdata")

// reference opens one of the reference files, which testdata keeps packed.
func reference(t testing.TB, name string) io.Reader {
	t.Helper()
	packed, err := os.ReadFile("testdata/" + name + ".gz")
	if err != nil {
		t.Fatal(err)
	}
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestEmbeddedTablesAreWhatTheGeneratorMakes(t *testing.T) {
	about, err := os.Open("testdata/about.md")
	if err != nil {
		t.Fatal(err)
	}
	defer about.Close()
	all, err := reduce.Reduce(reference(t, "saturation.csv"), reference(t, "vapor.csv"), about)
	if err != nil {
		t.Fatal(err)
	}
	made, err := tables.Encode(all)
	if err != nil {
		t.Fatal(err)
	}
	if *generate {
		if err := os.WriteFile("tables.bin", made, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(made, embedded) {
		t.Error("tables.bin is not what the reference data give: run go generate ./analyze/refrigerant")
	}
	if len(made) > 2<<20 {
		t.Errorf("embedded tables take %d bytes, more than 2 MiB", len(made))
	}
}
