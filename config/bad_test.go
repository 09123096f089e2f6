package config

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write what is said about testdata into its .want files, to be read before it is kept")

// TestBadFiles holds the whole text that a person gets for each bad file.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.toml")
	if err != nil || len(files) < 25 {
		t.Fatal("bad files:", len(files), err)
	}
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(name, func(t *testing.T) {
			c, err := Load(file)
			if err == nil {
				err = c.Runnable()
			}
			if err == nil {
				t.Fatal("is taken for right")
			}
			got := strings.ReplaceAll(err.Error(), filepath.Dir(file)+"/", "") + "\n"
			wanted := strings.TrimSuffix(file, ".toml") + ".want"
			if *update {
				if err := os.WriteFile(wanted, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(wanted)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Error(diff)
			}
		})
	}
}
